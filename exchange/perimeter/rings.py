"""The rings that the flights make: those closed within a flight, and those that several arcs close."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.joining import Chain, join_arcs
from exchange.perimeter.legs import find_launches
from exchange.perimeter.paths import Path
from exchange.perimeter.shapes import is_small_circle, ring_area_m2, ring_length_m
from exchange.perimeter.strands import OpenArc, Strand, is_near, is_way_only, mark_doubled, split_strand, take_apart
from exchange.perimeter.together import read_paths

Floats = NDArray[np.float64]

_GAP_IN_STEPS = 6.0
_CORNERS_OF_A_WAY, _REMNANT_SHARE = 3, 0.2
_DEAR_SHARE, _TOO_DEAR_SHARE = 0.15, 0.2
_WHOLE_LEG, _HALF_LEG = 0.85, 0.5
_SURE_LAUNCH, _AT_LAUNCH_M = 0.55, 40.0
_WIDE_GAP_M, _WIDE_GAP_SHARE = 250.0, 0.03
_GREATEST_GAP, _GREATEST_GAPS, _GREATEST_GAP_AREA = 0.4, 0.25, 0.2


@dataclass(frozen=True, eq=False)
class FoundRing:
    """Hold a closed ring.

    Attributes
    ----------
    xy
        Metres, shape (n, 2), not closed.
    bridges
        The gaps between the arcs that it is made of, each of shape (2, 2).
    flights
        How many arcs it is made of.
    """

    xy: Floats
    bridges: tuple[Floats, ...] = ()
    flights: int = 1

    def gaps(self, *, wider_than_m: float) -> list[Floats]:
        """Return all gaps, those from dropouts included, each of shape (2, 2)."""
        steps = np.stack([self.xy, np.roll(self.xy, -1, axis=0)], axis=1)
        length = np.hypot(*(steps[:, 1] - steps[:, 0]).T)
        wide = length > max(wider_than_m, _GAP_IN_STEPS * float(np.median(length)))
        return list(steps[wide])


@dataclass(frozen=True, eq=False)
class RingSearch:
    """Hold what was found.

    Attributes
    ----------
    rings
        Closed rings.
    open_rings
        Chains of arcs whose gaps are too wide for a ring, closed all the same.
    strands
        The flights taken apart.
    left_out
        Chains of arcs that close no ring and seem to be ways and remnants.
    """

    rings: list[FoundRing] = field(default_factory=list)
    open_rings: list[FoundRing] = field(default_factory=list)
    strands: list[Strand] = field(default_factory=list)
    left_out: list[FoundRing] = field(default_factory=list)

    @property
    def legs_cut(self) -> int:
        """The number of legs that fell away."""
        return sum(leg.end > 0 for strand in self.strands for leg in strand.legs)

    @property
    def legs_length_m(self) -> float:
        """Their length in metres."""
        return float(sum(leg.length_m for strand in self.strands for leg in strand.legs))


def find_rings(paths: list[Path], *, within_m: float) -> RingSearch:
    """Return the rings of all flights together."""
    readings = read_paths(paths, _find_launches(paths))
    strands = [
        strand
        for path, reading in zip(paths, readings, strict=True)
        for strand in take_apart(path, reading, within_m=within_m, is_alone=len(paths) < 2)
    ]
    rings, arcs = [], []
    for strand in strands:
        loops, open_arcs = split_strand(strand, within_m=within_m)
        rings += [FoundRing(strand.ring_of(loop.places, loop)) for loop in loops]
        arcs += open_arcs
    arcs = mark_doubled(arcs, within_m=1.5 * within_m)
    chains = join_arcs([arc.arc for arc in arcs])
    open_chains = []
    for chain in chains:
        released = _release_loops(chain, arcs)
        plain = _build(chain, arcs, with_lobes=False)
        is_carrier = max((ring_area_m2(loop.xy) for loop in released), default=0.0) > ring_area_m2(plain.xy)
        ring = plain if is_carrier else _build(chain, arcs)
        is_way = (is_carrier and _closes_dearly(chain, arcs)) or (bool(released) and _closes_at_launch(chain, arcs))
        is_good = is_closed(ring) and not is_way and not _takes_in_leg(chain, arcs)
        rings += [ring] if is_good else []
        rings += [loop for loop in released if not is_good or not _is_in(loop, ring)]
        if not is_good:
            open_chains.append((chain, ring, is_way))
    largest = max((ring_area_m2(ring.xy) for ring in rings), default=0.0)
    left = [
        (ring, not is_way and (ring_area_m2(ring.xy) > largest or _matters(chain, arcs, rings, within_m)))
        for chain, ring, is_way in open_chains
    ]
    return RingSearch(
        rings, [ring for ring, matters in left if matters], strands, [ring for ring, matters in left if not matters]
    )


def _takes_in_leg(chain: Chain, arcs: list[OpenArc]) -> bool:
    """Tell whether a chain is closed only by way of a launch, or dearly by half a leg."""
    share = max(
        arcs[piece.arc].arc.leg_taken_in(place, end)
        for piece in chain.pieces
        for end, place in enumerate(sorted((piece.start, piece.end)))
    )
    core = sum(arcs[piece.arc].arc.core_length_m for piece in chain.pieces)
    return share > _WHOLE_LEG or (share > _HALF_LEG and chain.cost > _TOO_DEAR_SHARE * core)


def _closes_at_launch(chain: Chain, arcs: list[OpenArc]) -> bool:
    """Tell whether the ends of a flight meet at its launch: then what is enclosed lies between the ways to a ring."""
    if len(chain.pieces) != 1:
        return False
    piece = chain.pieces[0]
    arc = arcs[piece.arc].arc
    first, last = sorted((piece.start, piece.end))
    beside = arc.along[first], arc.along[-1] - arc.along[last]
    return any(weight > _SURE_LAUNCH and left < _AT_LAUNCH_M for weight, left in zip(arc.weights, beside, strict=True))


def _closes_dearly(chain: Chain, arcs: list[OpenArc]) -> bool:
    """Tell whether one arc closes at a high cost only, as the ways to a larger loop do."""
    core = sum(arcs[piece.arc].arc.core_length_m for piece in chain.pieces)
    return len(chain.pieces) == 1 and chain.cost > _DEAR_SHARE * core


def _is_in(loop: FoundRing, ring: FoundRing) -> bool:
    """Tell whether a loop was put back into a ring as its lobe."""
    return bool((ring.xy == loop.xy[len(loop.xy) // 2]).all(axis=1).any())


def _matters(chain: Chain, arcs: list[OpenArc], rings: list[FoundRing], within_m: float) -> bool:
    """Tell whether arcs that close no ring are more than ways and remnants beside the rings that were found.

    What lies between two launches, or a launch and a ring, is a way there, bent as it may be.
    """
    if not rings:
        return True
    places = np.vstack([ring.xy for ring in rings])
    longest = max(ring_length_m(ring.xy) for ring in rings)
    left = 0.0
    for piece in chain.pieces:
        arc = arcs[piece.arc]
        is_way = is_way_only(arc, corners=_CORNERS_OF_A_WAY) or arc.carries_ring_from_launch()
        if not is_way:
            core = arc.arc.xy[arc.arc.core[0] : arc.arc.core[1] + 1]
            left += float((~is_near(core, places, 1.5 * within_m)).sum()) * arc.strand.path.step_m
    return left > _REMNANT_SHARE * longest


def _find_launches(paths: list[Path]) -> list[tuple[float, float]]:
    if not paths:
        return []
    ends = np.stack([path.even[[0, -1]] for path in paths])
    found = find_launches(ends, np.array([path.waits for path in paths]), np.array([path.climbs_m for path in paths]))
    return [(float(first), float(last)) for first, last in found]


def is_closed(ring: FoundRing) -> bool:
    """Tell whether the gaps of a ring are small against its size."""
    gaps = np.array([np.hypot(*(bridge[1] - bridge[0])) for bridge in ring.bridges])
    if not len(gaps):
        return True
    length, area = ring_length_m(ring.xy), ring_area_m2(ring.xy)
    diameter = float(np.hypot(*np.ptp(ring.xy, axis=0)))
    return bool(
        gaps.max() <= max(_WIDE_GAP_M, _WIDE_GAP_SHARE * length)
        and gaps.max() <= _GREATEST_GAP * diameter
        and gaps.sum() <= _GREATEST_GAPS * length
        and 0.3 * (gaps**2).sum() <= _GREATEST_GAP_AREA * area
    )


def _release_loops(chain: Chain, arcs: list[OpenArc]) -> list[FoundRing]:
    """Return the loops that hang on arcs which close no ring."""
    found = []
    for piece in chain.pieces:
        arc = arcs[piece.arc]
        if arc.strand.is_open:
            continue
        hung = [loop for loop in arc.strand.hung_loops() if np.isin(arc.strand.root_of(loop), arc.places)]
        hung = [loop for loop in hung if not is_small_circle(arc.strand.path.even[loop.places])] or (
            hung if len(chain.pieces) == 1 else []
        )
        found += [FoundRing(arc.strand.ring_of(loop.places, loop)) for loop in hung]
    return found


def _build(chain: Chain, arcs: list[OpenArc], *, with_lobes: bool = True) -> FoundRing:
    """Return the ring of a chain of pieces, with the gaps between them."""
    parts, ends = [], []
    for piece in chain.pieces:
        arc = arcs[piece.arc]
        low, high = sorted((piece.start, piece.end))
        places = arc.places[low : high + 1]
        part = arc.strand.ring_of(places) if with_lobes else arc.strand.plain_ring_of(places)
        parts.append(part if piece.start <= piece.end else part[::-1])
    for index, part in enumerate(parts):
        ends.append(np.stack([part[-1], parts[(index + 1) % len(parts)][0]]))
    return FoundRing(np.vstack(parts), tuple(ends), len(parts))

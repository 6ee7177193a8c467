"""The rings that the flights make: those closed within a flight, and those that several arcs close."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.joining import Chain, join_arcs
from exchange.perimeter.loops import Loop
from exchange.perimeter.paths import Path
from exchange.perimeter.strands import (
    OpenArc,
    Strand,
    find_arcs,
    mark_doubled,
    ring_area_m2,
    ring_length_m,
    take_apart,
)

Floats = NDArray[np.float64]

_SMALL_LOOP_M = 160.0
_SMALL_SHARE = 0.03
_LOBE_SHARE = 0.08
_GREATEST_GAP, _GREATEST_GAPS, _GREATEST_GAP_AREA = 0.4, 0.25, 0.2


@dataclass(frozen=True, eq=False)
class FoundRing:
    """Hold a closed ring.

    Attributes
    ----------
    xy
        Metres, shape (n, 2), not closed.
    bridges
        The gaps in it, each of shape (2, 2).
    """

    xy: Floats
    bridges: tuple[Floats, ...] = ()


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
    """

    rings: list[FoundRing] = field(default_factory=list)
    open_rings: list[FoundRing] = field(default_factory=list)
    strands: list[Strand] = field(default_factory=list)


def find_rings(paths: list[Path], *, within_m: float) -> RingSearch:
    """Return the rings of all flights together."""
    strands = [take_apart(path, within_m=within_m) for path in paths]
    largest = max((ring_area_m2(s.path.even[loop.places]) for s in strands for loop in s.loops), default=0.0)
    rings, arcs = [], []
    for strand in strands:
        large = [loop for loop in strand.loops if _is_large(strand.path.even[loop.places], largest)]
        hosts = _without_lobes(strand, large)
        rings += [FoundRing(_with_lobes(strand, host, large)) for host in hosts]
        places = np.vstack([np.empty((0, 2)), *(strand.path.even[loop.places] for loop in large)])
        arcs += find_arcs(strand, [loop.base for loop in hosts], places, within_m=within_m)
    arcs = mark_doubled(arcs, within_m=1.5 * within_m)
    search = RingSearch(rings, [], strands)
    for chain in join_arcs([arc.arc for arc in arcs]):
        ring = _build(chain, arcs)
        (search.rings if is_closed(ring) else search.open_rings).append(ring)
    return search


def is_closed(ring: FoundRing) -> bool:
    """Tell whether the gaps of a ring are small against its size."""
    gaps = np.array([np.hypot(*(bridge[1] - bridge[0])) for bridge in ring.bridges])
    if not len(gaps):
        return True
    length, area = ring_length_m(ring.xy), ring_area_m2(ring.xy)
    diameter = float(np.hypot(*np.ptp(ring.xy, axis=0)))
    return bool(
        gaps.max() <= _GREATEST_GAP * diameter
        and gaps.sum() <= _GREATEST_GAPS * length
        and 0.3 * (gaps**2).sum() <= _GREATEST_GAP_AREA * area
    )


def _is_large(ring: Floats, largest_m2: float) -> bool:
    return ring_length_m(ring) > _SMALL_LOOP_M or ring_area_m2(ring) > max(_SMALL_SHARE * largest_m2, 300.0)


def _without_lobes(strand: Strand, loops: list[Loop]) -> list[Loop]:
    """Return the loops that do not hang on another one."""
    return [loop for loop in loops if _host(loop, loops) is None]


def _host(loop: Loop, loops: list[Loop]) -> Loop | None:
    return next((other for other in loops if other is not loop and (other.places == loop.base).any()), None)


def _with_lobes(strand: Strand, host: Loop, loops: list[Loop]) -> Floats:
    """Return the ring of a loop with those put back in that hang on it, as they were flown."""
    return strand.path.fine_of(_insert(host, loops))


def _insert(host: Loop, loops: list[Loop]) -> NDArray[np.int64]:
    places = host.places
    for lobe in loops:
        if lobe is not host and (host.places == lobe.base).any():
            at = int(np.flatnonzero(places == lobe.base)[0])
            places = np.concatenate([places[: at + 1], _insert(lobe, loops)[1:], places[at + 1 :]])
    return places


def _build(chain: Chain, arcs: list[OpenArc]) -> FoundRing:
    """Return the ring of a chain of pieces, with the gaps between them."""
    parts, ends = [], []
    for piece in chain.pieces:
        arc = arcs[piece.arc]
        low, high = sorted((piece.start, piece.end))
        part = arc.path.fine_of(arc.places[low : high + 1])
        parts.append(part if piece.start <= piece.end else part[::-1])
    for index, part in enumerate(parts):
        ends.append(np.stack([part[-1], parts[(index + 1) % len(parts)][0]]))
    return FoundRing(np.vstack(parts), tuple(ends))

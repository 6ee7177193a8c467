"""One flight's path taken apart: its legs, the loops it closed, and the open arcs that are left."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.joining import Arc, find_joint, join_arcs
from exchange.perimeter.legs import Leg, find_leg, is_even
from exchange.perimeter.loops import Loop, erase_loops
from exchange.perimeter.paths import Path
from exchange.perimeter.shapes import is_lap, is_lobe, is_small_circle, mean_width_m, ring_area_m2, ring_length_m
from exchange.perimeter.stretches import Reading

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

_SHORTEST_LOOP = 4.0
_DOUBLED_WITHIN = 1.5
_SHORTEST_ARC_M = 30.0
_SHORTEST_WAY_M, _WAY_SHARE = 40.0, 0.12
_CLOSES_WITHIN, _LEAST_WIDTH_M = 0.15, 10.0
_COST_OF_A_CUT = 10.0
_LAUNCH_WEIGHT, _DOUBTFUL_WEIGHT, _WAY_WEIGHT = 0.5, 0.3, 1.0
_RING_SHARE = 0.5
_NO_LEG = Leg(0, 0.0, 0.0)


@dataclass(frozen=True, eq=False)
class Strand:
    """Hold what one flight's path is made of, as indices of its even steps.

    Attributes
    ----------
    loops
        Closed loops with some width, in flown order.
    places
        What is left when they are taken off.
    legs
        At the start and, counted from the end, at the end.
    is_open
        Whether nothing in it closes, as it was read; it may close all the same where its ends lie near each other.
    """

    path: Path
    loops: tuple[Loop, ...]
    places: Whole
    legs: tuple[Leg, Leg]
    is_open: bool = False

    def is_leg(self) -> Flags:
        """Tell which places of the path lie on the legs."""
        return mark_legs(len(self.path.even), self.legs)

    def hung_loops(self) -> list[Loop]:
        """Return the loops that do not hang on a larger one."""
        area = [ring_area_m2(self.path.even[loop.places]) for loop in self.loops]
        return [
            loop
            for loop, mine in zip(self.loops, area, strict=True)
            if not any(
                size > mine and (other.places[1:] == loop.base).any()
                for other, size in zip(self.loops, area, strict=True)
            )
        ]

    def root_of(self, loop: Loop) -> int:
        """Return the place of the strand on which a loop hangs in the end, be it by way of other loops."""
        base = loop.base
        for _ in self.loops:
            if (self.places == base).any():
                break
            carrier = next((other for other in self.loops if (other.places[1:] == base).any()), None)
            if carrier is None:
                break
            base = carrier.base
        return base

    def plain_ring_of(self, places: Whole) -> Floats:
        """Return the ring through places without what hangs on it."""
        return self.path.fine_of(places)

    def ring_of(self, places: Whole, loop: Loop | None = None) -> Floats:
        """Return the ring through places, with the lobes put back that hang on it, as they were flown.

        Parameters
        ----------
        places
            Even steps in flown order.
        loop
            The loop that these places are, if they are one.
        """
        return self.path.fine_of(self._with_lobes(places, [other for other in self.loops if other is not loop]))

    def _with_lobes(self, places: Whole, others: list[Loop]) -> Whole:
        area = ring_area_m2(self.path.even[places])
        for loop in others:
            at = np.flatnonzero(places == loop.base)
            is_part = len(at) and is_lobe(self.path.even[loop.places], area)
            if is_part and not is_lap(self.path.even[loop.places], self.path.even[places]):
                rest = [other for other in others if other is not loop]
                lobe = self._with_lobes(loop.places, [other for other in rest if other.base != loop.base])
                places = np.concatenate([places[: at[0] + 1], lobe[1:], places[at[0] + 1 :]])
        return places


@dataclass(frozen=True, eq=False)
class OpenArc:
    """Hold an open arc with the places of the strand that it is made of."""

    strand: Strand
    places: Whole
    arc: Arc

    def carries_ring_from_launch(self) -> bool:
        """Tell whether both ends are launches and a large loop hangs between them, longer than all of the arc."""
        if min(self.arc.weights) < _LAUNCH_WEIGHT:
            return False
        longest = max(
            (ring_length_m(self.strand.path.even[loop.places]) for loop in self.strand.hung_loops()), default=0.0
        )
        return longest > self.arc.core_length_m


def take_apart(path: Path, reading: Reading, *, within_m: float, is_alone: bool) -> list[Strand]:
    """Return the edges of one flight, each with the ways to it and from it, taken apart into loops and what is left.

    Parameters
    ----------
    path
        The flight.
    reading
        Which of its stretches are ways.
    within_m
        How near is near.
    is_alone
        Whether no other flight may go on along an edge that does not close.
    """
    strands = []
    for index, stretch in enumerate(reading.stretches):
        if not stretch.is_edge:
            continue
        first = reading.stretches[index - 1].first if index > 0 else stretch.first
        last = reading.stretches[index + 1].last if index + 1 < len(reading.stretches) else stretch.last
        legs = _to_leg(stretch.first - first, path), _to_leg(last - stretch.last, path)
        strand = _take_off_loops(path.between(first, last), legs, within_m)
        longest = max((len(loop.places) for loop in strand.loops), default=0)
        # A loop that is most of an edge closes it, though the edge was read to begin too early or to end too late.
        has_ring = longest > _RING_SHARE * (stretch.last - stretch.first)
        is_open = is_alone and not path.is_drawn and not stretch.is_closed and not has_ring
        strands.append(replace(strand, is_open=is_open))
    return strands


def _to_leg(steps: int, path: Path) -> Leg:
    return Leg(steps, steps * path.step_m, _WAY_WEIGHT) if steps else _NO_LEG


def _take_off_loops(path: Path, legs: tuple[Leg, Leg], within_m: float) -> Strand:
    is_leg = mark_legs(len(path.even), _lengthen(legs, path, within_m))
    loops, places = erase_loops(path.even, is_leg, within_m=within_m, shortest_m=_SHORTEST_LOOP * within_m)
    wide = _wide_loops(path, loops, within_m)
    return Strand(path, _without_lenses(path, wide), places, legs)


def _wide_loops(path: Path, loops: list[Loop], within_m: float) -> tuple[Loop, ...]:
    """Return the loops with some width; what hung on a way flown out and back hangs where that way began."""
    is_wide = [mean_width_m(path.even[loop.places]) > within_m for loop in loops]
    begins = np.arange(len(path.even))
    for loop, wide in zip(loops, is_wide, strict=True):
        if not wide:
            begins[loop.places[1:]] = loop.base
    while (begins[begins] != begins).any():
        begins = begins[begins]
    return tuple(Loop(int(begins[loop.base]), loop.places) for loop, wide in zip(loops, is_wide, strict=True) if wide)


def _without_lenses(path: Path, loops: tuple[Loop, ...]) -> tuple[Loop, ...]:
    """Return the loops without those that the ways to a larger loop and back make by crossing."""
    area = [ring_area_m2(path.even[loop.places]) for loop in loops]

    def is_lens(index: int) -> bool:
        for other, size in zip(loops, area, strict=True):
            at = np.flatnonzero(loops[index].places[1:] == other.base)
            if size > area[index] and len(at):
                sides = loops[index].places[: at[0] + 2], loops[index].places[at[0] + 1 :]
                return all(len(side) < 6 or is_even(path.even[side]) for side in sides)
        return False

    return tuple(loop for index, loop in enumerate(loops) if not is_lens(index))


def _lengthen(legs: tuple[Leg, Leg], path: Path, within_m: float) -> tuple[Leg, Leg]:
    """Return the legs with the first steps along the edge: where an edge just closes, its own ends are joined."""
    more = round(within_m / path.step_m)
    return legs[0]._replace(end=legs[0].end + more), legs[1]._replace(end=legs[1].end + more)


def split_strand(strand: Strand, *, within_m: float) -> tuple[list[Loop], list[OpenArc]]:
    """Return the loops of a strand that are rings of their own, and the open arcs between them.

    A strand that closes on itself keeps the loops that hang on it. Where it does not, a loop with a way to it and a way
    from it, or nothing, is a ring.
    """
    whole = to_arc(strand, strand.places, is_first=True, is_last=True)
    if strand.is_open and whole is not None:
        return [], [whole]
    hung = strand.hung_loops()
    large = [loop for loop in hung if not is_small_circle(strand.path.even[loop.places])]
    if whole is None or (large and is_way_only(whole)):
        return hung, []
    cut = _find_rings_by_themselves(strand, large, within_m)
    arcs = _arcs_between(strand, cut, within_m) if cut else []
    if not cut or (_closes(whole) and not _is_cut_cheaper(whole, arcs, cut)):
        return [], [whole]
    is_kept = np.isin(
        [strand.root_of(loop) for loop in hung], np.concatenate([np.empty(0), *(arc.places for arc in arcs)])
    )
    return [loop for loop, kept in zip(hung, is_kept, strict=True) if loop in cut or not kept], arcs


def _is_cut_cheaper(whole: OpenArc, arcs: list[OpenArc], cut: list[Loop]) -> bool:
    """Tell whether a strand that could close is better cut where rings hang on it.

    Where nothing but ways is left between them, it is if one of the rings is larger than what the ways enclose.
    """
    if not arcs:
        largest = max(ring_area_m2(whole.strand.path.even[loop.places]) for loop in cut)
        return largest > ring_area_m2(whole.arc.xy)
    return _closing_cost(arcs) + _COST_OF_A_CUT * len(cut) <= _closing_cost([whole])


def _closing_cost(arcs: list[OpenArc]) -> float:
    """Return what it costs to close arcs among themselves."""
    marked = mark_doubled(arcs, within_m=12.0)
    return sum(chain.cost for chain in join_arcs([arc.arc for arc in marked]))


def _arcs_between(strand: Strand, cut: list[Loop], within_m: float) -> list[OpenArc]:
    """Return the open arcs of a strand that is cut where rings hang on it; what runs along a ring is no arc."""
    rings = np.vstack([strand.path.even[loop.places] for loop in cut])
    cuts = sorted(int(np.searchsorted(strand.places, loop.base)) for loop in cut)
    sections = np.split(strand.places, cuts)
    arcs = []
    for index, places in enumerate(sections):
        off = np.flatnonzero(~is_near(strand.path.even[places], rings, _DOUBLED_WITHIN * within_m))
        if len(off) * strand.path.step_m < _SHORTEST_ARC_M:
            continue
        is_first, is_last = index == 0, index == len(sections) - 1
        start, end = 0 if is_first else int(off[0]), len(places) if is_last else int(off[-1]) + 1
        arcs.append(to_arc(strand, places[start:end], is_first=is_first, is_last=is_last))
    return [arc for arc in arcs if arc is not None and not is_way_only(arc)]


def is_way_only(arc: OpenArc, *, corners: int = 0) -> bool:
    """Tell whether all between the legs of an arc is one even bend more, or some with corners between them.

    A leg that nothing speaks for but its form may be edge, and counts as such.
    """
    first = arc.arc.core[0] if arc.arc.weights[0] > _DOUBTFUL_WEIGHT else 0
    last = arc.arc.core[1] if arc.arc.weights[1] > _DOUBTFUL_WEIGHT else len(arc.arc.xy) - 1
    return is_even(arc.arc.xy[first : last + 1], corners=corners)


def to_arc(strand: Strand, places: Whole, *, is_first: bool, is_last: bool) -> OpenArc | None:
    """Return a section of a strand as an arc with a leg at each end; ``None`` where nothing is left between them."""
    if len(places) < 4:
        return None
    xy, speed = strand.path.even[places], strand.path.speed[places]
    start = strand.legs[0] if is_first else find_leg(xy, speed)
    end = strand.legs[1] if is_last else find_leg(xy[::-1], speed[::-1])
    first = int(np.searchsorted(places, start.end)) if is_first else start.end
    behind = len(strand.path.even) - 1 - end.end
    last = int(np.searchsorted(places, behind)) if is_last else len(places) - 1 - end.end
    core = first, min(last, len(places) - 1)
    if core[1] - core[0] < 3:
        return None
    return OpenArc(strand, places, Arc(xy, core, (start.weight, end.weight), np.zeros(len(xy), np.bool_)))


def mark_doubled(arcs: list[OpenArc], *, within_m: float) -> list[OpenArc]:
    """Return the arcs with the places marked that another pass, of any arc, runs close by."""
    from scipy.spatial import cKDTree

    if not arcs:
        return []
    xy = np.vstack([arc.arc.xy for arc in arcs])
    owner = np.repeat(np.arange(len(arcs)), [len(arc.arc.xy) for arc in arcs])
    along = np.concatenate([arc.arc.along for arc in arcs])
    core = np.flatnonzero(np.concatenate([_mark_core(arc.arc) for arc in arcs]))
    distance, found = cKDTree(xy[core]).query(xy, k=min(24, len(core)), distance_upper_bound=within_m)
    near = np.where(np.isfinite(distance), core[np.minimum(found, len(core) - 1)], -1).reshape(len(xy), -1)
    is_other = (owner[near] != owner[:, None]) | (np.abs(along[near] - along[:, None]) > 5.0 * within_m)
    is_doubled = ((near >= 0) & is_other).any(axis=1)
    parts = np.split(is_doubled, np.cumsum([len(arc.arc.xy) for arc in arcs])[:-1])
    return [replace(arc, arc=replace(arc.arc, is_doubled=part)) for arc, part in zip(arcs, parts, strict=True)]


def mark_legs(count: int, legs: tuple[Leg, Leg]) -> Flags:
    """Return which of so many even steps lie on a leg."""
    marked = np.zeros(count, np.bool_)
    marked[: legs[0].end] = True
    marked[count - legs[1].end :] = True
    return marked


def _closes(arc: OpenArc) -> bool:
    """Tell whether an arc comes back to its own start at little cost, around some area."""
    marked = mark_doubled([arc], within_m=12.0)
    joint = find_joint([marked[0].arc], (0, 0), (0, 1))
    first, last = joint.places
    ring = arc.arc.xy[first : last + 1]
    return joint.cost < _CLOSES_WITHIN * float(arc.arc.along[-1]) and mean_width_m(ring) > _LEAST_WIDTH_M


def _find_rings_by_themselves(strand: Strand, hung: list[Loop], within_m: float) -> list[Loop]:
    """Return the loops that hang on legs only: on either side is a long even way, or nothing but another lap."""
    if not hung:
        return []
    rings = np.vstack([strand.path.even[loop.places] for loop in hung])
    is_off = ~is_near(strand.path.even[strand.places], rings, _DOUBLED_WITHIN * within_m)
    bases = np.searchsorted(strand.places, [loop.base for loop in hung])
    found = []
    for loop, base in zip(hung, bases.tolist(), strict=True):
        before = int(bases[bases < base].max(initial=0))
        after = int(bases[bases > base].min(initial=len(strand.places) - 1))
        length_m = ring_length_m(strand.path.even[loop.places])
        back, ahead = slice(before, base + 1), slice(base, after + 1)
        sides = (strand.places[back][::-1], is_off[back][::-1]), (strand.places[ahead], is_off[ahead])
        if all(_is_way(strand, places, off, length_m) for places, off in sides):
            found.append(loop)
    return found


def _is_way(strand: Strand, places: Whole, is_off: Flags, length_m: float) -> bool:
    off = np.flatnonzero(is_off)
    if len(off) * strand.path.step_m < _SHORTEST_ARC_M:
        return True
    rest = places[max(int(off[0]) - 2, 0) : int(off[-1]) + 3]
    leg = find_leg(strand.path.even[rest], strand.path.speed[rest])
    whole_m = (len(rest) - 1) * strand.path.step_m
    if is_even(strand.path.even[rest]):
        return True
    return leg.length_m > min(max(_SHORTEST_WAY_M, _WAY_SHARE * length_m), 0.9 * whole_m)


def is_near(xy: Floats, others: Floats, within_m: float) -> Flags:
    """Tell which places lie within a distance of others."""
    from scipy.spatial import cKDTree

    distance, _ = cKDTree(others).query(xy, distance_upper_bound=within_m)
    return np.asarray(np.isfinite(distance))


def _mark_core(arc: Arc) -> Flags:
    marked = np.zeros(len(arc.xy), np.bool_)
    marked[arc.core[0] : arc.core[1] + 1] = True
    return marked

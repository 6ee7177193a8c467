"""One flight's path taken apart: its legs, the loops it closed, and the open arcs that are left."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.joining import Arc
from exchange.perimeter.legs import Leg, find_leg, is_even
from exchange.perimeter.loops import Loop, erase_loops
from exchange.perimeter.paths import Path

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

_SHORTEST_LOOP = 4.0
_DOUBLED_WITHIN = 1.5
_SHORTEST_ARC_M = 30.0


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
    """

    path: Path
    loops: tuple[Loop, ...]
    places: Whole
    legs: tuple[Leg, Leg]

    def is_leg(self) -> Flags:
        """Tell which places of the path lie on the legs."""
        return _mark_legs(len(self.path.even), self.legs)


@dataclass(frozen=True, eq=False)
class OpenArc:
    """Hold an open arc with the places of the path that it is made of."""

    path: Path
    places: Whole
    arc: Arc


def take_apart(path: Path, *, within_m: float) -> Strand:
    """Return the legs, loops and the remaining strand of one flight."""
    legs = find_leg(path.even, path.speed), find_leg(path.even[::-1], path.speed[::-1])
    if legs[0].end + legs[1].end >= len(path.even) - 4:
        legs = Leg(0, 0.0, 0.0), Leg(0, 0.0, 0.0)
    is_leg = _mark_legs(len(path.even), legs)
    loops, places = erase_loops(path.even, is_leg, within_m=within_m, shortest_m=_SHORTEST_LOOP * within_m)
    wide = tuple(loop for loop in loops if mean_width_m(path.even[loop.places]) > within_m)
    return Strand(path, wide, places, legs)


def mean_width_m(ring: Floats) -> float:
    """Return twice the area of a ring over its length: the width of a band, the radius of a disc."""
    return 2.0 * ring_area_m2(ring) / max(ring_length_m(ring), 1e-9)


def ring_area_m2(ring: Floats) -> float:
    """Return the area inside a ring that does not repeat its first place (shoelace formula, common practice)."""
    x, y = (ring - ring[0]).T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2.0


def ring_length_m(ring: Floats) -> float:
    """Return the length around a ring that does not repeat its first place."""
    return float(np.hypot(*(np.roll(ring, -1, axis=0) - ring).T).sum())


def find_arcs(strand: Strand, attachments: list[int], ring_places: Floats, *, within_m: float) -> list[OpenArc]:
    """Return the open arcs of a strand: between the ends and the places where rings hang on it.

    Parameters
    ----------
    strand
        Of one flight.
    attachments
        Even steps of the flight where a loop that became a ring was taken off.
    ring_places
        Metres, shape (n, 2): places of all rings; what runs along them is no arc.
    """
    cuts = sorted(set(np.searchsorted(strand.places, attachments).tolist()))
    sections = np.split(strand.places, cuts)
    found = []
    for index, places in enumerate(sections):
        is_first, is_last = index == 0, index == len(sections) - 1
        arc = _to_arc(strand, places, is_first, is_last, ring_places, within_m)
        if arc is not None:
            found.append(arc)
    return found


def _to_arc(
    strand: Strand, places: Whole, is_first: bool, is_last: bool, ring_places: Floats, within_m: float
) -> OpenArc | None:
    if len(places) < 4:
        return None
    xy = strand.path.even[places]
    speed = strand.path.speed[places]
    start = strand.legs[0] if is_first else find_leg(xy, speed)
    end = strand.legs[1] if is_last else find_leg(xy[::-1], speed[::-1])
    start_end = int(np.searchsorted(places, start.end)) if is_first else start.end
    last_place = len(strand.path.even) - 1
    end_start = int(np.searchsorted(places, last_place - end.end)) if is_last else len(places) - 1 - end.end
    core = start_end, min(end_start, len(places) - 1)
    if core[1] - core[0] < 3:
        return None
    if len(ring_places):
        kept = np.flatnonzero(~_is_near(xy, ring_places, within_m * _DOUBLED_WITHIN))
        kept = kept[(kept >= core[0]) & (kept <= core[1])]
        if len(kept) * strand.path.step_m < _SHORTEST_ARC_M:
            return None
        core = int(kept[0]), int(kept[-1])
        if is_even(xy[core[0] : core[1] + 1]):
            return None
    return OpenArc(strand.path, places, Arc(xy, core, (start.weight, end.weight), np.zeros(len(xy), np.bool_)))


def mark_doubled(arcs: list[OpenArc], *, within_m: float) -> list[OpenArc]:
    """Return the arcs with the places marked that another pass, of any arc, runs close by."""
    from scipy.spatial import cKDTree

    if not arcs:
        return []
    xy = np.vstack([arc.arc.xy for arc in arcs])
    owner = np.repeat(np.arange(len(arcs)), [len(arc.arc.xy) for arc in arcs])
    along = np.concatenate([arc.arc.along for arc in arcs])
    is_core = np.concatenate([_mark_core(arc.arc) for arc in arcs])
    core = np.flatnonzero(is_core)
    distance, found = cKDTree(xy[core]).query(xy, k=min(24, len(core)), distance_upper_bound=within_m)
    near = np.where(np.isfinite(distance), core[np.minimum(found, len(core) - 1)], -1).reshape(len(xy), -1)
    is_other = (owner[near] != owner[:, None]) | (np.abs(along[near] - along[:, None]) > 5.0 * within_m)
    is_doubled = ((near >= 0) & is_other).any(axis=1)
    parts = np.split(is_doubled, np.cumsum([len(arc.arc.xy) for arc in arcs])[:-1])
    return [replace(arc, arc=replace(arc.arc, is_doubled=part)) for arc, part in zip(arcs, parts, strict=True)]


def _mark_core(arc: Arc) -> Flags:
    marked = np.zeros(len(arc.xy), np.bool_)
    marked[arc.core[0] : arc.core[1] + 1] = True
    return marked


def _is_near(xy: Floats, others: Floats, within_m: float) -> Flags:
    from scipy.spatial import cKDTree

    distance, _ = cKDTree(others).query(xy, distance_upper_bound=within_m)
    return np.asarray(np.isfinite(distance))


def _mark_legs(count: int, legs: tuple[Leg, Leg]) -> Flags:
    marked = np.zeros(count, np.bool_)
    marked[: legs[0].end] = True
    marked[count - legs[1].end :] = True
    return marked

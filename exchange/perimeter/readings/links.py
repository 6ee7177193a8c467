"""Straight lines between places where the edge may have been left and met again without a flight between them."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.perimeter.legs import find_leg
from exchange.perimeter.paths import Path
from exchange.perimeter.readings.ways import Bends

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

_LONGEST_M, _LONGEST_SHARE, _SHORT_M = 250.0, 0.12, 40.0
_MOST, _APART_M = 10, 10.0
_COST_PER_M, _COST_OF_BACK = 20.0 / 150.0, 60.0
_ARM_M, _SHARP_DEGREES, _CORNERS = 15.0, 45.0, 2
_CORNERS_WITHIN_SHARE = 0.45
_BENDS, _SHORTEST_LEG_M = 4, 20.0


class _Candidate(NamedTuple):
    """Hold a place where an end of a flight may leave the edge."""

    end: int
    xy: Floats
    is_last: bool
    is_leg_end: bool
    inward: Floats


def find_links(paths: Sequence[Path], *, near_m: float, a_pair: int = 3) -> list[Floats]:
    """Return the lines that may close the edge, in even steps, each of shape (n, 2)."""
    candidates = _find_candidates(paths, near_m)
    plain: list[tuple[float, Floats]] = []
    flown_m = sum(len(path.even) * path.step_m for path in paths)
    longest = min(_LONGEST_M, max(_SHORT_M, _LONGEST_SHARE * flown_m))
    far: dict[tuple[int, int], tuple[float, Floats]] = {}
    by_pair: dict[tuple[int, int], list[tuple[float, Floats]]] = {}
    for one, other in itertools.combinations(candidates, 2):
        if one.end != other.end:
            length = float(np.hypot(*(one.xy - other.xy)))
            cost = length * _COST_PER_M + _turn_cost(one, other) + _turn_cost(other, one)
            if near_m < length <= longest or (length > near_m and one.is_last and other.is_last):
                plain += [(cost, np.stack([one.xy, other.xy]))] if one.is_last and other.is_last else []
                by_pair.setdefault((one.end, other.end), []).append((cost, np.stack([one.xy, other.xy])))
            if length > near_m and one.is_leg_end and other.is_leg_end:
                far[one.end, other.end] = length, np.stack([one.xy, other.xy])
    short = []
    for pair, links in by_pair.items():
        short += [(*link, pair) for link in _without_repeats(sorted(links, key=lambda link: link[0]))[:a_pair]]
    short = sorted(short, key=lambda link: link[0])[:_MOST]
    long = [far[pair] for pair in _match(far)]
    step = paths[0].step_m if paths else 1.0
    return [_in_steps(link[1], step) for link in _without_repeats([*plain, *(link[:2] for link in short), *long])]


def _look_inward(path: Path, end: int, place: int) -> Floats:
    """Return the direction in which the path goes on from a place, away from its end."""
    xy = path.even[::-1] if end else path.even
    at = len(xy) - 1 - place if end else place
    near, far = (min(at + max(1, round(m / path.step_m)), len(xy) - 1) for m in (5.0, 20.0))
    return np.asarray(xy[far] - xy[near])


def _turn_cost(one: _Candidate, other: _Candidate) -> float:
    """Return what the corner costs at which a link from one place goes into the path at another."""
    link = other.xy - one.xy
    cosine = float(link @ other.inward) / max(float(np.hypot(*link) * np.hypot(*other.inward)), 1e-9)
    return _COST_OF_BACK * float(np.clip((1.0 - cosine) / 2.0, 0.0, 1.0))


def _without_repeats(links: list[tuple[float, Floats]]) -> list[tuple[float, Floats]]:
    """Return links without those that lie on a shorter one."""
    kept: list[tuple[float, Floats]] = []
    for link in sorted(links, key=lambda link: link[0]):
        if all(np.hypot(*(link[1] - other[1]).T).max() > _APART_M for other in kept):
            kept.append(link)
    return kept


def _find_candidates(paths: Sequence[Path], near_m: float) -> list[_Candidate]:
    from scipy.spatial import cKDTree

    xy = np.vstack([path.even for path in paths])
    line = np.repeat(np.arange(len(paths)), [len(path.even) for path in paths])
    along = np.concatenate([np.arange(len(path.even)) * path.step_m for path in paths])
    base = np.r_[0, np.cumsum([len(path.even) for path in paths])]
    tree = cKDTree(xy)
    found = []
    for number, path in enumerate(paths):
        last = len(path.even) - 1
        forth = _leave_places(path.even, path.speed, path.step_m)
        back = _leave_places(path.even[::-1], path.speed[::-1], path.step_m)
        for end, places in ((0, forth), (1, [last - place for place in back])):
            for rank, place in enumerate(places):
                here = base[number] + place
                near = np.array(tree.query_ball_point(xy[here], near_m))
                is_met = ((line[near] != number) | (np.abs(along[near] - along[here]) > 5.0 * near_m)).any()
                if not is_met:
                    inward = _look_inward(path, end, place)
                    found.append(_Candidate(2 * number + end, xy[here], place in (0, last), rank == 0, inward))
    return found


def _leave_places(xy: Floats, speed: Floats, step_m: float) -> list[int]:
    """Return the places at the start of a path where an edge may begin, the likeliest first."""
    leg = find_leg(xy, speed)
    places = {leg.end, *_sharp_corners(xy, step_m)}
    # A wait on the ground leaves a tangle, which no bend leads out of.
    bends, at = Bends(xy, step_m), int((np.hypot(*(xy - xy[0]).T) > _SHORTEST_LEG_M).argmax())
    for _ in range(_BENDS):
        at = bends.reach_from(at, ahead=True)
        places.add(at)
    least = round(_SHORTEST_LEG_M / step_m)
    rest = sorted(place for place in places - {leg.end} if least <= place < len(xy) - least)
    first = [leg.end] if leg.end else rest[:1]
    return [*first, 0, *(place for place in rest if place not in first)]


def _sharp_corners(xy: Floats, step_m: float) -> list[int]:
    arm = max(2, round(_ARM_M / step_m))
    places = np.arange(arm, min(round(_CORNERS_WITHIN_SHARE * len(xy)), len(xy) - arm))
    if not len(places):
        return []
    into, out = xy[places] - xy[places - arm], xy[places + arm] - xy[places]
    turn = np.abs(np.arctan2(into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], (into * out).sum(axis=1)))
    found: list[int] = []
    from scipy.ndimage import maximum_filter1d

    peaks = places[(turn == maximum_filter1d(turn, 2 * arm + 1)) & (turn > np.radians(_SHARP_DEGREES))]
    for place in peaks.tolist():
        if len(found) == _CORNERS:
            break
        found.append(place)
    return found


def _match(links: dict[tuple[int, int], tuple[float, Floats]]) -> list[tuple[int, int]]:
    """Return the pairs of ends that take the shortest links together, each end in one."""
    left, chosen = dict(links), []
    while left:
        pair = min(left, key=lambda ends: left[ends][0])
        chosen.append(pair)
        left = {ends: link for ends, link in left.items() if not set(ends) & set(pair)}
    return chosen


def _in_steps(link: Floats, step_m: float) -> Floats:
    count = max(2, round(float(np.hypot(*(link[1] - link[0]))) / step_m))
    return np.linspace(link[0], link[1], count + 1)

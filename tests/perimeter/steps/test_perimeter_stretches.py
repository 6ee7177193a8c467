from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from exchange.perimeter.meetings import find_meetings
from exchange.perimeter.paths import Path, to_path
from exchange.perimeter.rings import find_rings
from exchange.perimeter.shapes import ring_area_m2
from exchange.perimeter.stretches import Reading, read_path
from exchange.perimeter.together import read_paths

Floats = NDArray[np.float64]
STEP_M = 2.5
NO_LAUNCH = 0.0, 0.0


def ragged(radius_m: float, first: float, last: float, middle: tuple[float, float] = (0.0, 0.0)) -> Floats:
    """Return part of a ragged ring, from one angle to another."""
    turn = np.linspace(first, last, max(8, round(abs(last - first) * radius_m / STEP_M)))
    reach = radius_m * (1.0 + 0.05 * np.sin(9 * turn) + 0.03 * np.sin(23 * turn + 1.0))
    return np.asarray(middle) + reach[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])


def way(start: Floats, end: Floats, bend: float = 0.0) -> Floats:
    """Return a way with its ends left out, straight or bent to one side by a share of its length."""
    share = np.linspace(0.0, 1.0, max(4, round(float(np.hypot(*(end - start))) / STEP_M)))[1:-1, None]
    side = bend * np.array([start[1] - end[1], end[0] - start[0]])
    return np.asarray(start + share * (end - start) + np.sin(np.pi * share) * side)


def path_of(*parts: Floats) -> Path:
    xy = np.vstack(parts)
    return to_path(xy, np.full(len(xy), np.nan), STEP_M)


def read(path: Path) -> Reading:
    return read_path(path, NO_LAUNCH, np.empty(0, np.int64), is_alone=True)[0]


def edges_m(reading: Reading, path: Path) -> list[float]:
    return [(one.last - one.first) * path.step_m for one in reading.stretches if one.is_edge]


def lengths_m(*parts: Floats) -> list[float]:
    return [float(np.hypot(*np.diff(part, axis=0).T).sum()) for part in parts]


@pytest.mark.parametrize("out", [-0.2, 0.0, 0.25])
@pytest.mark.parametrize("home", [-0.25, 0.0, 0.2])
def test_ways_from_a_launch_and_back_are_no_edge(out: float, home: float) -> None:
    """Straight or bent, crossing each other or not, the ways are told from the ring."""
    ring, launch = ragged(150.0, 0.0, 2 * np.pi), np.array([420.0, 90.0])
    path = path_of(launch[None], way(launch, ring[0], out), ring, way(ring[-1], launch, home), launch[None])
    reading = read(path)
    assert [one.is_edge for one in reading.stretches] == [False, True, False]
    assert edges_m(reading, path) == pytest.approx(lengths_m(ring), abs=25.0)


def test_an_overlap_between_the_ways_is_edge() -> None:
    """The lens between two bent ways to a ring flown by a fifth too far is no fire."""
    ring, launch = ragged(150.0, 0.0, 2.4 * np.pi), np.array([420.0, 90.0])
    path = path_of(launch[None], way(launch, ring[0], -0.2), ring, way(ring[-1], launch, 0.25), launch[None])
    assert edges_m(read(path), path) == pytest.approx(lengths_m(ring), abs=25.0)


def test_a_ring_alone_is_all_edge() -> None:
    """Whether it just closes, overlaps or leaves a gap, nothing of a ring without ways is cut off."""
    for turns in (1.9, 2.0, 2.3, 6.1):
        path = path_of(ragged(150.0, 1.0, 1.0 + turns * np.pi))
        assert edges_m(read(path), path) == pytest.approx([(len(path.even) - 1) * path.step_m])


def test_the_ways_to_islands_are_no_edge() -> None:
    """A flight around the edge and then around two islands has three edges."""
    launch = np.array([560.0, 130.0])
    outer = ragged(400.0, 0.0, 2 * np.pi)
    first = ragged(60.0, 2.0, 2.0 + 2 * np.pi, (60.0, 170.0))
    second = ragged(75.0, 4.0, 4.0 + 2 * np.pi, (-120.0, -90.0))
    path = path_of(
        launch[None], way(launch, outer[0]), outer, way(outer[-1], first[0], 0.1), first,
        way(first[-1], second[0]), second, way(second[-1], launch), launch[None],
    )  # fmt: skip
    assert edges_m(read(path), path) == pytest.approx(lengths_m(outer, first, second), abs=40.0)


def test_two_fires_are_two_edges() -> None:
    """What is flown from one fire to the other is neither's edge."""
    one = ragged(150.0, 0.0, 2 * np.pi)
    other = ragged(110.0, 3.0, 3.0 + 2 * np.pi, (500.0, 60.0))
    path = path_of(one, way(one[-1], other[0], 0.1), other)
    assert edges_m(read(path), path) == pytest.approx(lengths_m(one, other), abs=40.0)


def test_half_a_ring_with_its_ways_does_not_close_at_the_launch() -> None:
    """Two ways that meet at a launch do not close the half of a ring that they lead to."""
    half, launch = ragged(300.0, 0.3, 3.4), np.array([150.0, -500.0])
    path = path_of(launch[None], way(launch, half[0]), half, way(half[-1], launch), launch[None])
    reading = read(path)
    assert edges_m(reading, path) == pytest.approx(lengths_m(half), abs=30.0)
    assert not any(one.is_closed for one in reading.stretches)


def test_a_drawn_line_is_all_edge() -> None:
    """A corner of a drawn line is a corner, and no launch."""
    corners = np.array([[0.0, 0.0], [300.0, 10.0], [310.0, 200.0], [150.0, 60.0], [20.0, 210.0], [0.0, 0.0]])
    path = to_path(corners, np.full(len(corners), np.nan), STEP_M)
    drawn = Path(path.fine, path.fine_along, path.even, path.step_m, path.speed, is_drawn=True)
    assert edges_m(read(drawn), drawn) == pytest.approx([(len(path.even) - 1) * path.step_m])


@pytest.mark.parametrize("bend", [0.0, 0.15])
def test_flights_from_one_launch_are_read_together(bend: float) -> None:
    """Of three flights from one launch inside the burn, each an arc that overlaps the next, the arcs are edge."""
    launch, arcs = np.array([30.0, -40.0]), [ragged(400.0, turn, turn + 2.4) for turn in (0.0, 2.1, 4.2)]
    paths = [
        path_of(launch[None], way(launch, arc[0], bend), arc, way(arc[-1], launch, -bend), launch[None])
        for arc in arcs
    ]  # fmt: skip
    for path, arc, reading in zip(paths, arcs, read_paths(paths, [(0.9, 0.9)] * 3), strict=True):
        assert edges_m(reading, path) == pytest.approx(lengths_m(arc), abs=60.0)


@pytest.mark.parametrize(
    ("make", "junctions"),
    [
        (lambda: ragged(150.0, 0.0, 1.99 * np.pi), 0),
        (lambda: ragged(150.0, 0.0, 6.5 * np.pi), 0),
        (lambda: np.vstack([ragged(150.0, 0.0, 2 * np.pi), way(np.array([150.0, 0.0]), np.array([-400.0, 20.0]))]), 1),
    ],
)
def test_laps_meet_nowhere_and_a_way_across_meets_the_edge(make: Callable[[], Floats], junctions: int) -> None:
    """Passes along each other part at the ends of the path only; where a way crosses an edge is a junction."""
    path = path_of(make())
    found = find_meetings(path.even, path.step_m).junctions
    is_at_end = (found < 8) | (found > len(path.even) - 9)
    assert (~is_at_end.any(axis=1)).sum() == junctions


def test_the_smaller_half_of_a_figure_of_eight_is_no_way() -> None:
    """Of two bodies flown as an eight, the ways leading to the smaller one, both are rings."""
    large, small = ragged(150.0, np.pi, 3 * np.pi, (170.0, 0.0)), ragged(80.0, 0.0, 2 * np.pi, (-95.0, 0.0))
    half, launch = len(small) // 2, np.array([-420.0, 30.0])
    first, second = small[half:], small[:half]
    path = path_of(
        launch[None], way(launch, first[0]), first, way(first[-1], large[0]), large, way(large[-1], second[0]),
        second, way(second[-1], launch), launch[None],
    )  # fmt: skip
    areas = sorted(ring_area_m2(ring.xy) for ring in find_rings([path], within_m=8.0).rings)
    assert areas == pytest.approx([ring_area_m2(small), ring_area_m2(large)], rel=0.1)

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from exchange.perimeter.flights import find_flights, orient_flight, split_at_landings
from exchange.perimeter.paths import to_path
from exchange.perimeter.thinning import collapse_hovers, thin_path, waits_seconds

TURN = np.linspace(0.0, 2 * np.pi, 200)
RING = 100.0 * np.column_stack([np.cos(TURN), np.sin(TURN)])


@given(st.integers(1, 199))
def test_a_log_cut_into_two_files_is_one_flight(cut: int) -> None:
    """Two tracks of which one goes on where and when the other ended are joined, in flown order."""
    track = np.r_[np.ones(cut), np.zeros(200 - cut)].astype(np.int64)
    flights = find_flights(RING, np.arange(200.0), track)
    assert [rows.tolist() for rows in flights] == [list(range(200))]


def test_a_pause_parts_two_flights_and_their_files_order_does_not_matter() -> None:
    """A battery change is a pause; flights come in the order of their times."""
    seconds = np.r_[np.arange(100.0) + 900.0, np.arange(100.0)]
    flights = find_flights(np.vstack([RING[:100], RING[:100]]), seconds, np.zeros(200, np.int64))
    assert [rows[0] for rows in flights] == [100, 0]


def test_a_clock_jump_parts_nothing() -> None:
    """An hour lost while the aircraft moved on at its usual step is no pause."""
    seconds = np.arange(200.0) + np.where(np.arange(200) >= 90, 3600.0, 0.0)
    assert len(find_flights(RING, seconds, np.zeros(200, np.int64))) == 1


def test_no_fix_is_no_flight() -> None:
    """Nothing in, nothing out."""
    assert find_flights(np.empty((0, 2)), np.empty(0), np.empty(0, np.int64)) == []


def test_a_flight_is_the_same_in_either_direction() -> None:
    """Flown the other way round the path is the same, and says so."""
    seconds = np.arange(200.0)
    there = orient_flight(RING, seconds, np.arange(200))
    back = orient_flight(RING[::-1], seconds, np.arange(200))
    assert np.array_equal(there.xy, back.xy)
    assert (there.is_reversed, back.is_reversed) == (False, True)


def test_a_hover_is_drawn_together() -> None:
    """Half a minute of jitter in one place becomes one place."""
    random = np.random.default_rng(1000)
    jitter = np.tile([600.0, 0.0], (60, 1)) + random.normal(0.0, 0.6, (60, 2))
    line = np.column_stack([np.arange(0.0, 600.0, 3.0), np.zeros(200)])
    after = np.column_stack([np.arange(603.0, 1203.0, 3.0), np.zeros(200)])
    xy = np.vstack([line, jitter, after])
    drawn, rows = collapse_hovers(xy, 0.5 * np.arange(len(xy)))
    assert len(xy) - 62 <= len(drawn) <= len(xy) - 50
    assert np.hypot(*np.diff(drawn, axis=0).T).sum() < 1203.0 + 12.0
    assert (np.diff(rows) > 0).all()


@given(st.floats(0.5, 20.0))
def test_a_thinned_path_keeps_its_line(step_m: float) -> None:
    """Thinned places lie on the line, in order, and no two of them are much nearer than the step."""
    xy = np.column_stack([np.linspace(0.0, 500.0, 1000), np.zeros(1000)])
    thin, first = thin_path(xy, step_m)
    assert (np.diff(thin[:, 0]) > 0.0).all()
    assert (np.diff(first) > 0).all()
    assert len(thin) <= 2.5 * 500.0 / step_m + 2


def test_waiting_is_counted_at_either_end() -> None:
    """Twenty seconds before take-off and five after landing are told."""
    xy = np.vstack([np.zeros((20, 2)), np.column_stack([np.arange(7.0, 700.0, 7.0), np.zeros(99)])])
    xy = np.vstack([xy, np.tile(xy[-1], (5, 1))])
    first, last = waits_seconds(xy, np.arange(float(len(xy))))
    assert 19.0 <= first <= 23.0
    assert 5.0 <= last <= 8.0


def test_even_steps_give_back_the_path() -> None:
    """A path between two even steps is the flown one, in either direction."""
    path = to_path(RING, np.arange(200.0), 2.5)
    last = len(path.even) - 1
    there, back = path.fine_between(0, last), path.fine_between(last, 0)
    assert np.allclose(there, back[::-1])
    assert np.allclose(there[1:-1], RING[1:-1])
    assert np.allclose(path.reversed().headings()[::-1], path.headings(), atol=1e-6)


def test_a_log_that_comes_back_to_its_launch_and_leaves_again_is_two_flights() -> None:
    """A change of batteries cuts a log; passing the launch, or staying elsewhere, does not."""
    out = np.column_stack([np.arange(0.0, 300.0, 10.0), np.zeros(30)])
    wait = np.zeros((20, 2))
    there_and_back = np.vstack([out, out[::-1]])
    stays = np.vstack([there_and_back, wait, there_and_back])
    passes = np.vstack([there_and_back, there_and_back])
    elsewhere = np.vstack([out, wait + out[-1], out[::-1]])

    def count(xy: NDArray[np.float64]) -> list[int]:
        rows = np.arange(len(xy))
        return [len(part) for part in split_at_landings(xy, rows.astype(np.float64), rows)]

    assert count(stays) == [70, 70]
    assert count(passes) == [120]
    assert count(elsewhere) == [80]

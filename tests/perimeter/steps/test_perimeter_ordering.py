from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from exchange.perimeter.fixes import find_placeless, gather_fixes
from exchange.perimeter.ordering import find_repeats, intervals_seconds, order_rows


@given(st.permutations(range(30)))
def test_rows_out_of_order_are_sorted_by_time(order: list[int]) -> None:
    """However the rows of a straight flight are shuffled, they come back in flown order."""
    seconds = np.array(order, np.float64)
    rows = order_rows(5.0 * seconds, np.zeros(30), seconds)
    assert seconds[rows].tolist() == list(range(30))


def test_a_clock_that_jumps_back_does_not_tear_the_path() -> None:
    """Rows stay as they came where sorting by time would lengthen the path."""
    seconds = np.r_[np.arange(50.0) + 1000.0, np.arange(50.0)]
    rows = order_rows(5.0 * np.arange(100.0), np.zeros(100), seconds)
    assert rows.tolist() == list(range(100))


def test_a_clock_jump_is_no_slow_flight() -> None:
    """An hour lost by the clock counts as half a minute, a step back as a usual step."""
    seconds = np.array([0.0, 1.0, 2.0, 3602.0, 3603.0, 3.0, 4.0])
    assert intervals_seconds(seconds).tolist() == [1.0, 1.0, 30.0, 1.0, 1.0, 1.0]


def test_stamps_in_whole_seconds_share_their_second() -> None:
    """Five fixes with one stamp are a fifth of a second apart."""
    seconds = np.repeat(np.arange(4.0), 5)
    assert np.allclose(intervals_seconds(seconds), 0.2)


def test_without_times_every_step_takes_one() -> None:
    """A drawn line has steps and no speeds."""
    assert intervals_seconds(np.full(4, np.nan)).tolist() == [1.0, 1.0, 1.0]
    assert intervals_seconds(np.array([3.0])).tolist() == []


def test_repeated_and_frozen_fixes_are_told_apart() -> None:
    """A row twice is repeated; a place that stays while time goes on is frozen."""
    longitude = np.array([1.0, 1.0, 1.0, 2.0])
    repeated, frozen = find_repeats(longitude, np.zeros(4), np.array([0.0, 0.0, 1.0, 2.0]))
    assert repeated.tolist() == [False, True, False, False]
    assert frozen.tolist() == [False, False, True, False]


def test_what_is_nowhere_on_earth_has_no_place() -> None:
    """Missing, infinite, out of range and the 0, 0 of an unset receiver are no places; the equator is one."""
    longitude = np.array([np.nan, np.inf, 10.0, 0.0, 0.0, 500.0])
    latitude = np.array([1.0, 1.0, 91.0, 0.0, 10.0, 1.0])
    assert find_placeless(longitude, latitude).tolist() == [True, True, True, True, False, True]


def test_no_track_gives_no_fix() -> None:
    """Nothing in, nothing out."""
    assert len(gather_fixes([])) == 0


def test_rows_written_last_first_are_turned_round() -> None:
    """A log that runs back in time is as long either way, and is read by its stamps."""
    seconds = np.arange(30.0)[::-1]
    assert order_rows(5.0 * np.arange(30.0), np.zeros(30), seconds).tolist() == list(range(30))[::-1]


def test_a_pause_may_be_told_as_long_as_it_was() -> None:
    """A longest interval of one's own leaves longer ones whole."""
    assert intervals_seconds(np.array([0.0, 1.0, 301.0]), longest_seconds=np.inf).tolist() == [1.0, 300.0]


@given(st.lists(st.integers(0, 4), min_size=2, max_size=30), st.lists(st.booleans(), min_size=30, max_size=30))
def test_the_direction_of_a_path_changes_no_repeat(places: list[int], is_later: list[bool]) -> None:
    """As many rows are repeated and frozen read from either end, and one row of each place stays."""
    x, seconds = np.array(places, np.float64) ** 2, np.cumsum(is_later[: len(places)]).astype(np.float64)
    there = find_repeats(x, np.zeros(len(x)), seconds)
    back = find_repeats(x[::-1], np.zeros(len(x)), seconds[-1] - seconds[::-1])
    kept = x[~there[0] & ~there[1]]
    assert (np.diff(kept) != 0.0).all()
    assert (x[::-1][~back[0] & ~back[1]] == kept[::-1]).all()


def test_a_frozen_place_keeps_the_time_that_the_way_on_needs() -> None:
    """An aircraft that flew on while its place stood was there when it first said so."""
    x = np.array([0.0, 8.0, 8.0, 8.0, 32.0])
    _, frozen = find_repeats(x, np.zeros(5), np.arange(5.0))
    assert frozen.tolist() == [False, False, True, True, False]
    _, frozen = find_repeats(x[::-1], np.zeros(5), np.arange(5.0))
    assert frozen.tolist() == [False, True, True, False, False]

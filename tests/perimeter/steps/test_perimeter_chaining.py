from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from exchange.perimeter.chaining import chain_tracks

Whole = NDArray[np.int64]
TURN = np.linspace(0.0, 2 * np.pi, 200, endpoint=False)
RING = 200.0 * np.column_stack([np.cos(TURN), np.sin(TURN)])
NO_TIME = np.full(len(RING), np.nan)


def cut(first: int, second: int, *, order: tuple[int, int, int]) -> Whole:
    """Return the rows of three files that a log was cut into, named in some order."""
    pieces = np.split(np.arange(len(RING)), [first, second])
    return np.concatenate([pieces[number] for number in order])


@given(st.integers(5, 90), st.integers(100, 190), st.permutations(range(3)))
def test_a_drawn_line_that_was_cut_begins_where_it_began(first: int, second: int, order: list[int]) -> None:
    """Three files of a line that ends where it began are joined at the cuts, and not at its ends, which lie as near."""
    turn = 0.99 * TURN
    line = 200.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    rows = cut(first, second, order=(order[0], order[1], order[2]))
    track = np.repeat(np.arange(3), [np.diff([0, first, second, len(RING)])[number] for number in order])
    (chain,) = chain_tracks(line[rows], NO_TIME, track)
    assert rows[chain].tolist() == list(range(len(RING)))


@pytest.mark.parametrize("block", [30, 95])
def test_rows_out_of_order_across_a_cut_are_one_log(block: int) -> None:
    """A log with a block of rows in the wrong place, cut into two files, is one log again."""
    moved = np.insert(np.delete(np.arange(200), slice(block, block + 12)), 150, np.arange(block, block + 12))
    chains = chain_tracks(RING[moved], moved.astype(np.float64), np.repeat([0, 1], 100))
    assert len(chains) == 1
    assert moved[chains[0]].tolist() == list(range(200))


def test_two_aircraft_at_a_time_are_two_logs() -> None:
    """Flights at the same time along two edges stay apart."""
    xy = np.vstack([RING, RING + np.array([900.0, 0.0])])
    assert len(chain_tracks(xy, np.tile(np.arange(200.0), 2), np.repeat([0, 1], 200))) == 2

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

from exchange.errors import OptionError
from exchange.handout.divisions import Divisions
from exchange.handout.file_names import name_files
from exchange.handout.letters import Letters
from exchange.handout.profile import Profile
from exchange.handout.splitting import split_rows
from exchange.model import Detections, Perimeter

DIVISIONS = Divisions.from_areas(
    [Perimeter(name="A", geometry=box(0.0, 0.0, 0.5, 1.0)), Perimeter(name="B", geometry=box(0.5, 0.0, 1.0, 1.0))]
)
PLACES = st.lists(st.tuples(st.floats(-0.2, 1.2) | st.just(np.nan), st.floats(0.0, 1.0)), max_size=40)


def _spots(places: list[tuple[float, float]]) -> Detections:
    longitude, latitude = np.array(places, float).reshape(-1, 2).T
    return Detections(longitude=longitude, latitude=latitude)


@given(places=PLACES, most=st.integers(0, 9), by=st.sampled_from(["nearness", "division"]), data=st.data())
def test_parts_overlap_in_nothing_and_miss_nothing(
    places: list[tuple[float, float]], most: int, by: str, data: st.DataObject
) -> None:
    """Each row is in one part, none has too many, each keeps the order, and there are no more parts than needed."""
    rows = np.array(data.draw(st.permutations(range(len(places)))), np.int64)
    parts = split_rows(_spots(places), rows, most, by=by, divisions=DIVISIONS)  # type: ignore[arg-type]
    assert sorted(row for part in parts for row in part.rows.tolist()) == list(range(len(places)))
    assert all(not most or len(part.rows) <= most for part in parts)
    turn = {row: place for place, row in enumerate(rows.tolist())}
    assert all(np.all(np.diff([turn[row] for row in part.rows.tolist()]) > 0) for part in parts)
    if by == "nearness" and most:
        placed = sum(np.isfinite(place[0]) for place in places)
        needed = -(-len(places) // most) if len(places) <= most else -(-placed // most) - (placed - len(places)) // most
        assert len(parts) <= max(needed, 1)


def test_parts_by_nearness_are_pieces_of_ground() -> None:
    """Two groups far apart are split between them, not through one."""
    spots = _spots([(0.0, 0.0), (1.0, 0.0), (0.001, 0.0), (1.001, 0.0)])
    assert [part.rows.tolist() for part in split_rows(spots, np.arange(4), 2)] == [[0, 2], [1, 3]]


def test_parts_by_division_are_named_and_hold_that_division_only() -> None:
    """Every division has its own files, what lies in none too; a division too large is split on."""
    spots = _spots([(0.1, 0.9), (0.9, 0.1), (0.1, 0.1), (0.2, 0.2), (2.0, 2.0)])
    parts = split_rows(spots, np.arange(5), 2, by="division", divisions=DIVISIONS)
    assert [(part.division, part.rows.tolist()) for part in parts] == [
        ("A", [2, 3]),
        ("A", [0]),
        ("B", [1]),
        ("", [4]),
    ]


def test_splitting_by_what_is_not_known_is_refused() -> None:
    """Divisions must be given, and there are two ways to split."""
    with pytest.raises(OptionError, match="where the divisions are"):
        split_rows(_spots([(0.0, 0.0)]), np.arange(1), 1, by="division")
    with pytest.raises(OptionError, match="no way to split"):
        split_rows(_spots([(0.0, 0.0)]), np.arange(1), 1, by="age")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("divisions", "length", "letters", "expected"),
    [
        ([""], 64, "a-z0-9_-", ["six-capitals.gpx"]),
        (["", ""], 64, "a-z0-9_-", ["six-capitals_1.gpx", "six-capitals_2.gpx"]),
        (["A", "B"], 64, "A-Za-z0-9_-", ["six-capitals_A_1.gpx", "six-capitals_B_2.gpx"]),
        ([""], 12, "A-Z0-9", ["SIXCAPIT.gpx"]),
        (["", ""], 12, "A-Z0-9", ["SIXCAPI1.gpx", "SIXCAPI2.gpx"]),
        (["Division North", ""], 12, "A-Z0-9", ["SIXCAPI1.gpx", "SIXCAPI2.gpx"]),
    ],
)
def test_files_are_named_within_the_limits(
    divisions: list[str], length: int, letters: str, expected: list[str]
) -> None:
    """A file's name begins like the profile's, then division and part, in the letters and length allowed."""
    profile = Profile(name="six-capitals", file_name_length=length, file_name_letters=Letters(letters))
    assert name_files(profile, divisions, ".gpx", set()) == expected


def test_two_profiles_of_one_beginning_have_files_of_their_own() -> None:
    """A name that is taken, in whatever letter case, is not given again; where none is left it is refused."""
    profile = Profile(name="six-capitals", file_name_length=12, file_name_letters=Letters("A-Z0-9"))
    taken = {"sixcapit.gpx"}
    assert name_files(profile, [""], ".gpx", taken) == ["SIXCAPI2.gpx"]
    assert "sixcapi2.gpx" in taken
    letters_only = Profile(name="six", file_name_length=8, file_name_letters=Letters("a-z"))
    with pytest.raises(OptionError, match="no name is left"):
        name_files(letters_only, ["", ""], ".gpx", set())

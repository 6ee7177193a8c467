from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.errors import MalformedError, ReadError
from exchange.geo.elevation import ElevationModel, read_elevation

GRID = """\
ncols 3
nrows 2
xllcorner 179.0
yllcorner 44.0
cellsize 0.5
NODATA_value -9999
30 40 50
10 20 -9999
"""


@pytest.fixture
def grid(tmp_path: Path) -> Path:
    """Write an elevation model that reaches over the 180th meridian, one height unknown."""
    path = tmp_path / "grid.asc"
    path.write_text(GRID, encoding="ascii")
    return path


def test_the_first_row_of_the_file_is_the_northernmost(grid: Path) -> None:
    """A cell's own height stands at its middle; longitudes go round the earth."""
    ground = read_elevation(grid)
    assert ground([179.25, 179.75, -179.75, 180.25], [44.75, 44.25, 44.75, 44.75]).tolist() == [30.0, 20.0, 50.0, 50.0]


def test_heights_between_cells_are_bilinear(grid: Path) -> None:
    """Half way between four cells lies their mean."""
    assert read_elevation(grid)([179.5], [44.5]).tolist() == [25.0]


def test_unknown_and_outside_are_nan_and_do_not_spoil_their_neighbours(grid: Path) -> None:
    """A missing height is not known, nor is one made of it, nor one beyond the outermost middles."""
    found = read_elevation(grid)([180.25, 180.0, 179.75, 179.0, 179.5], [44.25, 44.25, 44.25, 44.5, 45.0])
    assert np.isnan(found).tolist() == [True, True, False, True, True]


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(0, 1), st.floats(0, 1))
def test_a_plane_is_given_exactly(east: float, north: float, along: float, up: float) -> None:
    """Bilinear interpolation of a plane is that plane (analytic)."""
    columns, rows = np.meshgrid(np.arange(6), np.arange(5))
    ground = ElevationModel(10.0, 50.0, 0.1, 100.0 + east * columns + north * rows)
    assert ground([10.0 + 0.5 * along], [50.0 + 0.4 * up])[0] == pytest.approx(
        100.0 + east * 5 * along + north * 4 * up, abs=1e-6
    )


def test_the_middle_may_be_given_instead_of_the_corner(grid: Path) -> None:
    """``xllcenter`` names the middle of the first cell."""
    text = GRID.replace("xllcorner 179.0", "xllcenter 179.25").replace("yllcorner 44.0", "yllcenter 44.25")
    grid.write_text(text, encoding="ascii")
    assert read_elevation(grid)([179.25], [44.75]).tolist() == [30.0]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("30 40 50\n", "30 40\n", "holds 5 heights, not 2 rows of 3"),
        ("cellsize 0.5\n", "", "states no cellsize"),
        ("xllcorner 179.0", "xllcorner 512000", "are no degrees"),
        ("30 40", "30 high", "could not convert"),
        ("nrows 2", "nrows two", "'nrows two' is no word and number"),
        (GRID, "", "states no ncols"),
    ],
    ids=["too-few", "no-cellsize", "metres", "word", "word-in-head", "empty"],
)
def test_a_broken_grid_is_refused(grid: Path, old: str, new: str, words: str) -> None:
    """What is no grid of degrees is refused with the file's name and what to give."""
    grid.write_text(GRID.replace(old, new), encoding="ascii")
    with pytest.raises(MalformedError, match=words) as told:
        read_elevation(grid)
    assert str(told.value).startswith(str(grid))
    assert "ASCII grid of WGS 84 degrees" in str(told.value)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """A file that is not there is told with its name."""
    with pytest.raises(ReadError, match=r"nowhere\.asc: cannot be read"):
        read_elevation(tmp_path / "nowhere.asc")

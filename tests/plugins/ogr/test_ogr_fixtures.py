from __future__ import annotations

from pathlib import Path

import pytest

from exchange.errors import AmbiguityError, ExchangeError, MalformedError, UnsafeInputError
from exchange.formats.reading import read
from exchange.testing import host_with
from exchange_ogr.formats import FlatGeobuf, GeoPackage, Shapefile

HOST = host_with(FlatGeobuf(), GeoPackage(), Shapefile())
FOLDER = Path(__file__).parents[3] / "fixtures" / "ogr"

VALID = {
    "nad27_points.gpkg": {"detections": 2},
    "heights_and_zones.fgb": {"detections": 2},
    "two_layers_utm_latin1.shp.zip": {"perimeters": 1, "tracks": 1, "fixes": 5},
}
INVALID: dict[str, tuple[type[ExchangeError], str]] = {
    "no_reference_system.shp.zip": (AmbiguityError, "states no coordinate reference system"),
    "cut_short.fgb": (MalformedError, "of the 2 rows it states|cannot read it"),
    "climbs_out.zip": (UnsafeInputError, "points out of its folder"),
    "swells.zip": (UnsafeInputError, "unpacks to far more"),
    "no_layer.zip": (MalformedError, "holds no shapefile"),
    "no_database.gpkg": (MalformedError, "cannot read it"),
}


@pytest.mark.parametrize("path", sorted((FOLDER / "valid").iterdir()), ids=lambda path: path.name)
def test_every_valid_file_reads(path: Path) -> None:
    """Each file that must read holds what its README says."""
    held = {name: count for name, count in read(path, host=HOST).counts().items() if count}
    assert held == VALID[path.name]


@pytest.mark.parametrize("path", sorted((FOLDER / "invalid").iterdir()), ids=lambda path: path.name)
def test_every_invalid_file_is_refused_by_its_error(path: Path) -> None:
    """Each file that must not read raises its named error, which names the file."""
    error, words = INVALID[path.name]
    with pytest.raises(error, match=words) as caught:
        read(path, host=HOST)
    assert path.name in str(caught.value)


def test_the_latin1_name_and_the_island_are_kept() -> None:
    """The encoding of the table is followed, and the hole of the polygon stays a hole."""
    perimeter = read(FOLDER / "valid" / "two_layers_utm_latin1.shp.zip", host=HOST).perimeters[0]
    assert "Peñasco (inventado)" in (perimeter.name, perimeter.extra.get("nombre"))
    assert len(perimeter.geometry.interiors) == 1

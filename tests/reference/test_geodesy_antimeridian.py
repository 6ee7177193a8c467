"""The cut at the 180th meridian against RFC 7946's own examples and the test pairs of the `antimeridian` package.

RFC 7946 was read in the working group's source of July 2016. The pairs (Apache-2.0) are those of flat edges, which
are straight in longitude and latitude as GeoJSON's are; the package rounds cut latitudes to seven decimals.
"""

import json
from pathlib import Path
from typing import Any

import pytest
import shapely
from shapely.geometry import mapping, shape

from exchange.errors import AmbiguityError, CoordinateError
from exchange.geo.antimeridian import Pole, bounding_box, cut, geometry_bounding_box, join
from exchange.geo.rings import DefectKind, find_defects
from tests.reference.packages import package_files

# Polygons around a pole whose winding and latitudes name different poles: the package guesses, we are told.
TOLD_POLES: dict[str, Pole] = {"extra-crossing": "north", "issues-124": "south", "issues-164": "north"}
# Rings that cross themselves: the package answers with an invalid polygon, or refuses as we do.
SELF_CROSSING = {"force-north-pole", "overlap"}
# The package reads a clockwise exterior as all the earth outside; we read the polygon it draws.
OTHER_READING = {"both-poles"}
# The package loses the first of two holes of this one.
LOST_HOLE = {"issues-171"}
# No flat pair exists: one is invalid, the others only test that winding is mended.
WITHOUT_OUTPUT = {"issues-182", "one-ccw-hole", "simple-with-ccw-hole"}

RFC_LINE = [[[170.0, 45.0], [180.0, 45.0]], [[-180.0, 45.0], [-170.0, 45.0]]]
RFC_POLYGONS = [
    [[[180.0, 40.0], [180.0, 50.0], [170.0, 50.0], [170.0, 40.0], [180.0, 40.0]]],
    [[[-170.0, 40.0], [-170.0, 50.0], [-180.0, 50.0], [-180.0, 40.0], [-170.0, 40.0]]],
]


def _data() -> Path:
    return package_files("antimeridian", "0.4.9") / "tests" / "data"


def _read(folder: str, name: str) -> Any:
    return shape(json.loads((_data() / folder / f"{name}.json").read_text("utf-8")))


def _from_its_greatest(ring: list[list[float]]) -> list[list[float]]:
    """Return the ring begun at its greatest position: where a ring begins says nothing."""
    open_ring = ring[:-1]
    start = open_ring.index(max(open_ring))
    return [*open_ring[start:], *open_ring[:start], open_ring[start]]


def _names() -> list[str]:
    return sorted(path.stem for path in (_data() / "input").glob("*.json"))


def test_line_of_the_standard() -> None:
    """RFC 7946 §3.1.9: a line from 170 E to 170 W becomes the published MultiLineString, exactly."""
    line = cut(shapely.LineString([(170, 45), (-170, 45)]))
    assert [[list(position) for position in part.coords] for part in line.geoms] == RFC_LINE


@pytest.mark.parametrize("east", [-170.0, 190.0])
def test_polygon_of_the_standard(east: float) -> None:
    """RFC 7946 §3.1.9: the polygon from 170 E to 170 W becomes the published MultiPolygon: rings, winding and all."""
    polygon = cut(shapely.Polygon([(170, 40), (east, 40), (east, 50), (170, 50)]))
    pieces = json.loads(json.dumps(mapping(polygon)))["coordinates"]
    found = sorted([_from_its_greatest(ring) for ring in piece] for piece in pieces)
    assert found == sorted([_from_its_greatest(ring) for ring in piece] for piece in RFC_POLYGONS)


def test_bounding_box_of_the_standard() -> None:
    """RFC 7946 §5.2: Fiji's box is [177, -20, -178, -16], five degrees wide, and not 355."""
    assert bounding_box([177.0, -178.0], [-20.0, -16.0]) == (177.0, -20.0, -178.0, -16.0)
    archipelago = shapely.MultiPolygon(
        [shapely.box(177.0, -20.0, 179.0, -16.0), shapely.box(-179.0, -19.0, -178.0, -17.0)]
    )
    assert geometry_bounding_box(archipelago) == (177.0, -20.0, -178.0, -16.0)


def test_all_pairs_are_there() -> None:
    """The package brings 34 inputs, and every exception made below is one of them."""
    assert len(_names()) == 34
    exceptions = set(TOLD_POLES) | SELF_CROSSING | OTHER_READING | LOST_HOLE | WITHOUT_OUTPUT
    assert exceptions <= set(_names())


def test_pairs_are_cut_alike() -> None:
    """Every pair that means the same to both comes out alike, to the seventh decimal the package rounds to."""
    names = [name for name in _names() if name not in SELF_CROSSING | OTHER_READING | LOST_HOLE | WITHOUT_OUTPUT]
    assert len(names) == 27
    for name in names:
        found, expected = cut(_read("input", name), pole=TOLD_POLES.get(name)), _read("output/flat", name)
        assert found.geom_type == expected.geom_type, name
        assert found.is_valid, name
        assert shapely.hausdorff_distance(found, expected) < 1e-7, name
        if "Polygon" in found.geom_type:
            assert found.symmetric_difference(expected).area < 1e-6 * max(found.area, 1.0), name


def test_cutting_twice_changes_nothing() -> None:
    """What has been cut is left as it is."""
    for name in set(_names()) - SELF_CROSSING:
        once = cut(_read("input", name), pole=TOLD_POLES.get(name))
        assert cut(once) is once, name


def test_joined_pieces_are_cut_again_alike() -> None:
    """Joining the pieces and cutting the whole again gives the pieces."""
    joined = 0
    for name in set(_names()) - SELF_CROSSING - OTHER_READING:
        once = cut(_read("input", name), pole=TOLD_POLES.get(name))
        whole = join(once)
        joined += whole is not once
        assert cut(whole).symmetric_difference(once).area < 1e-9, name
    assert joined >= 8


@pytest.mark.parametrize("name", sorted(TOLD_POLES))
def test_pole_in_doubt_is_asked_for(name: str) -> None:
    """A polygon around a pole whose winding and latitudes disagree is refused until the pole is named."""
    with pytest.raises(AmbiguityError, match="name different poles"):
        cut(_read("input", name))


@pytest.mark.parametrize("name", sorted(SELF_CROSSING))
@pytest.mark.parametrize("pole", ["north", "south"])
def test_self_crossing_is_refused(name: str, pole: Pole) -> None:
    """A ring that crosses itself cannot be cut into valid pieces, and is refused in words."""
    with pytest.raises(CoordinateError, match=r"cannot be cut: .*[Ss]elf-intersection"):
        cut(_read("input", name), pole=pole)


def test_clockwise_exterior_is_the_polygon_it_draws() -> None:
    """A clockwise exterior is the polygon it draws (RFC 7946 §3.1.6 bids readers so), not the rest of the earth."""
    found, inverted = cut(_read("input", "both-poles")), _read("output/flat", "both-poles")
    assert found.intersection(inverted).area == pytest.approx(0.0, abs=1e-6)
    assert found.area + inverted.area == pytest.approx(360.0 * 180.0, abs=1e-6)


def test_both_holes_of_a_polar_polygon_are_kept() -> None:
    """Around the pole all holes stay, also the one on the meridian of Greenwich that the package loses."""
    found, expected = cut(_read("input", "issues-171")), _read("output/flat", "issues-171")
    assert (len(found.interiors), len(expected.interiors)) == (2, 1)
    assert shapely.Polygon(found.exterior).equals(shapely.Polygon(expected.exterior))


def test_invalid_polygon_is_named() -> None:
    """The pair that the package only refuses is found to cross itself."""
    kinds = {defect.kind for defect in find_defects(_read("input", "issues-182"))}
    assert kinds == {DefectKind.CROSSES_ITSELF}

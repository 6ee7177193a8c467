import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st

from exchange.errors import CoordinateError
from exchange.geo.antimeridian import bounding_box, cut, geometry_bounding_box, join, unwrap, wrap
from exchange.geo.geodesy import measure_polygon
from exchange.geo.rings import find_defects

LATITUDES = st.floats(-80.0, 80.0)


def _ring(centre: float, latitude: float, radii: list[float]) -> list[tuple[float, float]]:
    angles = np.linspace(0.0, 2.0 * np.pi, len(radii), endpoint=False)
    return [(centre + r * np.cos(a), latitude + 0.5 * r * np.sin(a)) for r, a in zip(radii, angles, strict=True)]


def _stars(centres: st.SearchStrategy[float], radii: st.SearchStrategy[float]) -> st.SearchStrategy[shapely.Polygon]:
    stars = st.tuples(centres, LATITUDES, st.lists(radii, min_size=3, max_size=12))
    return stars.map(lambda star: shapely.Polygon(_ring(*star)))


STARS = _stars(st.floats(170.0, 190.0), st.floats(0.01, 9.0))
FIRES = _stars(st.floats(179.9, 180.1), st.floats(0.001, 0.2))


@given(STARS)
def test_pieces_are_valid_and_whole(star: shapely.Polygon) -> None:
    """The pieces of any star across the meridian lie on the earth, are wound as RFC 7946 asks, and lose no area."""
    pieces = cut(star)
    assert pieces.area == pytest.approx(star.area, rel=1e-9, abs=1e-12)
    assert abs(pieces.bounds[0]) <= 180.0
    assert pieces.bounds[2] <= 180.0
    if pieces is not star:
        parts = getattr(pieces, "geoms", [pieces])
        assert all(part.exterior.is_ccw for part in parts)
        assert find_defects(pieces) == []


@given(STARS)
def test_writing_wrapped_or_beyond_is_the_same(star: shapely.Polygon) -> None:
    """Longitudes beyond 180 and the same brought back below it are cut into the same pieces."""
    wrapped = shapely.Polygon([(float(wrap(x)), y) for x, y in star.exterior.coords])
    assert cut(wrapped).symmetric_difference(cut(star)).area == pytest.approx(0.0, abs=1e-9)


@given(STARS)
def test_no_vertex_moves(star: shapely.Polygon) -> None:
    """Every vertex of a wrapped ring is a vertex of the pieces, to the last bit; on the meridian its sign may turn."""
    wrapped = shapely.Polygon([(float(wrap(x)), y) for x, y in star.exterior.coords])
    own = {(x, y) for x, y in wrapped.exterior.coords if abs(x) < 180.0 - 1e-9}
    assert own <= {tuple(position) for position in shapely.get_coordinates(cut(wrapped)).tolist()}


@given(FIRES)
@example(shapely.Polygon(_ring(180.09999999999997, 0.0, [0.125, 0.125, 0.125, 0.125, 0.125, 0.125, 0.2, 0.125, 0.125])))
def test_measure_does_not_know_the_meridian(fire: shapely.Polygon) -> None:
    """Area and length of the cut pieces are those of the same ring far from the meridian."""
    # The cut puts vertices on edges straight in degrees, where a geodesic runs beside; on short edges hardly at all.
    fire = shapely.segmentize(fire, 0.005)
    away = shapely.transform(fire, lambda positions: positions - [90.0, 0.0])
    found, expected = measure_polygon(cut(fire)), measure_polygon(away)
    assert found.area_m2 == pytest.approx(expected.area_m2, abs=4e-6 * expected.length_m**2 / 16.0)
    assert found.length_m == pytest.approx(expected.length_m, rel=1e-8)


def test_small_fire_on_the_meridian_is_measured_exactly() -> None:
    """A square kilometre on the meridian measures what it measures elsewhere, to a part in 10 million."""
    fire = shapely.box(179.995, 52.0, 180.005, 52.01)
    away = measure_polygon(shapely.box(-120.005, 52.0, -119.995, 52.01))
    found = measure_polygon(cut(fire))
    assert found.area_m2 == pytest.approx(away.area_m2, rel=1e-7)
    assert found.length_m == pytest.approx(away.length_m, rel=1e-7)


def test_island_across_the_meridian_stays_an_island() -> None:
    """A hole across the meridian is cut out of both pieces, joined again, and measured apart from the exterior."""
    ring = shapely.box(179.0, 50.0, 181.0, 51.0).exterior
    hole = shapely.box(179.9, 50.4, 180.1, 50.6).exterior
    fire = shapely.Polygon(ring, [hole])
    pieces = cut(fire)
    assert [len(piece.interiors) for piece in pieces.geoms] == [0, 0]
    assert len(join(pieces).interiors) == 1
    assert join(pieces).symmetric_difference(fire).area == pytest.approx(0.0, abs=1e-12)
    assert measure_polygon(pieces).island_length_m == pytest.approx(measure_polygon(fire).island_length_m, rel=1e-6)


def test_hole_written_on_the_other_side_is_found() -> None:
    """A hole with longitudes of the other sign than its exterior is still cut from the right place."""
    fire = shapely.Polygon(
        [(179, 50), (181, 50), (181, 51), (179, 51)], [[(-179.8, 50.4), (-179.8, 50.6), (-179.4, 50.6), (-179.4, 50.4)]]
    )
    pieces = cut(fire)
    assert pieces.area == pytest.approx(2.0 - 0.08, abs=1e-12)
    assert sorted(len(piece.interiors) for piece in pieces.geoms) == [0, 1]


def test_height_is_kept_and_interpolated() -> None:
    """Heights stay with their vertices and are interpolated on the meridian."""
    line = cut(shapely.LineString([(179.0, 10.0, 100.0), (-179.0, 20.0, 300.0)]))
    assert [list(part.coords) for part in line.geoms] == [
        [(179.0, 10.0, 100.0), (180.0, 15.0, 200.0)],
        [(-180.0, 15.0, 200.0), (-179.0, 20.0, 300.0)],
    ]
    polygon = cut(shapely.Polygon([(179, 0, 5), (181, 0, 5), (181, 1, 5), (179, 1, 5)]))
    assert polygon.has_z
    assert set(shapely.get_coordinates(polygon, include_z=True)[:, 2]) == {5.0}


def test_line_that_crosses_itself_keeps_its_order() -> None:
    """A track is parted at the meridian only: not at its own crossings, and in the order it was flown."""
    track = shapely.LineString([(179, 0), (-179, 0), (-179, 1), (179.5, -1), (179.2, 1)])
    parts = [list(part.coords) for part in cut(track).geoms]
    assert parts[0] == [(179.0, 0.0), (180.0, 0.0)]
    assert parts[1][0] == (-180.0, 0.0)
    assert parts[1][1:3] == [(-179.0, 0.0), (-179.0, 1.0)]
    assert parts[2][1:] == [(179.5, -1.0), (179.2, 1.0)]


def test_line_along_the_meridian_is_not_parted() -> None:
    """A line that touches or follows the meridian without crossing stays one part."""
    touching = shapely.LineString([(179, 0), (180, 1), (180, 2), (179, 3)])
    assert cut(touching) is touching
    stepping = cut(shapely.LineString([(179, 0), (180, 1), (-180, 2), (-179, 3)]))
    assert [list(part.coords) for part in stepping.geoms] == [
        [(179.0, 0.0), (180.0, 1.0), (180.0, 2.0)],
        [(-180.0, 2.0), (-179.0, 3.0)],
    ]


@pytest.mark.parametrize(
    "geometry",
    [
        shapely.Point(-120, 40),
        shapely.Polygon(),
        shapely.box(-180, -10, -170, 10),
        shapely.box(170, -10, 180, 10),
        shapely.box(-180, 40, 180, 50),
        shapely.MultiPoint([(179, 0), (-179, 0)]),
        shapely.GeometryCollection([shapely.Point(179, 0), shapely.LineString([(0, 0), (1, 1)])]),
    ],
    ids=lambda geometry: geometry.wkt[:30],
)
def test_what_does_not_cross_is_handed_back(geometry: shapely.Geometry) -> None:
    """A geometry that does not cross the meridian is the very same object afterwards; so is a band round the earth."""
    assert cut(geometry) is geometry


def test_points_and_collections_are_brought_home() -> None:
    """Points beyond 180 degrees are wrapped, and every member of a collection is cut."""
    assert list(cut(shapely.Point(190, 5)).coords) == [(-170.0, 5.0)]
    assert list(cut(shapely.Point(190, 5, 1500)).coords) == [(-170.0, 5.0, 1500.0)]
    assert cut(shapely.MultiPoint([(190, 5), (0, 0)])).equals(shapely.MultiPoint([(-170, 5), (0, 0)]))
    collection = cut(shapely.GeometryCollection([shapely.LineString([(179, 0), (181, 0)]), shapely.Point(0, 0)]))
    assert [member.geom_type for member in collection.geoms] == ["MultiLineString", "Point"]
    several = cut(shapely.MultiPolygon([shapely.box(179, 0, 181, 1), shapely.box(0, 0, 1, 1)]))
    assert len(several.geoms) == 3
    lines = cut(shapely.MultiLineString([[(179, 0), (181, 0)], [(0, 0), (1, 1)]]))
    assert len(lines.geoms) == 3


def test_hole_round_the_earth_is_refused() -> None:
    """A hole that goes round the earth encloses a pole, and is refused in words."""
    outer = [(0, 60), (90, 60), (180, 60), (-90, 60)]
    inner = [(0, 80), (-90, 80), (180, 80), (90, 80)]
    with pytest.raises(CoordinateError, match="hole goes round the earth"):
        cut(shapely.Polygon(outer, [inner]))


@given(st.lists(st.tuples(st.floats(-180.0, 180.0), LATITUDES), min_size=1, max_size=20))
def test_box_holds_all_positions(positions: list[tuple[float, float]]) -> None:
    """Every position lies in its bounding box, which is never wider than the plain one."""
    longitude, latitude = np.array(positions).T
    box = bounding_box(longitude, latitude)
    width = (box.east - box.west) % 360.0 if box.west != -180.0 or box.east != 180.0 else 360.0
    assert (((longitude - box.west) % 360.0 <= width + 1e-9) | ((longitude - box.west) % 360.0 > 360.0 - 1e-9)).all()
    assert width <= longitude.max() - longitude.min() + 1e-9
    assert (box.south, box.north) == (latitude.min(), latitude.max())


def test_box_names_the_meridian_from_inside() -> None:
    """A box that ends on the meridian does not cross it: 170 to 180, not 170 to -180."""
    assert bounding_box([170.0, -180.0], [0.0, 1.0])[::2] == (170.0, 180.0)
    assert bounding_box([180.0, -170.0], [0.0, 1.0])[::2] == (-180.0, -170.0)
    assert bounding_box([np.nan, 5.0], [1.0, 2.0]) == (5.0, 2.0, 5.0, 2.0)


def test_box_of_edges_is_not_that_of_vertices() -> None:
    """The box of a geometry follows its edges: a band from 100 W to 100 E goes through 0, not over the meridian."""
    band = shapely.segmentize(shapely.box(-100, 0, 100, 10), 50.0)
    assert geometry_bounding_box(band)[::2] == (-100.0, 100.0)
    assert geometry_bounding_box(shapely.LineString([(179, 0), (-179, 0)]))[::2] == (179.0, -179.0)


def test_nothing_has_no_box() -> None:
    """No position, or only missing ones, have no bounds."""
    with pytest.raises(CoordinateError, match="no position to bound"):
        bounding_box([], [])
    with pytest.raises(CoordinateError, match="no position to bound"):
        bounding_box([np.nan], [1.0])
    with pytest.raises(CoordinateError, match="empty geometry"):
        geometry_bounding_box(shapely.Polygon())


@given(st.lists(st.one_of(st.floats(-180.0, 180.0), st.just(float("nan"))), max_size=20))
def test_unwrapped_path_steps_the_short_way(longitude: list[float]) -> None:
    """Unwrapping moves by whole turns only, leaves NaN, and never steps more than half round."""
    unwrapped = unwrap(longitude)
    known = ~np.isnan(unwrapped)
    assert known.tolist() == [not np.isnan(value) for value in longitude]
    turns = (unwrapped - np.array(longitude))[known] / 360.0
    assert turns == pytest.approx(np.round(turns), abs=1e-9)
    assert (np.abs(np.diff(unwrapped[known])) <= 180.0 + 1e-9).all()


def test_wrap_leaves_what_is_home() -> None:
    """Longitudes in [-180, 180] are returned to the bit; others come into it."""
    assert wrap([-180.0, 180.0, 0.1, 190.0, -190.0, 540.0]).tolist() == [-180.0, 180.0, 0.1, -170.0, 170.0, -180.0]

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from exchange.errors import CoordinateError
from exchange.geo.rings import DefectKind, close_ring, find_defects, find_ring_defects, orient

SQUARE = [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0), (0.0, 0.0)]
HOLE = [(1.0, 1.0), (1.0, 2.0), (2.0, 2.0), (2.0, 1.0), (1.0, 1.0)]


def _moved(ring: list[tuple[float, float]], x: float, y: float) -> list[tuple[float, float]]:
    return [(a + x, b + y) for a, b in ring]


@pytest.mark.parametrize(
    ("rings", "kind", "ring", "position"),
    [
        ([SQUARE[:3]], DefectKind.TOO_FEW_POSITIONS, 0, None),
        ([[]], DefectKind.TOO_FEW_POSITIONS, 0, None),
        ([[*SQUARE[:2], (np.nan, 1.0), *SQUARE[2:]]], DefectKind.NOT_FINITE, 0, 2),
        ([[*SQUARE[:2], (np.inf, 1.0), *SQUARE[2:]]], DefectKind.NOT_FINITE, 0, 2),
        ([_moved(SQUARE, 178.0, 0.0)], DefectKind.OUT_OF_RANGE, 0, 1),
        ([_moved(SQUARE, 0.0, 87.0)], DefectKind.OUT_OF_RANGE, 0, 2),
        ([SQUARE[:-1]], DefectKind.NOT_CLOSED, 0, 3),
        ([[*SQUARE[:-1], (0.0, 1e-9)]], DefectKind.NOT_CLOSED, 0, 4),
        ([[(0, 0), (1, 1), (2, 2), (0, 0)]], DefectKind.NO_AREA, 0, None),
        ([[(0, 0), (4, 4), (4, 0), (0, 3), (0, 0)]], DefectKind.CROSSES_ITSELF, 0, None),
        ([[(0, 0), (4, 0), (4, 4), (2, 0), (0, 4), (0, 0)]], DefectKind.CROSSES_ITSELF, 0, None),
        ([[(170, 0), (-170, 0), (-170, 5), (170, 5), (170, 0)]], DefectKind.NOT_CUT, 0, 0),
        ([SQUARE, _moved(HOLE, 10.0, 0.0)], DefectKind.HOLE_OUTSIDE, 1, None),
        ([SQUARE, _moved(HOLE, 2.5, 0.0)], DefectKind.HOLE_OUTSIDE, 1, None),
        ([SQUARE, _moved(HOLE, -1.0, 0.0)], DefectKind.HOLE_OUTSIDE, 1, None),
        ([SQUARE, HOLE, _moved(HOLE, 0.5, 0.5)], DefectKind.HOLES_OVERLAP, 2, None),
        ([SQUARE, HOLE[:3]], DefectKind.TOO_FEW_POSITIONS, 1, None),
        ([SQUARE, HOLE[:-1]], DefectKind.NOT_CLOSED, 1, 3),
    ],
)
def test_defect_is_named_and_placed(
    rings: list[list[tuple[float, float]]], kind: DefectKind, ring: int, position: int | None
) -> None:
    """Each defect is found alone, in its ring and at its position."""
    assert find_ring_defects(rings, polygon=3) == [(kind, 3, ring, position)]


@pytest.mark.parametrize(
    "rings",
    [
        [SQUARE],
        [SQUARE[::-1]],
        [SQUARE, HOLE],
        [SQUARE, HOLE, _moved(HOLE, 1.5, 1.5)],
        [SQUARE, HOLE, _moved(HOLE, 1.0, 1.0)],
        [[(x, y, 1500.0) for x, y in SQUARE]],
        [[(-180, 40), (180, 40), (180, 50), (-180, 50), (-180, 40)]],
        [[(0, 0), (1, 0), (1, 0), (1, 1), (0, 0)]],
    ],
    ids=["square", "clockwise", "hole", "two holes", "holes that touch", "heights", "band", "repeated position"],
)
def test_good_polygon_has_no_defect(rings: list[list[tuple[float, ...]]]) -> None:
    """RFC 7946 allows either winding, holes that touch in a point, heights, and a band round the earth."""
    assert find_ring_defects(rings) == []


def test_geometries_are_checked_part_by_part() -> None:
    """Every part of a multipolygon is checked, and parts against each other."""
    good, bad = shapely.Polygon(SQUARE), shapely.Polygon([(10, 10), (14, 14), (14, 10), (10, 13)])
    assert find_defects(shapely.MultiPolygon([good, bad])) == [(DefectKind.CROSSES_ITSELF, 1, 0, None)]
    overlapping = shapely.MultiPolygon([good, shapely.Polygon(_moved(SQUARE, 2.0, 2.0))])
    assert find_defects(overlapping) == [(DefectKind.PARTS_OVERLAP, 1, 0, None)]
    beside = shapely.MultiPolygon([good, shapely.Polygon(_moved(SQUARE, 4.0, 4.0))])
    assert find_defects(beside) == []
    assert find_defects(shapely.Polygon()) == []
    with pytest.raises(CoordinateError, match="a Point has no rings"):
        find_defects(shapely.Point(0, 0))


def test_defect_reads_as_a_sentence() -> None:
    """A defect in words counts from one and names exterior and holes."""
    assert str(find_ring_defects([SQUARE, HOLE[:-1]])[0]) == (
        "a ring does not end where it starts (polygon 1, hole 1, position 4)"
    )


@given(st.lists(st.tuples(st.integers(-179, 179), st.integers(-89, 89)), min_size=3, max_size=9))
def test_own_check_agrees_with_geos(positions: list[tuple[int, int]]) -> None:
    """A single ring that is not cut by the meridian has a defect exactly where GEOS calls its polygon invalid."""
    ring = close_ring(positions) if len(set(positions)) > 2 else None
    if ring is None or (np.abs(np.diff(ring[:, 0])) > 180.0).any():
        return
    assert bool(find_ring_defects([ring])) is not bool(shapely.is_valid(shapely.Polygon(ring)))


def test_winding_is_that_of_the_standard() -> None:
    """Exteriors come out counter-clockwise and holes clockwise, whatever they were; nothing else changes."""
    for exterior in (SQUARE, SQUARE[::-1]):
        for hole in (HOLE, HOLE[::-1]):
            polygon = orient(shapely.Polygon(exterior, [hole]))
            assert polygon.exterior.is_ccw
            assert not polygon.interiors[0].is_ccw
            assert polygon.equals(shapely.Polygon(exterior, [hole]))
    several = orient(shapely.MultiPolygon([shapely.Polygon(SQUARE[::-1]), shapely.Polygon(_moved(SQUARE, 9.0, 0.0))]))
    assert all(part.exterior.is_ccw for part in several.geoms)
    with pytest.raises(CoordinateError, match="a LineString has no winding"):
        orient(shapely.LineString([(0, 0), (1, 1)]))


def test_winding_keeps_heights() -> None:
    """Turning a ring round keeps each height with its position."""
    turned = orient(shapely.Polygon([(0, 0, 1), (0, 4, 2), (4, 4, 3), (4, 0, 4)]))
    assert (4.0, 4.0, 3.0) in list(turned.exterior.coords)


def test_ring_is_closed_once() -> None:
    """An open ring is closed, a closed one left alone, and two positions are no ring."""
    assert close_ring(SQUARE[:-1]).tolist() == close_ring(SQUARE).tolist() == [list(position) for position in SQUARE]
    with pytest.raises(CoordinateError, match="encloses nothing"):
        close_ring([(0, 0), (1, 1)])
    with pytest.raises(CoordinateError, match="encloses nothing"):
        close_ring([])

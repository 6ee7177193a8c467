"""Hold what a traced perimeter measures against geographiclib, against published examples and against definitions."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from exchange.model import Perimeter
from exchange.perimeter import TraceOptions, trace_perimeter
from tests.perimeter.simulator.case import make_case

WGS_84 = Geodesic.WGS84
CASES = (("overlap", 520), ("island", 521), ("two_fires", 522), ("meridian_180", 523), ("high_latitude", 524))


def measure(ring: shapely.Geometry) -> tuple[float, float]:
    """Return area and length of a ring by geographiclib (Karney 2013), the seam on the 180th meridian included."""
    polygon = WGS_84.Polygon()
    for longitude, latitude in np.asarray(ring.coords)[:-1, :2]:
        polygon.AddPoint(latitude, longitude)
    _, length, area = polygon.Compute(False, True)
    return abs(area), length


def seam_m(perimeter: Perimeter) -> float:
    """Return the length of the edges on the 180th meridian, which a cut adds to each side."""
    total = 0.0
    for part in shapely.get_parts(perimeter.geometry):
        for ring in shapely.get_rings(part):
            corners = np.asarray(ring.coords)
            for (lon_1, lat_1), (lon_2, lat_2) in itertools.pairwise(corners):
                if abs(lon_1) == abs(lon_2) == 180.0:
                    total += WGS_84.Inverse(lat_1, 180.0, lat_2, 180.0)["s12"]
    return total


@pytest.mark.parametrize(("name", "seed"), CASES)
def test_area_and_length_are_those_of_geographiclib(name: str, seed: int) -> None:
    """Area and length of the perimeter, its islands apart, equal geographiclib's to a millionth."""
    case = make_case(name, seed)
    traced = trace_perimeter(case.tracks, options=TraceOptions(**case.options))
    assert traced.perimeter is not None
    parts = shapely.get_parts(traced.perimeter.geometry)
    outer = [measure(part.exterior) for part in parts]
    islands = [measure(ring) for part in parts for ring in part.interiors]
    area = sum(one for one, _ in outer) - sum(one for one, _ in islands)
    assert traced.report.area_m2 == pytest.approx(area, rel=1e-6)
    assert traced.perimeter.area == pytest.approx(area, rel=1e-6)
    length = sum(one for _, one in outer) - seam_m(traced.perimeter)
    assert traced.report.length_m == pytest.approx(length, rel=1e-6)
    assert traced.perimeter.length == pytest.approx(length, rel=1e-6)
    assert traced.report.island_length_m == pytest.approx(sum(one for _, one in islands), rel=1e-6, abs=1e-6)


def test_acres_chains_and_miles_follow_from_the_foot() -> None:
    """The acre is 43,560 and the chain 66 international feet of 0.3048 m, the mile 5280 (NIST Handbook 44, Appendix C).

    The acre of the retired US survey foot, 4046.872609874 m², which some unit libraries give, would differ in the sixth
    digit.
    """
    case = make_case("overlap", 520)
    report = trace_perimeter(case.tracks).report.as_dict()
    foot = 0.3048
    assert report["area_acres"] == pytest.approx(report["area_m2"] / (43_560 * foot**2), rel=1e-12)
    assert report["length_chains"] == pytest.approx(report["length_m"] / (66 * foot), rel=1e-12)
    assert report["length_miles"] == pytest.approx(report["length_m"] / (5280 * foot), rel=1e-12)
    assert report["area_ha"] == pytest.approx(report["area_m2"] / 10_000, rel=1e-12)

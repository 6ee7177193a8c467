from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from exchange.formats.positions import POSITION_TEXT, settle_positions
from exchange.model import Detections, Packet, Perimeter, Source, Track


@pytest.mark.parametrize(
    ("longitude", "latitude", "words"),
    [(44.5, -114.2, "look swapped"), (-114.2, 120.0, "not on the earth"), (np.inf, 44.5, "not on the earth")],
)
def test_a_position_off_the_earth_is_made_missing_kept_and_told(longitude: float, latitude: float, words: str) -> None:
    """The row stays with its other values; the position as it was read stays as text, and one problem counts all."""
    table = Detections(
        id=["H-001", "H-002", "H-003"], longitude=[longitude, 1.0, longitude], latitude=[latitude, 2.0, 91]
    )
    settled = settle_positions(Packet(detections=table))
    assert settled.detections.id.tolist() == ["H-001", "H-002", "H-003"]
    assert settled.detections.has_position().tolist() == [False, True, False]
    assert settled.detections.extra[POSITION_TEXT][0] == f"{longitude!r} {latitude!r}"
    (problem,) = settled.problems
    assert words in problem.message
    assert problem.count == 2


def test_fixes_off_the_earth_are_told_too() -> None:
    """A track keeps its fixes, those off the earth without a position."""
    track = Track(longitude=[1.0, 200.0], latitude=[2.0, 2.0])
    settled = settle_positions(Packet(tracks=(track,)))
    assert settled.tracks[0].has_position().tolist() == [True, False]
    assert len(settled.problems) == 1


@pytest.mark.parametrize("corner", [(4.0, 120.0), (4.0, np.inf), (1000.0, 4.0)])
def test_a_perimeter_that_leaves_the_earth_is_left_out_and_told(corner: tuple[float, float]) -> None:
    """Latitude 120 in an edge is never written on, whatever format it came in; the file and record are named."""
    bad = Perimeter(geometry=Polygon([(0, 0), (4, 0), corner, (0, 4)]), source=Source("a.gpkg", "edges", 7))
    good = Perimeter(geometry=box(0, 0, 1, 1))
    settled = settle_positions(Packet(perimeters=(bad, good)))
    assert settled.perimeters == (good,)
    (problem,) = settled.problems
    assert (problem.path, problem.layer, problem.record) == ("a.gpkg", "edges", 7)
    assert problem.needs_person


def test_an_edge_that_goes_on_beyond_the_180th_meridian_stays() -> None:
    """Until it is cut, a ring across the meridian may count its longitude on."""
    packet = Packet(perimeters=(Perimeter(geometry=box(179.5, 52.0, 180.5, 52.4)),))
    assert settle_positions(packet) == packet

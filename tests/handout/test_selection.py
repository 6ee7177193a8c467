from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from shapely import box
from shapely.geometry import MultiPolygon, Polygon

from exchange.errors import OptionError
from exchange.handout import Selection
from exchange.handout.divisions import Divisions
from exchange.handout.number_ranges import NumberRanges
from exchange.handout.selection import select_spots
from exchange.model import Detections, Perimeter, Places

AREA = box(-114.01, 44.50, -113.99, 44.52)
SPOTS = Detections(
    id=["H-001", "H-002", "H-003", "H-010", "K-002"],
    # 80 m inside the western edge, 8 m inside, in the middle, 80 m outside, nowhere.
    longitude=[-114.009, -114.0099, -114.0, -114.011, np.nan],
    latitude=[44.51, 44.51, 44.51, 44.51, np.nan],
    temperature=[400.0, 50.0, np.nan, 200.0, 300.0],
    area=[1.0, 5.0, np.nan, 2.0, 3.0],
    status=["hot", "out", "", "recheck", "hot"],
    time=np.array(["2026-08-14T10:00", "2026-08-14T11:00", "NaT", "2026-08-14T09:00", "2026-08-14T12:00"], "M8[ms]"),
    last_seen=np.array(["NaT", "NaT", "NaT", "2026-08-14T13:00", "NaT"], "M8[ms]"),
    sortie=["D-1", "N-1", "D-1", "S-1", ""],
    extra={"seen_by": ["D-1; N-1", "N-1", "", "S-1", ""], "aliases": ["H-031; H-040", "", "", "", ""]},
)
EVERY = ["H-001", "H-002", "H-003", "H-010", "K-002"]
WEST = Perimeter(name="A", geometry=box(-114.02, 44.50, -114.0095, 44.52))
EAST = Perimeter(id="B", geometry=box(-114.0095, 44.50, -113.98, 44.52))


def _numbers(selection: Selection, **more: Any) -> list[str]:
    return SPOTS.id[select_spots(SPOTS, selection, **more).rows].tolist()


NOON = np.datetime64("2026-08-14T12:00", "ms")


@pytest.mark.parametrize(
    ("selection", "expected"),
    [
        ({}, EVERY),
        ({"statuses": ("hot", "recheck")}, ["H-001", "H-010", "K-002"]),
        ({"statuses": ("unchecked",)}, ["H-003"]),
        ({"numbers": NumberRanges.parse(["H-002..H-010"])}, ["H-002", "H-003", "H-010"]),
        ({"numbers": NumberRanges.parse(["K-002,H-040"])}, ["H-001", "K-002"]),
        ({"side": "inside"}, ["H-001", "H-002", "H-003"]),
        ({"side": "outside"}, ["H-010"]),
        ({"edge_most_m": 30.48}, ["H-002"]),
        ({"edge_most_m": 100.0}, ["H-001", "H-002", "H-010"]),
        ({"side": "inside", "edge_least_m": 50.0, "edge_most_m": 100.0}, ["H-001"]),
        ({"temperature_least": 200.0}, ["H-001", "H-010", "K-002"]),
        ({"temperature_most": 199.9}, ["H-002"]),
        ({"area_least_m2": 2.0, "area_most_m2": 3.0}, ["H-010", "K-002"]),
        ({"since": NOON}, ["H-010", "K-002"]),
        ({"until": NOON}, ["H-001", "H-002", "K-002"]),
        ({"sorties": ("N-1",)}, ["H-001", "H-002"]),
        ({"divisions": ("A",)}, ["H-002", "H-010"]),
        ({"divisions": ("A", "B")}, ["H-001", "H-002", "H-003", "H-010"]),
        ({"near": (-114.01, 44.51), "near_most_m": 80.0}, ["H-001", "H-002", "H-010"]),
        ({"near": (-114.01, 44.51), "nearest": 1}, ["H-002"]),
        ({"near": (-114.01, 44.51), "nearest": 1, "statuses": ("hot",)}, ["H-001"]),
        ({"statuses": ("hot",), "temperature_least": 350.0}, ["H-001"]),
        ({"statuses": ("no heat",)}, []),
    ],
)
def test_each_condition_keeps_what_meets_it(selection: dict[str, Any], expected: list[str]) -> None:
    """A condition keeps the spots that meet it and no other; several keep what meets all of them."""
    divisions = Divisions.from_areas([WEST, EAST])
    assert _numbers(Selection(**selection), area=AREA, divisions=divisions) == expected


def test_what_cannot_be_judged_is_left_out_and_told() -> None:
    """A spot without a temperature is not among those above 100 degrees, and that is said."""
    (problem,) = select_spots(SPOTS, Selection(temperature_least=100.0)).problems
    assert (problem.severity, problem.count) == ("note", 1)
    assert "without a temperature" in problem.message


@pytest.mark.parametrize(
    ("selection", "match"),
    [
        ({"edge_most_m": 10.0}, "needs the perimeter"),
        ({"divisions": ("A",)}, "no division is called 'A'"),
    ],
)
def test_what_is_not_known_is_refused(selection: dict[str, Any], match: str) -> None:
    """A distance from the edge needs a perimeter, a division needs divisions."""
    with pytest.raises(OptionError, match=match):
        select_spots(SPOTS, Selection(**selection))


@pytest.mark.parametrize(
    ("selection", "match"), [({"statuses": ("cold",)}, "is no status"), ({"nearest": 3}, "from where")]
)
def test_a_selection_that_means_nothing_is_refused(selection: dict[str, Any], match: str) -> None:
    """Unknown words and distances from nowhere are refused at once."""
    with pytest.raises(OptionError, match=match):
        Selection(**selection)


@pytest.mark.parametrize("text", ["H-010..H-002", "H-001..K-002", "1..3", "H-001..", "H-001..H-002..H-003"])
def test_a_range_that_is_none_is_refused(text: str) -> None:
    """A range is of one series and runs upwards."""
    with pytest.raises(OptionError, match="is no range of numbers"):
        NumberRanges.parse([text])


SQUARE = box(0.0, 0.0, 0.01, 0.01)
# In the middle of the western, northern, eastern and southern side.
SIDES = Places(
    name=["D/A", "A/B", "B/C", "C/D", "DP-1"],
    longitude=[0.0, 0.005, 0.01, 0.005, 0.005],
    latitude=[0.005, 0.01, 0.005, 0.0, 0.005],
)
# Near the corners: north-west, north-east, south-east, south-west; outside the fire as well.
CORNERS = (np.array([0.001, 0.009, 0.0095, -0.001]), np.array([0.0095, 0.009, 0.001, -0.001]))


@pytest.mark.parametrize("area", [SQUARE, SQUARE.reverse(), MultiPolygon([SQUARE, box(0.02, 0.0, 0.021, 0.001)])])
def test_breaks_divide_the_edge_clockwise(area: Any) -> None:
    """Clockwise from the break D/A comes A; whichever way the ring was drawn, and beside a smaller fire."""
    divisions = Divisions.from_breaks(SIDES, area)
    assert divisions.assign(*CORNERS).tolist() == ["A", "B", "C", "D"]
    assert sorted(divisions.names) == ["A", "B", "C", "D"]


def test_breaks_divide_across_the_180th_meridian() -> None:
    """The meridian changes nothing."""
    west = Polygon([(179.995, 0.0), (180.0, 0.0), (180.0, 0.01), (179.995, 0.01)])
    east = Polygon([(-180.0, 0.0), (-179.995, 0.0), (-179.995, 0.01), (-180.0, 0.01)])
    shifted = SIDES.replace(longitude=(SIDES.longitude + 179.995 + 180.0) % 360.0 - 180.0)
    longitude = (CORNERS[0] + 179.995 + 180.0) % 360.0 - 180.0
    divisions = Divisions.from_breaks(shifted, MultiPolygon([west, east]))
    assert divisions.assign(longitude, CORNERS[1]).tolist() == ["A", "B", "C", "D"]


@pytest.mark.parametrize(
    ("places", "match"),
    [
        (Places(), "no place is a division break"),
        (SIDES.take([4]), "no place is a division break"),
        (SIDES.take([0, 2]), "'A' begins and 'B' ends"),
        (SIDES.replace(latitude=[0.005, 0.02, 0.005, 0.0, 0.0]), "'A/B' lies 1106 m from the edge"),
    ],
)
def test_breaks_that_do_not_fit_are_refused(places: Places, match: str) -> None:
    """Breaks must be there, follow each other by name, and lie on the edge."""
    with pytest.raises(OptionError, match=match):
        Divisions.from_breaks(places, SQUARE)


def test_divisions_need_names() -> None:
    """A polygon without a name is no division."""
    with pytest.raises(OptionError, match="no polygons with names"):
        Divisions.from_areas([Perimeter(geometry=SQUARE)])
    with pytest.raises(OptionError, match="no polygons with names"):
        Divisions.from_areas([])

"""The truth beside the files agrees with what the files say, within the errors it states."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from functools import cache

import gpxpy
import numpy as np
import pytest
import shapely
from pyproj import Transformer
from shapely.geometry import LineString, Point, Polygon, shape

from exchange.demo_fire import NumberedSpot, make_marrow_flat, write_returns
from exchange.demo_fire.fire_edge import GROWTH_AT, make_fire_edge
from exchange.demo_fire.flights import fly_all
from exchange.demo_fire.hot_spots import FLARED_UP, PUT_OUT, make_hot_spots
from exchange.demo_fire.scenario import Scenario
from exchange.demo_fire.scene import FRAME
from exchange.demo_fire.sorties import SORTIES
from exchange.demo_fire.terrain import ground_m

MADE = {file.name: file for file in make_marrow_flat()}
STORY = json.loads(MADE["truth/truth.json"].content)
SPOTS = {feature["id"]: feature for feature in json.loads(MADE["truth/spots.geojson"].content)["features"]}
FILES = list(STORY["sightings"])
SEEDS = [1, 2, 3, 2611]


@cache
def scenario(seed: int) -> Scenario:
    return Scenario.from_seed(seed)


def positions(name: str) -> list[tuple[float, float]]:
    """Return the longitudes and latitudes that a file of sightings states, read here by hand."""
    content = MADE[name].content
    if name.endswith("geojson"):
        return [tuple(feature["geometry"]["coordinates"][:2]) for feature in json.loads(content)["features"]]
    if name.endswith("gpx"):
        return [(point.longitude, point.latitude) for point in gpxpy.parse(content.decode()).waypoints]
    if name.endswith("n1_export.csv"):
        rows = csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline=""))
        return [(degrees(row["Longitude"]), degrees(row["Latitude"])) for row in rows]
    if name.endswith("s1_norte.csv"):
        rows = csv.DictReader(io.StringIO(content.decode("cp1252"), newline=""), delimiter=";")
        return [
            Transformer.from_crs(f"EPSG:326{row['Huso'][:2]}", "EPSG:4326", always_xy=True).transform(
                float(row["Este"].replace(",", ".")), float(row["Norte"].replace(",", "."))
            )
            for row in rows
        ]
    raise AssertionError(name)


def degrees(text: str) -> float:
    whole, rest = text.split("°")
    minutes, letter = rest.split("' ")
    return (int(whole) + float(minutes) / 60) * (-1 if letter in "WS" else 1)


READ_BY_HAND = [name for name in FILES if name.endswith((".geojson", ".gpx", "n1_export.csv", "s1_norte.csv"))]


def off_by(name: str) -> np.ndarray:
    """Return the metres east and north by which each true sighting of a file is off its true spot."""
    labels = STORY["sightings"][name]
    pairs = [(place, SPOTS[label]) for place, label in zip(positions(name), labels, strict=True) if label != "false"]
    seen = np.array([place for place, _ in pairs])
    true = np.array([spot["geometry"]["coordinates"] for _, spot in pairs])
    return np.column_stack(FRAME.to_metres(*seen.T)) - np.column_stack(FRAME.to_metres(*true.T))


def sortie_of(name: str) -> dict[str, object]:
    return next(sortie for sortie in STORY["sorties"] if name in sortie["files"])


@pytest.mark.parametrize("name", READ_BY_HAND)
def test_positions_are_off_by_the_stated_shift_and_noise(name: str) -> None:
    """The mean error of a file is its sortie's shift within 4 standard errors; no error exceeds 5 sigma."""
    sortie, off = sortie_of(name), off_by(name)
    shift = np.array([sortie["shift east m"], sortie["shift north m"]], float)
    sigma = float(str(sortie["noise per axis m"]))
    assert len(off) > 20
    assert np.abs(off.mean(axis=0) - shift).max() < 4 * sigma / np.sqrt(len(off))
    assert np.hypot(*(off - shift).T).max() < 5 * sigma
    assert off.std(axis=0) == pytest.approx([sigma, sigma], rel=0.45)


@pytest.mark.parametrize("name", FILES)
def test_every_spot_seen_was_warm_then(name: str) -> None:
    """No file sees a spot before it was born or while it was out, and labels name true spots only."""
    sortie = str(sortie_of(name)["sortie"])
    labels = [label for label in STORY["sightings"][name] if label != "false"]
    assert set(labels) <= set(SPOTS)
    assert all(SPOTS[label]["properties"]["temperature_c"][sortie] > 15.0 for label in labels)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_edges_are_valid_and_the_fire_only_grows(seed: int) -> None:
    """Rings are simple, the area is as stated, the growth holds the first edge, the island lies inside."""
    edge = make_fire_edge(seed)
    first, grown, island = Polygon(edge.first), Polygon(edge.grown), Polygon(edge.island)
    assert first.is_valid
    assert grown.is_valid
    assert island.is_valid
    assert first.area == pytest.approx(96e4, rel=1e-9)
    assert 99e4 < grown.area < 115e4
    assert grown.buffer(1.5).contains(first)
    assert first.buffer(-50).contains(island)
    assert first.exterior.is_ccw


@pytest.mark.parametrize("seed", SEEDS)
def test_the_spots_lie_on_burned_ground_and_cool(seed: int) -> None:
    """About 120 spots, all but two on burned ground, none in the island, each cooler than at the night before."""
    edge, spots = scenario(seed).edge, scenario(seed).spots
    points = shapely.points(spots.x, spots.y)
    assert 115 <= len(spots) <= 130
    assert shapely.contains(Polygon(edge.grown), points).sum() >= len(spots) - 2 - 3
    assert not shapely.contains(Polygon(edge.island), points).any()
    assert ((spots.born >= GROWTH_AT) == ~shapely.contains(Polygon(edge.first), points)).all()
    old = spots.born < 0
    evening, later = (spots.temperatures_c(sortie.begin) for sortie in (SORTIES[1], SORTIES[4]))
    still = old & np.isinf(spots.cooled)
    assert (later[still] <= evening[still] + 1e-9).all()
    assert np.isfinite(spots.cooled).sum() == PUT_OUT
    assert np.isfinite(spots.flared_up).sum() == FLARED_UP


@pytest.mark.parametrize("seed", SEEDS)
def test_sorties_share_spots_and_have_misses_repeats_and_false_alarms(seed: int) -> None:
    """Each sortie sees most of what it could, some of it twice, and some of what is not there; all share spots."""
    seen = scenario(seed).seen
    for sightings in seen.values():
        counts = Counter(label for label in sightings.spot.tolist() if label >= 0)
        assert set(counts.values()) == {1, 2}
        assert 50 <= len(counts) < len(scenario(seed).spots)
        assert (sightings.spot < 0).sum() == sightings.sortie.false_alarms
        twice = {label for label, count in counts.items() if count == 2}
        images = {
            (label, image) for label, image in zip(sightings.spot.tolist(), sightings.image.tolist(), strict=True)
        }
        assert all(len([1 for label, _ in images if label == spot]) == 2 for spot in twice)
        shared = set(counts) & set(seen["D-2"].spot.tolist())
        assert len(shared) > 30
        assert (np.diff(sightings.seconds) >= 0).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_what_flared_up_was_called_out_and_is_seen_hot_again(seed: int) -> None:
    """Each spot that flares up is on the numbered list, reported out, and in the last sortie afterwards."""
    spots, seen = scenario(seed).spots, scenario(seed).seen["N-2"]
    for spot in spots.worked[:FLARED_UP].tolist():
        rows = np.flatnonzero(seen.spot == spot)
        assert len(rows) >= 1
        assert seen.temperature_c[rows].min() > 200.0
        assert seen.seconds[rows].min() > spots.flared_up[spot] > spots.cooled[spot]


def test_the_returns_hold_every_trouble() -> None:
    """A conflict, a dispute, a flare-up and both kinds of unplaced notes are there, and each is what it says."""
    reports = {file: Counter(report["kind"] for report in each) for file, each in STORY["returns"].items()}
    assert reports["returns/alder.gpx"].keys() >= {"status", "conflict", "disagreement", "unplaced"}
    assert reports["returns/juniper.csv"].keys() >= {"status", "disagreement", "unplaced without a position"}
    assert set(reports["returns/office.kml"]) == {"status"}
    told = [report for each in STORY["returns"].values() for report in each]
    assert sum(report["kind"] == "flares up later" for report in told) == FLARED_UP
    assert {report["meant"] for report in STORY["returns"]["returns/office.kml"]} == {"hot", "working", "recheck"}
    for report in told:
        if report["number"]:
            agrees = STORY["numbers"][report["number"]] == report["stood at"]
            assert agrees == (report["kind"] != "conflict")
    hot, out = (next(r for r in STORY["returns"][file] if r["kind"] == "disagreement")
                for file in ("returns/alder.gpx", "returns/juniper.csv"))  # fmt: skip
    assert (hot["number"], hot["meant"], out["meant"]) == (out["number"], "hot", "out")


def test_the_conflict_and_the_smoke_are_far_from_what_they_could_be_taken_for() -> None:
    """The misnamed mark is over 100 m from its name's spot; the smoke is over 40 m from every listed spot."""
    marks = gpxpy.parse(MADE["returns/alder.gpx"].content.decode()).waypoints
    listed = json.loads(MADE["lists/after_period_1.geojson"].content)["features"]
    places = {feature["id"]: feature["geometry"]["coordinates"] for feature in listed}
    x, y = FRAME.to_metres(*np.array(list(places.values())).T)
    for mark, report in zip(marks, STORY["returns"]["returns/alder.gpx"], strict=True):
        at_x, at_y = FRAME.to_metres(mark.longitude, mark.latitude)
        away = np.hypot(x - at_x, y - at_y)
        if report["kind"] == "unplaced":
            assert away.min() > 40.0
        elif report["kind"] == "conflict":
            assert away[list(places).index(report["number"])] > 100.0
            assert away.min() < 10.0
        else:
            assert away[list(places).index(report["number"])] < 10.0


def test_returns_follow_a_list_with_other_numbers_and_names(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """The same story is told with the numbers and the short names that someone else gave."""
    spots = scenario(2611).spots
    longitude, latitude = FRAME.to_degrees(spots.x, spots.y)
    listed = [NumberedSpot(f"H-{500 + row}", longitude[row], latitude[row]) for row in range(len(spots))]
    short = {spot.number: f"Q{row}" for row, spot in enumerate(listed)}
    written = write_returns(tmp_path, listed, short_names=short)
    assert [file.path.name for file in written] == ["alder.gpx", "juniper.csv", "office.kml"]
    marks = gpxpy.parse((tmp_path / "returns" / "alder.gpx").read_text()).waypoints
    assert {mark.name.split()[0] for mark in marks} <= {*short.values(), "SMOKE"}
    rows = list(csv.DictReader(io.StringIO((tmp_path / "returns" / "juniper.csv").read_text())))
    assert {row["Number"] for row in rows} <= {*short, ""}
    assert (tmp_path / "returns" / "office.kml").read_text().count("<Placemark>") == len(listed)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_flown_edge_is_the_true_edge(seed: int) -> None:
    """Fixes said to be on the edge lie within 4 m of it; the spikes do not."""
    edge = make_fire_edge(seed)
    flights = fly_all(seed, edge)
    rings = {"edge": edge.first, "island": edge.island, "first_battery": edge.grown, "second_battery": edge.grown,
             "half_ring": edge.grown}  # fmt: skip
    for name, ring in rings.items():
        flight, line = getattr(flights, name), LineString([*ring, ring[0]])
        away = shapely.distance(shapely.points(flight.x, flight.y), line)
        assert away[flight.doing == "edge"].max() < 4.0
        if name == "edge":
            assert away[flight.doing == "spike"].max() > 30.0
            assert set(flight.doing) == {
                "ground", "transit", "edge", "hover", "loop", "spike", "frozen", "duplicate"
            }  # fmt: skip


@pytest.mark.parametrize("seed", SEEDS)
def test_the_side_look_sees_the_edge(seed: int) -> None:
    """With the height above the edge's ground and the camera's angles, the line of sight meets the edge."""
    edge = make_fire_edge(seed)
    flight, line = fly_all(seed, edge).side_look, LineString([*edge.first, edge.first[0]])
    look, down = np.radians(flight.camera_heading), np.radians(-flight.camera_pitch)
    reach = np.full(len(flight), 50.0)
    for _ in range(20):
        x, y = flight.x + reach * np.sin(look), flight.y + reach * np.cos(look)
        reach = 0.5 * reach + 0.5 * (flight.altitude_m - ground_m(x, y)) / np.tan(down)
    seen = shapely.distance(shapely.points(x, y), line)
    flown = shapely.distance(shapely.points(flight.x, flight.y), line)
    assert np.median(seen) < 2.0
    assert np.percentile(seen, 95) < 5.0
    assert 35.0 < np.median(flown) < 55.0


@pytest.mark.parametrize("seed", SEEDS)
def test_two_batteries_make_the_ring_and_half_a_ring_does_not(seed: int) -> None:
    """The two flights together pass all of the edge; the half ring's ends stay far apart."""
    edge = make_fire_edge(seed)
    flights = fly_all(seed, edge)
    ring = shapely.points(edge.grown)
    flown = shapely.union_all([
        LineString(np.column_stack([flight.x, flight.y])[flight.doing == "edge"])
        for flight in (flights.first_battery, flights.second_battery)
    ])  # fmt: skip
    assert shapely.distance(ring, flown).max() < 8.0
    half = flights.half_ring
    on_edge = np.flatnonzero(half.doing == "edge")
    assert Point(half.x[on_edge[0]], half.y[on_edge[0]]).distance(Point(half.x[-1], half.y[-1])) > 300.0


def test_the_numbers_are_unique_and_skip_the_unused_one() -> None:
    """Each number of the list names one true spot; H-017 was never used."""
    assert "H-017" not in STORY["numbers"]
    assert len(set(STORY["numbers"].values())) == len(STORY["numbers"])


def test_the_later_perimeter_is_the_grown_edge_within_its_error() -> None:
    """As drawn, the later perimeter is some metres from the grown edge at most, and its acres are its own."""
    drawn = json.loads(MADE["perimeters/later.geojson"].content)["features"][0]
    true = json.loads(MADE["truth/edges.geojson"].content)["features"][1]
    frame = [shapely.transform(shape(each["geometry"]), lambda c: np.column_stack(FRAME.to_metres(*c.T)))
             for each in (drawn, true)]  # fmt: skip
    assert frame[0].is_valid
    assert frame[0].exterior.hausdorff_distance(frame[1].exterior) < 12.0
    assert drawn["properties"]["acres"] == pytest.approx(frame[0].area / 4046.8564224, abs=0.1)


def test_the_elevation_model_is_the_ground() -> None:
    """Every cell of the grid holds the ground's height at its middle, the first row in the north."""
    lines = MADE["terrain/invented_elevation.asc"].content.decode().splitlines()
    head = {key: float(value) for key, value in (line.split() for line in lines[:6])}
    cells = np.array([line.split() for line in lines[6:]], float)
    assert cells.shape == (head["nrows"], head["ncols"])
    middle = head["cellsize"] * (np.arange(max(cells.shape)) + 0.5)
    longitude = head["xllcorner"] + middle[: cells.shape[1]]
    latitude = head["yllcorner"] + middle[: cells.shape[0]][::-1]
    assert np.abs(cells - ground_m(*FRAME.to_metres(*np.meshgrid(longitude, latitude)))).max() <= 0.0501
    edges = make_hot_spots(2611, make_fire_edge(2611))
    x, y = FRAME.to_metres([longitude[0], longitude[-1]], [latitude[-1], latitude[0]])
    assert x[0] < edges.x.min() - 100 < edges.x.max() + 100 < x[1]
    assert y[0] < edges.y.min() - 100 < edges.y.max() + 100 < y[1]

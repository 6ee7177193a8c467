from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import box

from exchange.errors import OptionError
from exchange.geo.frame import LocalFrame
from exchange.merge import merge_detections
from exchange.merge.coverage import Coverage, compare_names, mark_not_seen_again, read_coverage
from exchange.merge.ranking import add_priority
from exchange.model import Detections, Packet, Perimeter, Track

FRAME = LocalFrame(-114.0, 44.5)
AREA = FRAME.geometry_to_degrees(box(-100.0, -100.0, 100.0, 100.0))
EAST_HALF = FRAME.geometry_to_degrees(box(0.0, -100.0, 100.0, 100.0))


def _sightings(rows: list[tuple[float, float, str, str]]) -> Detections:
    """Return sightings of (metres east, metres north, sortie, hour of the day)."""
    longitude, latitude = FRAME.to_degrees([row[0] for row in rows], [row[1] for row in rows])
    times = np.array([f"2026-08-14T{row[3]}" for row in rows], "datetime64[ms]")
    return Detections(
        longitude=longitude, latitude=latitude, sortie=[row[2] for row in rows], time=times, accuracy=2.0, id=""
    )


def _mark(rows: list[tuple[float, float, str, str]], areas: dict[str, object], **begins: str) -> Detections:
    sightings = _sightings(rows)
    merged = merge_detections(sightings)
    times = {name: np.datetime64(f"2026-08-14T{hour}", "ms") for name, hour in begins.items()}
    return mark_not_seen_again(merged.spots, merged.sightings, Coverage(areas=areas, begins=times))


ROWS = [(-50.0, 0.0, "A", "05:00"), (50.0, 0.0, "A", "05:10"), (50.0, 40.0, "A", "05:20"), (50.0, 0.0, "B", "21:00")]


def test_a_spot_in_a_later_coverage_that_was_not_seen_is_marked() -> None:
    """B covers the east half and sees one of two spots there; the western spot is nobody's miss."""
    marked = _mark(ROWS, {"A": AREA, "B": EAST_HALF})
    by_place = {tuple(np.round(xy)): row for row, xy in enumerate(zip(*_metres(marked), strict=True))}
    west, seen, missed = by_place[-50.0, 0.0], by_place[50.0, 0.0], by_place[50.0, 40.0]
    assert marked.extra["not_seen_again"][[west, seen, missed]].tolist() == [0, 0, 1]
    assert marked.extra["not_seen_again_by"][missed] == "B"
    assert marked.extra["sorties_covering"][[west, seen, missed]].tolist() == [1, 2, 2]
    assert marked.extra["covered_by"][west] == "A"


def _metres(spots: Detections) -> tuple[np.ndarray, np.ndarray]:
    x, y = FRAME.to_metres(spots.longitude, spots.latitude)
    return x + 0.0, y + 0.0


def test_not_seen_again_is_no_status() -> None:
    """A spot that was not seen again keeps the status it had; it is never out."""
    marked = _mark(ROWS, {"A": AREA, "B": EAST_HALF})
    assert set(marked.status.tolist()) == {"unchecked"}


def test_an_earlier_sortie_misses_nothing() -> None:
    """What A had not seen before B saw it is new, not missed."""
    marked = _mark([(10.0, 0.0, "A", "05:00"), (60.0, 0.0, "B", "21:00")], {"A": AREA})
    assert marked.extra["not_seen_again"].tolist() == [0, 0]


def test_a_sortie_that_saw_nothing_at_all_counts_by_its_own_time() -> None:
    """Coverage of a sortie without a sighting marks what it did not see, once it tells when it was."""
    rows = [(10.0, 0.0, "A", "05:00")]
    assert _mark(rows, {"C": AREA}, C="23:00").extra["not_seen_again"].tolist() == [1]
    assert _mark(rows, {"C": AREA}).extra["not_seen_again"].tolist() == [0]


def test_a_spot_at_the_rim_of_a_coverage_may_have_been_outside() -> None:
    """Its circle of accuracy has to lie inside."""
    rows = [(99.0, 0.0, "A", "05:00"), (97.0, 20.0, "A", "05:00")]
    assert _mark(rows, {"C": AREA}, C="23:00").extra["not_seen_again"].sum() == 1


def _flown(**columns: object) -> Track:
    longitude, latitude = FRAME.to_degrees([-80.0, 80.0, 80.0, -80.0], [0.0, 0.0, 60.0, 60.0])
    times = np.array(["2026-08-14T21:00", "2026-08-14T21:01", "2026-08-14T21:02", "2026-08-14T21:03"], "M8[ms]")
    return Track(**{"longitude": longitude, "latitude": latitude, "time": times, "sortie": "B", **columns})


def test_a_flown_track_covers_its_swath() -> None:
    """A swath of 40 m shows 20 m on either side of the line."""
    coverage = read_coverage(Packet(tracks=(_flown(),)), swath_m=40.0)
    assert coverage.begins == {"B": np.datetime64("2026-08-14T21:00", "ms")}
    flat = FRAME.geometry_to_metres(coverage.areas["B"])
    assert flat.bounds == pytest.approx((-100.0, -20.0, 100.0, 80.0), abs=0.3)
    corner = 20**2 * (1 - np.pi / 4)  # the two bars overlap in a square, and a quarter disc rounds the turn
    assert flat.area == pytest.approx(380 * 40 + np.pi * 20**2 - 2 * corner, rel=0.01)
    assert not coverage.problems


def test_a_side_looking_camera_is_told() -> None:
    """A swath under the aircraft is not what a camera at the horizon saw."""
    coverage = read_coverage(Packet(tracks=(_flown(camera_pitch=-40.0),)), swath_m=40.0)
    assert "looked sideways" in coverage.problems[0].message


def test_tracks_without_a_swath_are_refused() -> None:
    """Nothing is guessed of how wide the camera saw."""
    with pytest.raises(OptionError, match="how wide the camera saw"):
        read_coverage(Packet(tracks=(_flown(),)))


def test_a_coverage_without_a_name_is_refused() -> None:
    """Nobody can tell whose images it was."""
    with pytest.raises(OptionError, match="polygon names no sortie"):
        read_coverage(Packet(perimeters=(Perimeter(geometry=AREA),)))
    with pytest.raises(OptionError, match="track names no sortie"):
        read_coverage(Packet(tracks=(_flown(sortie=""),)), swath_m=40.0)


def test_a_file_without_polygon_and_track_is_no_coverage() -> None:
    """The wrong file is told at once."""
    with pytest.raises(OptionError, match="no polygon and no track"):
        read_coverage(Packet())


def test_the_sortie_of_a_polygon_is_its_field_or_its_name() -> None:
    """Several polygons of one sortie are one coverage."""
    halves = (FRAME.geometry_to_degrees(box(-100.0, -100.0, 0.0, 100.0)), EAST_HALF)
    named = (Perimeter(geometry=halves[0], extra={"sortie": "A"}, name="west"), Perimeter(geometry=halves[1], name="A"))
    coverage = read_coverage(Packet(perimeters=named))
    assert list(coverage.areas) == ["A"]
    assert FRAME.geometry_to_metres(coverage.areas["A"]).area == pytest.approx(40_000.0, rel=1e-4)


def test_names_that_do_not_meet_are_told() -> None:
    """A sortie without coverage and coverage without a sighting are both worth a note."""
    notes = compare_names(Coverage(areas={"A": AREA, "C": AREA}, begins={}), ["A", "B", ""])
    assert [note.message.split(" is given of ")[0] for note in notes] == ["no coverage", "coverage"]
    assert [note.message.split(" is given of ")[1][0] for note in notes] == ["B", "C"]


def test_priority_is_a_column_of_the_list() -> None:
    """The spot outside the perimeter comes first, the one deep inside last."""
    area = FRAME.geometry_to_degrees(box(-300.0, -300.0, 20.0, 300.0))
    marked = add_priority(_sightings([(-140.0, 0.0, "A", "05:00"), (50.0, 0.0, "A", "05:10")]), area)
    assert marked.extra["priority"].tolist() == [2, 1]
    assert marked.extra["edge_distance_m"].tolist() == pytest.approx([160.0, 30.0], abs=0.1)
    assert marked.extra["inside"].tolist() == ["yes", "no"]


def test_without_a_perimeter_there_is_no_distance() -> None:
    """What is not known is not a column."""
    marked = add_priority(_sightings([(0.0, 0.0, "A", "05:00")]))
    assert set(marked.extra) == {"priority"}


def test_the_swath_of_the_fixture_covers_what_its_sightings_show() -> None:
    """Every sighting of each sortie of the invented fire lies in that sortie's published coverage."""
    from exchange.formats.reading import read

    folder = Path(__file__).parents[2] / "fixtures/marrow_flat/sorties"
    coverage = read_coverage(read(folder / "coverage.geojson"))
    seen = read(folder / "n2_spots.geojson").detections
    marked = mark_not_seen_again(seen.replace(accuracy=0.0), seen, coverage)
    assert all("N-2" in names.split("; ") for names in marked.extra["covered_by"])

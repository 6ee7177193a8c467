from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from exchange.errors import OptionError
from exchange.formats.columns.mapping import ColumnMapping
from exchange.formats.foreign import read_foreign_fixes, read_foreign_points
from exchange.formats.options import ReadOptions
from exchange.model import Packet, Problem, Sources, Track


def texts(*values: object) -> np.ndarray:
    return np.fromiter(values, dtype=object, count=len(values))


def points(given: dict[str, Any], *, words: Any = None, altitude: Any = None, **options: Any) -> Packet:
    size = len(next(iter(given.values())))
    columns = {
        name: np.asarray(values) if not isinstance(values, tuple) else texts(*values) for name, values in given.items()
    }
    return read_foreign_points(
        columns,
        longitude=np.full(size, -114.2),
        latitude=np.full(size, 44.5),
        altitude=altitude,
        source=Sources.of("a.csv", "A/B", np.arange(1, size + 1)),
        options=ReadOptions(**options),
        words=words,
    )


def fixes(
    columns: dict[str, Any], properties: dict[str, Any] | None = None, **options: Any
) -> tuple[Track, list[Problem]]:
    size = len(next(iter(columns.values())))
    return read_foreign_fixes(
        columns,
        longitude=np.full(size, -114.2),
        latitude=np.full(size, 44.5),
        source=Sources.of("a.csv", "", np.arange(1, size + 1)),
        options=ReadOptions(**options),
        properties=properties or {},
        number=1,
    )


def messages(problems: Any) -> str:
    return "\n".join(str(problem) for problem in problems)


def test_exact_words_become_columns_and_the_rest_stays_as_it_came() -> None:
    """Mapped columns leave extra; foreign ones keep their types, 007 among them."""
    read = points({"Nr.": ("007",), "temp (F)": [212], "battery": [7], "mode": ("auto",), "status": ("No_Heat",)})
    spots = read.detections
    assert (spots.id[0], spots.temperature[0], spots.status[0]) == ("007", 100.0, "no heat")
    assert {name: column.dtype.kind for name, column in spots.extra.items()} == {"battery": "i", "mode": "O"}


def test_a_temperature_without_a_unit_stays_foreign_and_names_the_way_out() -> None:
    """Fahrenheit is never guessed; the option and the line of the mapping are told."""
    read = points({"temp": [300, 310]})
    assert np.isnan(read.detections.temperature).all()
    assert read.detections.extra["temp"].tolist() == [300, 310]
    problem = next(p for p in read.problems if p.field == "temp")
    assert (problem.severity, problem.count) == ("skipped", 2)
    assert "--unit temperature=F" in problem.remedy
    assert 'temp = { is = "temperature", unit = "F" }' in problem.remedy


@pytest.mark.parametrize(
    "options",
    [
        {"units": {"temperature": "F"}},
        {"columns": ColumnMapping.from_text('columns.temp = { is = "temperature", unit = "F" }')},
    ],
)
def test_an_option_or_a_mapping_states_the_unit(options: dict[str, Any]) -> None:
    """Either way of stating it brings the temperature in, and says which unit was used."""
    read = points({"temp": [212]}, **options)
    assert read.detections.temperature.tolist() == [100.0]
    assert "degree Fahrenheit" in messages(read.problems)


def test_the_header_counts_before_an_option_and_the_mapping_before_the_header() -> None:
    """An option speaks where the file is silent; a mapping speaks of that very column."""
    assert points({"temp (C)": [100]}, units={"temperature": "F"}).detections.temperature[0] == 100.0
    mapping = ColumnMapping.from_text('columns."temp (C)" = { is = "temperature", unit = "F" }')
    assert points({"temp (C)": [212]}, columns=mapping).detections.temperature[0] == 100.0


@pytest.mark.parametrize("unit", [{"temperature": "ft"}, {"name": "F"}, {"heat": "F"}])
def test_a_unit_option_that_fits_nothing_is_refused(unit: dict[str, str]) -> None:
    """A unit of another quantity, or of a column that has none, is an error in the option."""
    with pytest.raises(OptionError, match="--unit"):
        points({"temp": [1]}, units=unit)


def test_two_columns_that_claim_one_are_both_left() -> None:
    """Neither is taken, both are kept, and the mapping's line is told."""
    read = points({"lat_note": ("x",), "note": ("a",), "comment": ("b",)})
    assert read.detections.note[0] == ""
    assert {"note", "comment"} <= set(read.detections.extra)
    assert "'note' and 'comment' both claim to be note" in messages(read.problems)
    mapping = ColumnMapping.from_text('columns.comment = "note"')
    assert points({"note": ("a",), "comment": ("b",)}, columns=mapping).detections.note[0] == "b"


def test_two_columns_that_say_the_same_are_no_conflict() -> None:
    """A list whose id and number agree in every row has its numbers; with one row that differs neither is taken."""
    read = points({"id": ("H-001", "H-002"), "number": ("H-001", "H-002")})
    assert read.detections.id.tolist() == ["H-001", "H-002"]
    assert "claim to be id" not in messages(read.problems)
    differing = points({"id": ("H-001", "H-002"), "number": ("H-001", "H-003")})
    assert differing.detections.id.tolist() == ["", ""]
    assert "'id' and 'number' both claim to be id" in messages(differing.problems)


def test_a_near_word_is_offered_not_applied() -> None:
    """The column tmpMax stays a foreign field, with a line to paste."""
    read = points({"tmpMax": [300.0]})
    assert read.detections.extra["tmpMax"].tolist() == [300.0]
    problem = next(p for p in read.problems if p.field == "tmpMax")
    assert problem.severity == "note"
    assert 'tmpMax = { is = "temperature", unit = "F" }' in problem.remedy


def test_a_column_mapped_to_extra_is_neither_taken_nor_offered() -> None:
    """The mapping can say that a column is nothing of ours."""
    mapping = ColumnMapping.from_text('columns.tmpMax = "extra"\ncolumns.name = "extra"')
    read = points({"tmpMax": [300.0], "name": ("A",)}, columns=mapping, points_as="detections")
    assert set(read.detections.extra) == {"tmpMax", "name"}
    assert "claim to be id" not in messages(read.problems)


def test_a_naive_time_stays_text_until_its_zone_is_stated() -> None:
    """The text is kept, counted, and the option named; with the option it is an instant."""
    columns: dict[str, Any] = {"time": ("2026-08-14 13:03:05", "2026-08-14T19:03:05Z", "later")}
    read = points(columns)
    assert np.isnat(read.detections.time).tolist() == [True, False, True]
    assert read.detections.extra["time_text"].tolist() == ["2026-08-14 13:03:05", "", "later"]
    assert "--assume-tz" in messages(read.problems)
    stated = points(columns, assume_timezone="America/Boise")
    assert stated.detections.time[0] == stated.detections.time[1]
    (note,) = [problem for problem in stated.problems if "times without a zone are read in" in problem.message]
    assert note.count == 1


def test_a_count_is_a_time_only_when_it_is_said_to_be() -> None:
    """A number under 'timestamp' is told with the line that says what it counts."""
    read = points({"timestamp": [1_786_734_185]})
    assert np.isnat(read.detections.time[0])
    assert 'timestamp = { is = "time", unit = "ms" }' in messages(read.problems)
    expected = np.datetime64("2026-08-14T19:03:05", "ms")
    assert points({"epoch": [1_786_734_185]}).detections.time[0] == expected
    assert points({"time": [1_786_734_185_000]}, units={"time": "ms"}).detections.time[0] == expected


def test_foreign_status_words_need_a_meaning() -> None:
    """A word of the source is kept and told; the mapping gives it one of ours, never by likeness."""
    read = points({"status": ("cold", "OUT")})
    assert read.detections.status.tolist() == ["", "out"]
    assert read.detections.extra["status_text"].tolist() == ["cold", ""]
    mapping = ColumnMapping.from_text('status.cold = "no heat"')
    assert points({"status": ("cold", "OUT")}, columns=mapping).detections.status.tolist() == ["no heat", "out"]


def test_markers_part_into_detections_and_places() -> None:
    """A place keeps what was measured there as foreign fields, typed as it came."""
    read = points({"name": ("a", "b"), "temp (F)": [212, 70]}, words=texts("Hot", "Drop Points"))
    assert (len(read.detections), len(read.places)) == (1, 1)
    assert read.places.extra["temp (F)"].tolist() == [70]
    assert read.places.source[0].record == 2


def test_points_as_overrules_the_words() -> None:
    """The option says what all markers are."""
    assert len(points({"name": ("hotspot",)}, points_as="places").places) == 1
    with pytest.raises(OptionError, match=r"--points-as.*'trees'"):
        points({"name": ("a",)}, points_as="trees")


def test_untold_markers_are_hotspots_with_one_counted_note() -> None:
    """Nothing tells: hotspots, since a missed one costs more, and the option is named."""
    read = points({"battery": [1, 2, 3]})
    assert len(read.detections) == 3
    (problem,) = read.problems
    assert (problem.severity, problem.count) == ("note", 3)
    assert "--points-as places" in problem.remedy


def test_fixed_values_fill_only_what_the_rows_leave_open() -> None:
    """Sortie and aircraft of the option or the mapping do not overwrite the file's."""
    mapping = ColumnMapping.from_text('fixed.sortie = "N-1"\nfixed.aircraft = "A-1"')
    spots = points({"sortie": ("S1", "")}, columns=mapping, aircraft="A-9").detections
    assert spots.sortie.tolist() == ["S1", "N-1"]
    assert spots.aircraft.tolist() == ["A-9", "A-9"]


def test_the_geometrys_altitude_counts_before_a_column() -> None:
    """A column of altitudes is taken only where the geometry has none."""
    columns = {"alt_m": [10.0, 20.0]}
    read = points(columns, altitude=np.array([1.0, np.nan]))
    assert read.detections.altitude.tolist()[0] == 1.0
    assert read.detections.extra["alt_m"].tolist() == [10.0, 20.0]
    assert points(columns, altitude=np.array([np.nan, np.nan])).detections.altitude.tolist() == [10.0, 20.0]


def test_fixes_take_heights_headings_and_what_the_track_says() -> None:
    """Heights say what they are measured from; sortie and aircraft come from the track's own fields."""
    track, problems = fixes(
        {
            "height_agl_ft": np.array([100.0, 200.0]),
            "heading": np.array([1, 359]),
            "camera pitch (deg)": np.array([-45.0, -90.0]),
        },
        {"Tail number": "A-7", "flight": 12, "pilot": "R. Vole"},
    )
    np.testing.assert_allclose(track.height, [30.48, 60.96], rtol=0, atol=1e-12)
    assert track.height_reference == "ground"
    assert track.camera_pitch.tolist() == [-45.0, -90.0]
    assert (track.aircraft, track.sortie, track.properties) == ("A-7", "12", {"pilot": "R. Vole"})
    assert "degrees" in messages(problems)


def test_a_sortie_in_each_fix_names_the_track_when_it_is_one() -> None:
    """One sortie in all fixes is the track's; several leave it open, and the column stays either way."""
    one, _ = fixes({"sortie": texts("S1", "S1")})
    two, _ = fixes({"sortie": texts("S1", "S2")}, sortie="given")
    assert (one.sortie, two.sortie) == ("S1", "given")
    assert two.extra["sortie"].tolist() == ["S1", "S2"]


def test_no_rows_make_nothing_and_no_problem() -> None:
    """An empty batch is an empty packet."""
    read = points({"name": ()})
    assert read == Packet()
    assert "claim to be id" not in messages(read.problems)

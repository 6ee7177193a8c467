from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from exchange.errors import AmbiguityError, ExchangeError, MalformedError, NotThisFormatError, ReadError
from exchange.formats.columns.mapping import ColumnMapping
from exchange.formats.options import ReadOptions
from exchange.formats.reading import read
from exchange.model import Packet
from exchange.testing import host_with
from exchange_csv.format import CsvFormat, TsvFormat

FOLDER = Path(__file__).parents[3] / "fixtures" / "csv"
HOST = host_with(CsvFormat(), TsvFormat())

INVALID: dict[str, tuple[type[ExchangeError], str]] = {
    "no_header.csv": (AmbiguityError, r"no header.*\n.*--columns"),
    "no_positions.csv": (AmbiguityError, r"no column says where.*'name', 'temp \(F\)'"),
    "x_and_y.csv": (AmbiguityError, "--longitude-column x --latitude-column y"),
    "quote_left_open.csv": (MalformedError, "record 1: the quotes of this record do not match"),
    "text_after_a_quote.csv": (MalformedError, "record 2: the quotes of this record do not match.*line 2"),
    "windows_1251_russian.csv": (AmbiguityError, r"encoding.*\n.*--encoding"),
    "windows_1250_czech.csv": (AmbiguityError, r"encoding.*\n.*--encoding"),
    "utm_without_zone.csv": (AmbiguityError, r"no zone\n.*--utm-zone"),
    "two_latitudes.csv": (AmbiguityError, r"'lat' and 'latitude' both claim.*\n.*--latitude-column"),
    "another_datum.csv": (AmbiguityError, "--crs EPSG:4267"),
    "utf_16_cut.csv": (MalformedError, "not in utf-16-le"),
    "no_text_at_all.csv": (NotThisFormatError, "--from"),
    "empty.csv": (ReadError, "empty"),
    "house_unknown_row.csv": (MalformedError, "record 2, field exchange: 'tree' is nothing that a row can be"),
    "house_number_that_is_none.csv": (MalformedError, "record 1, field temperature: 'warm' is no number"),
    "house_foreign_number_that_is_none.csv": (MalformedError, "record 1, field battery:int.*'full'"),
    "house_broken_polygon.csv": (MalformedError, "record 1, field wkt: .* is no polygon"),
    "house_fix_without_track.csv": (MalformedError, "record 1, field track: 'one' is no number of a track"),
}


def take(name: str, **options: Any) -> Packet:
    return read(FOLDER / "valid" / name, host=HOST, options=ReadOptions(**options))


def told(packet: Packet) -> str:
    return "\n".join(str(problem) for problem in packet.problems)


@pytest.mark.parametrize("path", sorted((FOLDER / "valid").iterdir()), ids=lambda path: path.name)
@pytest.mark.parametrize("batch_rows", [1, 65_536])
def test_every_valid_file_reads_alike_in_any_batches(path: Path, batch_rows: int) -> None:
    """Nothing about a file depends on where a batch ends."""
    assert read(path, host=HOST, options=ReadOptions(batch_rows=batch_rows)) == read(path, host=HOST)


@pytest.mark.parametrize("path", sorted((FOLDER / "invalid").iterdir()), ids=lambda path: path.name)
def test_every_invalid_file_raises_its_error(path: Path) -> None:
    """Each refusal names the file and what to do."""
    error, match = INVALID[path.name]
    with pytest.raises(error, match=match) as caught:
        read(path, host=HOST)
    assert caught.value.path == str(path)
    assert caught.value.remedy


def test_every_file_is_listed_with_what_is_odd_in_it() -> None:
    """The table in the folder's README names every file, by itself or by its beginning."""
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    for path in [*(FOLDER / "valid").iterdir(), *(FOLDER / "invalid").iterdir()]:
        assert f"{path.parent.name}/{path.name}" in text or (path.name.startswith("house_") and "house_*" in text)


def test_separator_decimal_comma_and_encoding_are_found_and_told() -> None:
    """What was found out is in the notes, with the option that would state otherwise."""
    german = take("german_semicolon_decimal_comma.csv")
    assert german.detections.latitude.tolist() == [44.5012, 44.5013]
    assert german.detections.temperature.tolist() == [85.5, 91.0]
    assert german.detections.id.tolist() == ["007", "008"]
    for word in ("semicolon", "--separator", "decimal mark", "--decimal"):
        assert word in told(german)
    spanish = take("windows_1252_spanish.csv")
    assert spanish.detections.note[0] == "Peñasco del río"
    assert "Windows-1252" in told(spanish)
    assert "utf-16-le" in told(take("utf_16_marked.csv"))
    assert "utf-16-be" in told(take("utf_16_unmarked.csv"))


def test_lines_before_the_header_are_told() -> None:
    """A title is not taken for the header, and not passed over in silence."""
    read = take("title_lines_before_header.csv")
    assert read.detections.latitude.tolist() == [44.5012]
    assert "2 lines before the header" in told(read)


def test_cells_keep_every_line_break_and_quote() -> None:
    """What stands in quotes comes back character for character."""
    notes = take("line_breaks_and_quotes_in_cells.csv").detections.note
    assert notes.tolist() == ['by the "old" road,\r\nleft\rside', '5" pipe']


def test_uneven_records_are_mended_where_safe_and_else_left_out() -> None:
    """Missing last cells are empty, surplus empty ones are nothing, all else is left out and told by its number."""
    read = take("short_and_long_records.csv")
    assert read.detections.id.tolist() == ["1", "2", "5"]
    assert [(p.record, p.severity) for p in read.problems if "cells" in p.message] == [
        (2, "changed"),
        (3, "skipped"),
        (4, "skipped"),
    ]


def test_a_cut_file_is_told() -> None:
    """A record cut in the middle is left out; a last line without an end is suspected."""
    cut = take("cut_in_the_last_record.csv")
    assert cut.detections.id.tolist() == ["1"]
    assert "ends in the middle of a record" in told(cut)
    assert "the last line has no end" in told(take("last_line_without_end.csv"))


def test_zero_bytes_are_kept_in_cells_and_told_as_records() -> None:
    """A NUL is a character of its cell; a tail of them is a record that is none."""
    assert take("zero_byte_in_a_cell.csv").detections.note[0] == "a\0b"
    tail = take("zero_bytes_at_the_end.csv")
    assert len(tail.detections) == 1
    assert any(problem.severity == "skipped" for problem in tail.problems)


def test_positions_off_the_earth_and_texts_that_are_none_are_kept_as_text() -> None:
    """Latitude 120, NaN, infinity, words: no position, the text kept, counted."""
    for name, kept in (("latitude_120.csv", 1), ("nan_inf_and_words_for_positions.csv", 1)):
        read = take(name)
        good = read.detections.has_position()
        assert int(good.sum()) == kept
        texts = read.detections.extra["position_text"]
        assert sum(text != "" for text in texts) >= len(texts) - kept - 1
    assert "look swapped" in told(take("latitude_and_longitude_swapped.csv"))


def test_every_form_of_coordinates_is_read() -> None:
    """Degrees and minutes, seconds, UTM, USNG, MGRS and pairs all come to the same spot within their last digit."""
    place = (-114.2031, 44.5012)
    within = {"degrees_minutes.csv": 2e-5, "degrees_minutes_seconds.csv": 5e-5, "one_column_for_both.csv": 1e-9}
    for name, degrees in within.items():
        spots = take(name).detections
        np.testing.assert_allclose([spots.longitude[0], spots.latitude[0]], place, rtol=0, atol=degrees)
    utm, usng, mgrs = (take(f"{name}.csv").detections for name in ("utm_with_zone_column", "usng", "mgrs"))
    for spots in (usng, mgrs):
        assert abs(spots.longitude[0] - utm.longitude[0]) < 2e-5
        assert abs(spots.latitude[0] - utm.latitude[0]) < 2e-5
    assert np.isnan(utm.longitude).tolist() == [False, True, True]
    assert np.isnan(usng.longitude).tolist() == [False, False, True]


def test_a_hemisphere_is_never_guessed() -> None:
    """Degrees and minutes without letter or sign are no position; decimal degrees are none where seconds are said."""
    assert take("degrees_minutes.csv").detections.has_position().tolist() == [True, True, False]
    assert take("degrees_minutes_seconds.csv").detections.has_position().tolist() == [True, False]


def test_shapes_in_well_known_text_are_what_they_are() -> None:
    """Points keep their height, lines become tracks, polygons perimeters; a broken one is told."""
    read = take("well_known_text_shapes.csv")
    assert read.counts() == {"tracks": 1, "fixes": 2, "perimeters": 1, "detections": 2, "notes": 0, "places": 0}
    assert read.detections.altitude[0] == 1520.0
    assert (read.tracks[0].name, read.perimeters[0].name) == ("edge", "fire")
    assert read.detections.extra["position_text"][1] == "POLYGON (("


def test_zone_unit_and_rival_columns_are_never_guessed() -> None:
    """A naive time, a temperature without unit, two temperatures: left as they came, the way out told."""
    times = take("naive_and_offset_times.csv")
    assert np.isnat(times.detections.time).tolist() == [True, False, False, True]
    assert "--assume-tz" in told(times)
    bare = take("temperature_without_unit.csv")
    assert bare.detections.extra["temp"].tolist() == [212, 300]
    assert "--unit temperature=F" in told(bare)
    assert take("temperature_without_unit.csv", units={"temperature": "F"}).detections.temperature[0] == 100.0
    rivals = take("two_temperatures.csv")
    assert np.isnan(rivals.detections.temperature[0])
    assert set(rivals.detections.extra) == {"temp (F)", "Temperature (C)"}
    twice = take("one_heading_twice.csv")
    assert set(twice.detections.extra) == {"temp (F) #1", "temp (F) #2"}


def test_places_are_told_from_hotspots() -> None:
    """The column that says what a marker is decides."""
    read = take("hotspots_and_places.csv")
    assert read.detections.name.tolist() == ["A"]
    assert read.places.kind.tolist() == ["drop point", "helispot"]


def test_a_crews_list_without_positions_becomes_status_notes() -> None:
    """Rows that number spots but say nothing of where are reports on them."""
    read = take("reports_without_positions.csv")
    assert read.notes.detection.tolist() == ["H-001", "H-002"]
    assert read.notes.status.tolist() == ["out", ""]
    assert read.notes.author.tolist() == ["crew 7", "crew 7"]
    assert read.notes.extra["status_text"].tolist() == ["", "smoking"]
    assert read.notes.extra["Mood"].tolist() == ["good", ""]


def test_a_table_of_the_house_survives_a_spreadsheet() -> None:
    """Semicolons, decimal commas, a byte order mark and a row added by hand are read, the row is told."""
    read = take("house_saved_by_a_spreadsheet.csv")
    assert read.detections.longitude.tolist() == [-114.2031, -114.203]
    assert read.detections.temperature.tolist()[0] == 80.5
    assert read.detections.note.tolist() == ["=1+1", "added by hand"]
    assert read.detections.extra["battery"][0] == 0.5
    assert "taken as a detection" in told(read)


def test_a_mapping_brings_a_source_in() -> None:
    """Column meanings, time form, zone, fixed values, status words and position columns of the example mapping hold."""
    mapping = ColumnMapping.from_file(FOLDER / "mappings" / "night_flights.toml")
    read_back = read(FOLDER / "with_mapping.csv", host=HOST, options=ReadOptions(columns=mapping))
    spot = read_back.detections.row(0)
    assert (spot.id, spot.temperature, spot.status, spot.aircraft) == ("N-1", 100.0, "working", "Nuthatch")
    assert read_back.detections.time[0] == np.datetime64("2026-08-14T19:03", "ms")
    assert spot.extra == {"battery": 7}
    assert all(problem.severity == "note" for problem in read_back.problems)


def test_the_names_of_a_mapping_stand_in_for_a_header() -> None:
    """A table without a header reads once its columns are named."""
    mapping = ColumnMapping.from_text('names = ["id", "lat", "lon"]')
    spots = read(FOLDER / "invalid" / "no_header.csv", host=HOST, options=ReadOptions(columns=mapping)).detections
    assert spots.id.tolist() == ["1", "2"]
    assert spots.longitude.tolist() == [-114.2031, -114.203]


def test_stated_options_open_what_was_refused() -> None:
    """Encoding, zone, system and columns, once stated, let the refused tables in."""
    opened: dict[str, dict[str, Any]] = {
        "windows_1251_russian.csv": {"encoding": "cp1251"},
        "windows_1250_czech.csv": {"encoding": "cp1250"},
        "utm_without_zone.csv": {"utm_zone": "11N"},
        "two_latitudes.csv": {"longitude_column": "lon", "latitude_column": "lat"},
        "x_and_y.csv": {"longitude_column": "x", "latitude_column": "y"},
    }
    for name, options in opened.items():
        spots = read(FOLDER / "invalid" / name, host=HOST, options=ReadOptions(**options)).detections
        assert spots.has_position().all()
        assert 44 < spots.latitude[0] < 45


def test_another_datum_is_shifted_and_told() -> None:
    """NAD27 degrees are not WGS 84 degrees: about 70 m apart in Idaho (NADCON; PROJ is the reference)."""
    options = ReadOptions(crs="EPSG:4267", longitude_column="Lon (NAD27)", latitude_column="Lat (NAD27)")
    read_back = read(FOLDER / "invalid" / "another_datum.csv", host=HOST, options=options)
    assert 4e-4 < abs(read_back.detections.longitude[0] + 114.2031) < 2e-3
    assert "NAD27" in told(read_back)

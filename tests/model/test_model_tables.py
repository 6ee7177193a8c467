from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.errors import AmbiguityError, ModelError
from exchange.model import Detections, Places, Sources, StatusNotes, Track
from exchange.testing.strategies import foreign_values, tables, tracks

_few = settings(deadline=None, max_examples=40)
MOMENT = datetime(2026, 8, 14, 19, 3, 5, 250_000, tzinfo=UTC)


def _sourced(table: Detections, file: str = "a.csv") -> Detections:
    return table.replace(source=Sources.of(file, "hot", np.arange(1, len(table) + 1)))


@pytest.mark.parametrize(
    ("values", "dtype"),
    [
        ([1, 2], "int64"),
        ([1.0, None], "float64"),
        ([True, False], "bool"),
        (["007", None], "object"),
        ([MOMENT, None], "datetime64[ms]"),
        ([1, None], "object"),
        ([True, None], "object"),
        ([1, 2.5], "object"),
        ([1, "1"], "object"),
        ([2**70, 1], "object"),
        ([[1, {"a": None}], None], "object"),
    ],
    ids=repr,
)
def test_foreign_values_keep_their_type(values: list[Any], dtype: str) -> None:
    """A foreign column takes the narrowest kind that keeps each value's own type; rows give back what came."""
    table = Detections(extra={"x": values})
    assert table.extra["x"].dtype == dtype
    assert [row.extra.get("x") for row in table] == values
    assert [type(row.extra.get("x")) for row in table] == [type(value) for value in values]


@_few
@given(st.lists(foreign_values(), min_size=1, max_size=6))
def test_any_foreign_values_come_back_as_they_came(values: list[Any]) -> None:
    """Whatever the mixture, each row gives back its value with its type; empty text is the same as missing."""
    table = Detections(longitude=[0.0] * len(values), extra={"x": values})
    held = [None if value == "" else value for value in values]
    returned = [row.extra.get("x") for row in table]
    assert returned == held
    assert [type(value) for value in returned] == [type(value) for value in held]


@_few
@given(st.lists(foreign_values(), max_size=5), st.lists(foreign_values(), max_size=5))
def test_joining_changes_no_foreign_value(first: list[Any], second: list[Any]) -> None:
    """Two batches joined give the rows of one, whatever types the batches had on their own."""
    parts = [Detections(longitude=[0.0] * len(v), extra={"x": v}) for v in (first, second)]
    joined = Detections.join(parts)
    assert joined == Detections(longitude=[0.0] * (len(first) + len(second)), extra={"x": first + second})


def test_leading_zeros_and_whole_numbers_survive() -> None:
    """``007`` stays text, 7 stays whole, 7.0 stays a number with a point."""
    table = Detections(extra={"text": ["007"], "whole": [7], "real": [7.0]})
    assert table.row(0).extra == {"text": "007", "whole": 7, "real": 7.0}
    assert [type(v) for v in table.row(0).extra.values()] == [str, int, float]


def test_zero_is_a_value_and_missing_is_none() -> None:
    """A height, a temperature and a confidence of zero are held; what was not given is not."""
    row = Detections(altitude=[0.0], temperature=[0.0], confidence=[0.0]).row(0)
    assert row.as_dict() == {"altitude": 0.0, "temperature": 0.0, "confidence": 0.0}
    assert (row.longitude, row.time, row.name) == (None, None, "")


def test_a_foreign_column_without_a_value_does_not_exist() -> None:
    """Empty text, ``None`` and NaN alone make no column."""
    table = Detections(longitude=[1.0, 2.0], extra={"a": ["", None], "b": [np.nan, np.nan], "c": ["", 0]})
    assert list(table.extra) == ["c"]


@pytest.mark.parametrize("name", ["longitude", "time", "name", "source"])
def test_a_table_is_immutable(name: str) -> None:
    """Neither a field nor a cell of a column can be changed in place."""
    table = Detections(longitude=[1.0], time=[MOMENT], name=["stump"], extra={"x": [1]})
    with pytest.raises(AttributeError, match="cannot assign"):
        setattr(table, name, None)
    if name != "source":
        with pytest.raises(ValueError, match="read-only"):
            getattr(table, name)[0] = getattr(table, name)[0]
    with pytest.raises(ValueError, match="read-only"):
        table.extra["x"][0] = 2


@_few
@given(tables(Detections, min_size=1))
def test_equality_is_by_value(table: Detections) -> None:
    """A table equals a copy of itself, missing equal to missing, and not one with a row more or a value changed."""
    assert table == table.take(slice(None))
    assert table != Detections.join([table, table])
    assert table != table.replace(name=[*table.name[:-1], table.name[-1] + "x"])
    assert table.differences(table.take(slice(None))) == []


def test_an_integer_is_not_the_same_as_a_number_or_a_truth() -> None:
    """1, 1.0, true and ``1`` are four values."""
    kinds = [Detections(extra={"x": [value]}) for value in (1, 1.0, True, "1")]
    assert [[a == b for b in kinds] for a in kinds] == np.eye(4, dtype=bool).tolist()


def test_the_source_does_not_count_in_comparisons() -> None:
    """Two tables with the same rows from different files are equal."""
    table = Detections(longitude=[1.0])
    assert _sourced(table, "a.csv") == _sourced(table, "b.csv")
    assert Places(longitude=[1.0]) != StatusNotes(longitude=[1.0])


@_few
@given(tables(Detections, min_size=1), st.data())
def test_take_gives_the_chosen_rows_in_order(table: Detections, data: st.DataObject) -> None:
    """Indices, a mask and a slice choose rows together with their foreign fields and sources."""
    table = _sourced(table)
    chosen = data.draw(st.lists(st.integers(0, len(table) - 1), max_size=6))
    taken = table.take(chosen)
    assert list(taken) == [table.row(index) for index in chosen]
    assert [row.source.record for row in taken] == [index + 1 for index in chosen]
    mask = np.arange(len(table)) % 2 == 0
    assert table.take(mask) == table.take(slice(None, None, 2))
    assert len(table.take([])) == 0


@_few
@given(tables(Detections), tables(Detections), tables(Detections))
def test_join_is_associative_and_keeps_every_row(a: Detections, b: Detections, c: Detections) -> None:
    """The rows stand end to end, with their sources, however the joins are grouped."""
    parts = [_sourced(part, file) for part, file in ((a, "a"), (b, "b"), (c, "c"))]
    joined = Detections.join(parts)
    assert list(joined) == [row for part in parts for row in part]
    assert joined == Detections.join([Detections.join(parts[:2]), parts[2]])
    assert joined.source.file.tolist() == ["a"] * len(a) + ["b"] * len(b) + ["c"] * len(c)


def test_join_of_nothing_is_empty() -> None:
    """Joining no table gives an empty one."""
    assert len(Detections.join([])) == 0


@_few
@given(tables(Detections, min_size=1))
def test_replace_changes_that_column_only(table: Detections) -> None:
    """A copy differs in what was replaced; the first is as it was."""
    changed = table.replace(altitude=np.full(len(table), 12.5))
    assert changed.replace(altitude=table.altitude) == table
    assert changed.altitude.tolist() == [12.5] * len(table)


@pytest.mark.parametrize(
    ("columns", "match"),
    [
        ({"longitude": [1.0, 2.0], "latitude": [1.0]}, "latitude: column has shape"),
        ({"longitude": ["east"]}, "numbers holds something else"),
        ({"name": [7]}, "7 is no text"),
        ({"time": [datetime(2026, 8, 14)]}, "has no time zone"),  # noqa: DTZ001, RUF100
        ({"time": ["2026-08-14T00:00:00Z"]}, "is no instant"),
        ({"longitude": [1.0], "extra": {"x": [1, 2]}}, "field x: column has shape"),
        ({"longitude": [1.0], "source": Sources.unknown(2)}, "source has 2 rows"),
    ],
)
def test_columns_that_do_not_fit_are_refused(columns: dict[str, Any], match: str) -> None:
    """A wrong length or kind is an error that names the column or the value."""
    with pytest.raises(ModelError, match=match):
        Detections(**columns)


def test_times_of_any_zone_become_utc_milliseconds() -> None:
    """An aware time becomes the same instant in UTC."""
    west = MOMENT.astimezone(timezone(timedelta(hours=-7)))
    table = Detections(time=[west])
    assert table.time[0] == np.datetime64("2026-08-14T19:03:05.250", "ms")
    assert table.row(0).time == MOMENT


def test_one_value_serves_all_rows() -> None:
    """A single value given for a column stands in every row."""
    table = Detections(longitude=[1.0, 2.0], sortie="S1", time=MOMENT)
    assert table.sortie.tolist() == ["S1", "S1"]
    assert (table.time == table.time[0]).all()


@pytest.mark.parametrize("index", [2, -3])
def test_a_row_that_is_not_there(index: int) -> None:
    """Asking for a row beyond the table is an IndexError that tells its size."""
    with pytest.raises(IndexError, match="of a table with 2 rows"):
        Detections(longitude=[1.0, 2.0]).row(index)


def test_rows_know_no_other_column() -> None:
    """A misspelt column is an AttributeError, not a missing value."""
    with pytest.raises(AttributeError, match="no column 'longitud'"):
        _ = Detections(longitude=[1.0]).row(0).longitud


def test_sources_name_file_layer_and_record() -> None:
    """Each row tells where it came from, also after a join of layers and files."""
    first = Sources.of_layers("a.kml", ["A/Hot", "B", "A/Hot"], [1, 2, 3])
    joined = Sources.join([first, Sources.of("b.csv", "", [1])])
    assert [str(joined[row]) for row in range(4)] == [
        "a.kml, layer A/Hot, record 1",
        "a.kml, layer B, record 2",
        "a.kml, layer A/Hot, record 3",
        "b.csv, record 1",
    ]
    assert str(Sources.unknown(1)[0]) == "unknown file"


def test_source_columns_name_each_rows_origin() -> None:
    """On request the origin travels as foreign columns."""
    table = _sourced(Detections(longitude=[1.0, 2.0])).with_source_columns()
    assert table.row(1).extra == {"source_file": "a.csv", "source_layer": "hot", "source_record": 2}


def test_a_row_is_a_feature() -> None:
    """A row gives a GeoJSON-like feature, longitude first (RFC 7946, section 3.1.1); without position no geometry."""
    table = Detections(id=["H-1", "H-2"], longitude=[-114.2, None], latitude=[44.5, None], altitude=[0.0, None])
    first, second = table.__geo_interface__["features"]
    assert first["geometry"] == {"type": "Point", "coordinates": (-114.2, 44.5, 0.0)}
    assert first["properties"] == {"id": "H-1"}
    assert second["geometry"] is None


def test_shapely_understands_a_row_and_a_track() -> None:
    """A general geometry library takes rows and tracks by the geo interface."""
    from shapely.geometry import shape

    row = Detections(longitude=[-114.2], latitude=[44.5]).row(0)
    assert shape(row.__geo_interface__["geometry"]).coords[0] == (-114.2, 44.5)
    track = Track(longitude=[0, 1, 2, 3], latitude=[0, 0, 0, 0], segment=[0, 0, 1, 1])
    geometry = shape(track.__geo_interface__["geometry"])
    assert [list(part.coords) for part in geometry.geoms] == [[(0, 0), (1, 0)], [(2, 0), (3, 0)]]


@_few
@given(tracks())
def test_segments_cover_a_track(track: Track) -> None:
    """The runs of one segment number lie end to end and hold every fix once."""
    rows = [index for run in track.segment_rows() for index in range(run.start, run.stop)]
    assert rows == list(range(len(track)))
    assert all(len(set(track.segment[run].tolist())) == 1 for run in track.segment_rows())


@_few
@given(tables(Places))
def test_a_frame_and_back(table: Places) -> None:
    """Rows go to geopandas and come back equal: positions, missing ones too, times, text and plain foreign columns."""
    pytest.importorskip("geopandas")
    plain = {name: values for name, values in table.extra.items() if values.dtype.kind != "O"}
    placed = table.has_position()
    whole = table.replace(
        longitude=np.where(placed, table.longitude, np.nan),
        latitude=np.where(placed, table.latitude, np.nan),
        extra=plain,
    )
    assert Places.from_geopandas(whole.to_geopandas()).differences(whole) == []


def test_foreign_names_that_clash_survive_a_frame() -> None:
    """A foreign field called like a column, like the geometry or like an escape comes back under its own name."""
    pytest.importorskip("geopandas")
    extra = {name: [index] for index, name in enumerate(("time", "geometry", "longitude", "extra.time", "plain"))}
    table = Places(longitude=[-114.2], latitude=[44.5], extra=extra)
    frame = table.to_geopandas()
    assert frame.crs.to_epsg() == 4326
    assert Places.from_geopandas(frame) == table


def test_a_frame_without_a_reference_system_is_refused() -> None:
    """Positions of an unstated datum are never guessed; lines are no points."""
    geopandas = pytest.importorskip("geopandas")
    from shapely.geometry import LineString, Point

    with pytest.raises(AmbiguityError, match="states no coordinate reference system"):
        Places.from_geopandas(geopandas.GeoDataFrame(geometry=[Point(1, 2)]))
    with pytest.raises(ModelError, match="no points"):
        Places.from_geopandas(geopandas.GeoDataFrame(geometry=[LineString([(0, 0), (1, 1)])], crs=4326))


def test_a_frame_in_metres_comes_back_in_degrees() -> None:
    """A frame in UTM zone 31N becomes degrees: easting 500 km lies on 3 degrees east (the zone's central meridian)."""
    geopandas = pytest.importorskip("geopandas")
    from shapely.geometry import Point

    table = Places.from_geopandas(geopandas.GeoDataFrame(geometry=[Point(500_000, 0)], crs=32631))
    assert table.longitude[0] == pytest.approx(3.0, abs=1e-9)
    assert table.latitude[0] == pytest.approx(0.0, abs=1e-9)

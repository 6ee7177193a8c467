"""Hypothesis strategies for everything in the model, hostile text included."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, TypeVar

import numpy as np
from hypothesis import strategies as st

from exchange.model import (
    STATUS_WORDS,
    Detections,
    Packet,
    Perimeter,
    Places,
    StatusNotes,
    Table,
    Track,
)
from exchange.model.columns import to_number_column, to_text_column, to_time_column

AnyTable = TypeVar("AnyTable", bound=Table)

HOSTILE_TEXTS = (
    "]]>", "<b>&amp;</b>", '"', "'", "a,b;c\td", "=1+1", "-120.5", "@SUM(A1)", "\t=1", "007", "1e5", "NaN", "null",
    "line\nbreak", "carriage\rreturn", "\r\n", " padded ", "\x00", "\x07", "\x1b[31m", "\ufeff", "\u2028", "\ufffe",
    "\U0001f525", "e\u0301", "\u202eabc", "true", "2026-08-14T00:00:00Z", "{}", "[1]", "\\u0001", "%", "#", "'=1",
)  # fmt: skip

CLASHING_NAMES = ("temperature", "time", "id", "name", "exchange", "extra.x", "longitude", "geometry", "fid")


def texts(*, max_size: int = 20) -> st.SearchStrategy[str]:
    """Any text: control characters, markup, formulas, emoji; no lone surrogates, which no file can hold."""
    anything = st.text(st.characters(exclude_categories=["Cs"]), max_size=max_size)
    return st.one_of(st.sampled_from(HOSTILE_TEXTS), anything)


def numbers(low: float = -1e9, high: float = 1e9) -> st.SearchStrategy[float]:
    """Finite numbers, missing ones and the small ones that tempt a writer into an exponent."""
    ordinary = st.floats(low, high, allow_nan=False)
    return st.one_of(ordinary, st.sampled_from([float("nan"), 0.0, max(low, 1e-07), min(high, 1.5)]))


def instants() -> st.SearchStrategy[Any]:
    """Milliseconds between 1900 and 2100, or missing."""
    span = st.integers(-2_208_988_800_000, 4_102_444_799_999).map(lambda value: np.datetime64(value, "ms"))
    return st.one_of(span, st.just(np.datetime64("NaT", "ms")))


def foreign_values() -> st.SearchStrategy[Any]:
    """Values of every kind a foreign field may hold, nested ones included; missing is ``None``."""
    plain = st.one_of(
        st.none(),
        texts(),
        st.integers(-(2**53), 2**53),
        st.booleans(),
        st.floats(-1e12, 1e12, allow_nan=False),
    )
    nested = st.recursive(
        plain, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts(), inner, max_size=3)
    )
    moments = st.datetimes(datetime(1900, 1, 1), datetime(2100, 1, 1)).map(  # hypothesis wants naive
        lambda moment: moment.replace(microsecond=moment.microsecond // 1000 * 1000, tzinfo=UTC)
    )
    return st.one_of(plain, moments, nested.filter(lambda value: isinstance(value, (list, dict)) and bool(value)))


def _lists_and_objects(inner: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.lists(inner, max_size=3) | st.dictionaries(texts(), inner, max_size=3)


def foreign_names() -> st.SearchStrategy[str]:
    """Names of foreign fields, those that clash with the model's columns among them."""
    clashing = st.sampled_from(
        ["temperature", "time", "id", "name", "exchange", "extra.x", "longitude", "geometry", "fid"]
    )
    return st.one_of(clashing, texts().filter(lambda name: bool(name.strip())))


@st.composite
def tables(draw: st.DrawFn, kind: type[AnyTable], *, min_size: int = 0, max_size: int = 4) -> AnyTable:
    """Draw a table of points with positions on the earth or missing, and foreign columns."""
    size = draw(st.integers(min_size, max_size))
    columns = {name: draw(_column(name, coercion, size)) for name, coercion in kind.column_kinds().items()}
    columns |= _whole_positions(columns["longitude"], columns["latitude"])
    if "segment" in columns:
        columns["segment"] = np.cumsum(draw(st.lists(st.integers(0, 1), min_size=size, max_size=size)), dtype=np.int64)
        columns["segment"] = columns["segment"] - (columns["segment"][0] if size else 0)
    names = draw(st.lists(foreign_names(), max_size=3, unique=True))
    columns["extra"] = {name: draw(st.lists(foreign_values(), min_size=size, max_size=size)) for name in names}
    return kind(**columns)


def _whole_positions(longitude: list[float], latitude: list[float]) -> dict[str, list[float]]:
    pairs = [(x, y) if x == x and y == y else (np.nan, np.nan) for x, y in zip(longitude, latitude, strict=True)]
    return {"longitude": [x for x, _ in pairs], "latitude": [y for _, y in pairs]}


def _column(name: str, coercion: Any, size: int) -> st.SearchStrategy[Any]:
    ranges = {"longitude": (-180.0, 180.0), "latitude": (-90.0, 90.0), "confidence": (0.0, 1.0)}
    if name == "status":
        values: st.SearchStrategy[Any] = st.sampled_from(["", *STATUS_WORDS])
    elif coercion is to_text_column:
        values = texts()
    elif coercion is to_time_column:
        values = instants()
    elif coercion is to_number_column:
        values = numbers(*ranges.get(name, (-1e6, 1e6)))
    else:
        values = st.just(0)
    return st.lists(values, min_size=size, max_size=size)


@st.composite
def tracks(draw: st.DrawFn) -> Track:
    """Draw a track of at least one fix, with foreign fields of its own."""
    track = draw(tables(Track, min_size=1, max_size=5))
    fields = {name: draw(texts()) for name in ("name", "sortie", "aircraft")}
    reference = draw(st.sampled_from(["", "ground", "take-off"]))
    properties = draw(st.dictionaries(foreign_names(), foreign_values().filter(_is_held), max_size=2))
    return track.replace(**fields, height_reference=reference, properties=properties)


def _is_held(value: Any) -> bool:
    return value not in (None, "")


@st.composite
def perimeters(draw: st.DrawFn) -> Perimeter:
    """Draw a perimeter of one or two star-shaped parts, with or without an island."""
    from shapely.geometry import MultiPolygon

    first = draw(_stars(-60.0))
    geometry = MultiPolygon([first, draw(_stars(60.0))]) if draw(st.booleans()) else first
    fields: dict[str, Any] = {name: draw(texts()) for name in ("id", "name", "method")}
    fields |= {name: draw(numbers(0.0, 1e9)) for name in ("accuracy", "area", "length")}
    quality = draw(st.dictionaries(texts().filter(bool), st.floats(-1e6, 1e6) | st.integers(-9, 9), max_size=2))
    extra = draw(st.dictionaries(foreign_names(), foreign_values().filter(_is_held), max_size=2))
    tracks_used = tuple(draw(st.lists(texts().filter(bool), max_size=2)))
    as_of = draw(instants())
    return Perimeter(geometry=geometry, **fields, as_of=as_of, quality=quality, extra=extra, tracks=tracks_used)


@st.composite
def _stars(draw: st.DrawFn, middle_longitude: float) -> Any:
    from shapely.geometry import Polygon

    latitude = draw(st.floats(-60, 60))
    radii = draw(st.lists(st.floats(0.5, 1.0), min_size=4, max_size=7))
    angles = np.linspace(0, 2 * np.pi, len(radii), endpoint=False)
    outer = [(middle_longitude + r * np.cos(a), latitude + r * np.sin(a)) for r, a in zip(radii, angles, strict=True)]
    inner = [(middle_longitude + 0.1 * np.cos(a), latitude + 0.1 * np.sin(a)) for a in (0.0, 4.0, 2.0)]
    return Polygon(outer, [inner] if draw(st.booleans()) else [])


@st.composite
def packets(draw: st.DrawFn) -> Packet:
    """Draw a packet with some of everything."""
    return Packet(
        incident=draw(texts()),
        tracks=tuple(draw(st.lists(tracks(), max_size=2))),
        perimeters=tuple(draw(st.lists(perimeters(), max_size=2))),
        detections=draw(tables(Detections)),
        notes=draw(tables(StatusNotes)),
        places=draw(tables(Places)),
    )

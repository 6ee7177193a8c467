"""What a device gets of the spots: the packet that is written for one profile, limited to what it can hold."""

from __future__ import annotations

from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.geo.edge import EdgeDistance
from exchange.handout.comments import Comments
from exchange.handout.pieces import Units, Wording, read_last_temperature, write_pieces
from exchange.handout.profile import Profile
from exchange.handout.written_positions import DATUM, write_positions
from exchange.model import Detections

Texts = NDArray[np.object_]

TERSE_BELOW = 100
"""A comment that may have fewer letters than this is written in the terse forms."""

FILE_DECIMALS = 7
"""Of the degrees in a file, which programs read: a centimetre. What people read is no finer than it is accurate."""

_COLUMNS: dict[str, tuple[str, ...]] = {
    "number": ("id",),
    "status": ("status",),
    "temperature": ("temperature",),
    "seen": ("time", "first_seen", "last_seen", "sightings"),
    "accuracy": ("accuracy", "confidence", "area"),
    "by": ("sortie", "aircraft"),
    "altitude": ("altitude",),
}
_NATIVE = ("altitude", "time")
"""What the elements of the formats themselves can say, beside name, place and comment."""


class Limited(NamedTuple):
    """Hold the spots as they are written for one profile, their comments, and how often each field was trimmed."""

    spots: Detections
    comments: Texts
    trimmed: dict[str, int]


def limit_spots(
    spots: Detections,
    profile: Profile,
    names: Texts,
    *,
    shown_column: Literal["name", "id"] = "name",
    edge: EdgeDistance | None = None,
    units: Units = "metric",
    resolution_m: float | None = None,
) -> Limited:
    """Return spots as one profile can hold them.

    Parameters
    ----------
    spots
        The spots, ``id`` the numbers.
    profile
        The limits.
    names
        Their short names.
    shown_column
        The column that other programs show as the point's name (``Format.shown_column``).
    edge
        How far from the edge of the perimeter they are; ``None`` without a perimeter.
    units
        Of the comments.
    resolution_m
        Of positions written as text; ``None`` by their accuracy.
    """
    wording = Wording(
        units=units,
        is_terse=profile.comment_length is not None and profile.comment_length < TERSE_BELOW,
        letters=profile.comment_letters,
        forms=profile.coordinate_forms,
        resolution_m=resolution_m,
    )
    fill = _fill_columns if profile.layout == "columns" else _fill_comment
    limited = fill(spots, profile, names, wording, edge)
    return limited._replace(spots=_show_names(limited.spots, names, shown_column))


def _show_names(written: Detections, names: Texts, shown_column: Literal["name", "id"]) -> Detections:
    """Have the short names shown where the format shows another column; the number then travels as a foreign field."""
    if shown_column == "name" or bool((written.id == names).all()):
        return written
    return written.replace(id=names, extra={**written.extra, "number": written.id})


def _fill_comment(
    spots: Detections, profile: Profile, names: Texts, wording: Wording, edge: EdgeDistance | None
) -> Limited:
    comments = Comments(len(spots), profile.comment_letters, profile.comment_length, wording.is_terse)
    for name in profile.fields if profile.comment_length != 0 else ():
        for pieces in write_pieces(spots, name, wording, names=names, edge=edge):
            (comments.add_note if name == "note" else comments.add)(name, pieces)
    texts = comments.finish()
    kept = Detections.column_names() if profile.keeps_extensions else _NATIVE
    columns = {name: getattr(spots, name) for name in kept}
    columns |= {"name": names, "note": texts, **_round_place(spots)}
    written = Detections(**columns, extra=_find_extra(spots, profile, texts), source=spots.source)
    return Limited(written, texts, comments.trimmed)


def _fill_columns(
    spots: Detections, profile: Profile, names: Texts, wording: Wording, edge: EdgeDistance | None
) -> Limited:
    columns: dict[str, Any] = {"name": names, **_round_place(spots)}
    extra: dict[str, Any] = {}
    comments = Comments(len(spots), profile.comment_letters, profile.comment_length)
    for name in profile.fields:
        columns |= {column: getattr(spots, column) for column in _COLUMNS.get(name, ())}
        if name == "temperature":
            extra["temperature_last"] = read_last_temperature(spots)
        elif name == "edge" and edge is not None:
            extra |= _describe_edge(edge)
        elif name == "position":
            extra |= {f"position_{form}_{DATUM}": _write_position(spots, form, wording) for form in wording.forms}
        elif name == "note":
            for pieces in write_pieces(spots, name, wording, names=names, edge=edge):
                comments.add_note(name, pieces)
    texts = comments.finish()
    written = Detections(**columns, note=texts, extra=extra, source=spots.source)
    return Limited(written, texts, comments.trimmed)


def _write_position(spots: Detections, form: Any, wording: Wording) -> Texts:
    return write_positions(spots.longitude, spots.latitude, spots.accuracy, form, resolution_m=wording.resolution_m)


def _describe_edge(edge: EdgeDistance) -> dict[str, Any]:
    is_known = np.isfinite(edge.distance_m)
    side = np.where(edge.is_inside, "inside", "beyond").astype(object)
    return {
        "edge_distance_m": np.round(edge.distance_m, 1),
        "edge_bearing_true": np.rint(edge.azimuth_degrees) % 360,
        "edge_side": np.where(is_known, side, ""),
    }


def _round_place(spots: Detections) -> dict[str, Any]:
    return {
        "longitude": np.round(spots.longitude, FILE_DECIMALS),
        "latitude": np.round(spots.latitude, FILE_DECIMALS),
    }


def _find_extra(spots: Detections, profile: Profile, comments: Texts) -> dict[str, Any]:
    """Return what GPX has elements for and the model has no column: the comment a receiver keeps, and the symbol."""
    if profile.format != "gpx":
        return {}
    words = np.where(spots.status == "", "unchecked", spots.status)
    symbols = np.fromiter((profile.symbols.get(word, "") for word in words), dtype=object, count=len(words))
    return {"cmt": comments, "sym": symbols}

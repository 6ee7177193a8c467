"""Foreign columns become the model's: the one door through which every format hands over a stranger's fields."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError
from exchange.formats.columns.apply import TakenColumns, take_columns
from exchange.formats.columns.header import read_header
from exchange.formats.columns.mapping import ColumnMapping
from exchange.formats.columns.markers import PLACE, UNTOLD, tell_markers
from exchange.formats.columns.targets import FIX_TARGETS, NOTE_TARGETS, POINT_TARGETS
from exchange.formats.options import ReadOptions
from exchange.formats.values import to_text
from exchange.model import Detections, Packet, Places, PointTable, Problem, Sources, StatusNotes, Track
from exchange.model.columns import ForeignColumn, NumberColumn, TextColumn, has_value

_NOTE_COLUMNS = {"id": "detection", "note": "text"}
_POINTS_AS = ("", "detections", "places")


def read_foreign_points(
    columns: Mapping[str, ForeignColumn],
    *,
    longitude: NumberColumn,
    latitude: NumberColumn,
    altitude: NumberColumn | None = None,
    source: Sources,
    options: ReadOptions,
    words: TextColumn | None = None,
) -> Packet:
    """Return the detections and places that a batch of foreign points is.

    Parameters
    ----------
    columns
        Attributes by name, each of shape (n,): typed, or text as ``str`` objects.
    longitude, latitude
        WGS 84, degrees, shape (n,); NaN where there is none.
    altitude
        Of the geometry, metres above mean sea level; a column that claims the altitude counts only without it.
    source
        Where each row came from.
    options
        What the file does not say of itself.
    words
        Text of each row that tells what the marker is (folder path, symbol, style); used for nothing else.

    Raises
    ------
    OptionError
        When an option or the column mapping is not usable.
    """
    given_altitude = altitude is not None and bool(has_value(altitude).any())
    targets = POINT_TARGETS - {"altitude"} if given_altitude else POINT_TARGETS
    taken = take_columns(columns, targets, source=source, options=options)
    position = {"longitude": longitude, "latitude": latitude}
    taken.values |= position | ({"altitude": np.asarray(altitude)} if given_altitude else {})
    is_place = _tell_places(taken, source, options, words)
    _enter_fixed(taken, len(source), options)
    return Packet(
        detections=_build(Detections, taken, columns, source, ~is_place),
        places=_build(Places, taken, columns, source, is_place),
        problems=tuple(taken.problems),
    )


def read_foreign_notes(columns: Mapping[str, ForeignColumn], *, source: Sources, options: ReadOptions) -> Packet:
    """Return the status notes that rows about numbered spots are, where the rows themselves have no place.

    Parameters
    ----------
    columns, source, options
        As for ``read_foreign_points``.

    Raises
    ------
    OptionError
        When an option or the column mapping is not usable.
    """
    taken = take_columns(columns, NOTE_TARGETS, source=source, options=options)
    own = {_NOTE_COLUMNS.get(name, name): column for name, column in taken.values.items()}
    notes = StatusNotes(**own, extra=taken.extra, source=source)
    return Packet(notes=notes, problems=tuple(taken.problems))


def read_foreign_fixes(
    columns: Mapping[str, ForeignColumn],
    *,
    longitude: NumberColumn,
    latitude: NumberColumn,
    altitude: NumberColumn | None = None,
    source: Sources,
    options: ReadOptions,
    properties: Mapping[str, Any],
    name: str = "",
    number: int = 0,
    segment: NDArray[np.int64] | None = None,
) -> tuple[Track, list[Problem]]:
    """Return the track, or the piece of one, that a batch of foreign fixes is, and what is to be told of it.

    Parameters
    ----------
    columns, longitude, latitude, altitude, source, options
        As for ``read_foreign_points``.
    properties
        Foreign fields of the whole track; sortie and aircraft are taken from them.
    name, number, segment
        As in ``Track``.

    Raises
    ------
    OptionError
        When an option or the column mapping is not usable.
    """
    given_altitude = altitude is not None and bool(has_value(altitude).any())
    targets = FIX_TARGETS - {"altitude"} if given_altitude else FIX_TARGETS
    taken = take_columns(columns, targets, source=source, options=options)
    whole, rest = _take_properties(properties, ("sortie", "aircraft") if name else ("name", "sortie", "aircraft"))
    for field in ("sortie", "aircraft"):
        values = taken.values.pop(field, None)
        if values is not None:
            taken.extra[taken.origins[field]] = columns[taken.origins[field]]
            whole.setdefault(field, _only_value(values))
    mapping = options.columns or ColumnMapping()
    for field, option in (("sortie", options.sortie), ("aircraft", options.aircraft), ("height_reference", "")):
        whole[field] = whole.get(field) or option or mapping.fixed.get(field, "")
    if given_altitude:
        taken.values["altitude"] = np.asarray(altitude)
    has_height = "height" in taken.values
    track = Track(
        name=name or whole.get("name", ""),
        sortie=whole["sortie"],
        aircraft=whole["aircraft"],
        height_reference=taken.height_reference or (whole["height_reference"] if has_height else ""),
        number=number,
        longitude=longitude,
        latitude=latitude,
        segment=np.zeros(len(source), dtype=np.int64) if segment is None else segment,
        **{column: values for column, values in taken.values.items() if column in Track.column_names()},
        properties=rest,
        extra=taken.extra,
        source=source,
    )
    return track, taken.problems


def _tell_places(
    taken: TakenColumns, source: Sources, options: ReadOptions, words: TextColumn | None
) -> NDArray[np.bool_]:
    length = len(source)
    points_as = options.points_as or (options.columns.points_as if options.columns else "")
    if points_as not in _POINTS_AS:
        raise OptionError(
            f"{points_as!r} is nothing that points can be", field="--points-as", remedy="Give detections or places."
        )
    if points_as:
        return np.full(length, points_as == "places")
    told = tell_markers(taken.values, length=length, words=words)
    untold = np.flatnonzero(told == UNTOLD)
    if len(untold):
        taken.problems.append(_tell_untold(source, untold))
    return np.asarray(told == PLACE)


def _tell_untold(source: Sources, rows: NDArray[np.int64]) -> Problem:
    place = source[int(rows[0])]
    return Problem.at(
        place,
        "nothing tells whether the marker is a hotspot or a place; it is taken as a hotspot",
        severity="note",
        remedy="State it with --points-as places or --points-as detections.",
        count=len(rows),
    )


def _enter_fixed(taken: TakenColumns, length: int, options: ReadOptions) -> None:
    """Enter sortie and aircraft where the rows name none."""
    mapping = options.columns or ColumnMapping()
    for column, option in (("sortie", options.sortie), ("aircraft", options.aircraft)):
        fixed = option or mapping.fixed.get(column, "")
        if fixed:
            given = taken.values.get(column, np.full(length, "", dtype=object))
            taken.values[column] = np.where(given == "", fixed, given)


def _build(
    kind: type[PointTable],
    taken: TakenColumns,
    columns: Mapping[str, ForeignColumn],
    source: Sources,
    rows: NDArray[np.bool_],
) -> Any:
    """Return the table of the chosen rows; what it declares no column for stays a foreign field as it came."""
    if not rows.any():
        return kind()
    declared = set(kind.column_names())
    own = {name: column for name, column in taken.values.items() if name in declared}
    raw = {origin: columns[origin] for name, origin in taken.origins.items() if name not in declared}
    table = kind(**own, extra={**taken.extra, **raw}, source=source)
    return table if rows.all() else table.take(rows)


def _take_properties(properties: Mapping[str, Any], wanted: tuple[str, ...]) -> tuple[dict[str, str], dict[str, Any]]:
    """Return the wanted fields of a track that its properties name by a plain word, and the rest."""
    taken: dict[str, str] = {}
    rest: dict[str, Any] = {}
    for name, value in properties.items():
        header = read_header(name)
        target = header.target if header else ""
        if target in wanted and target not in taken and isinstance(value, (str, int)):
            taken[target] = to_text(value)
        else:
            rest[name] = value
    return taken, rest


def _only_value(values: TextColumn) -> str:
    distinct = set(values.tolist()) - {""}
    return distinct.pop() if len(distinct) == 1 else ""

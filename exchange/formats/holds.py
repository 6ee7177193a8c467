"""What a format can hold of the model, so that what it cannot is counted and told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Literal

import numpy as np

from exchange.formats.values import to_text, to_texts
from exchange.model import Packet, Perimeter, PointTable, Problem, Track
from exchange.model.columns import has_any_value, has_value

ExtraKind = Literal["typed", "text", "none"]


@dataclass(frozen=True, kw_only=True)
class Held:
    """What a format keeps of one kind of thing.

    Attributes
    ----------
    loses
        Columns and fields of the model that have no lawful place in the format.
    extra
        Whether foreign fields are kept with their type, as text, or not at all.
    needs_position
        Whether a row without a position cannot be written.
    """

    loses: frozenset[str] = frozenset()
    extra: ExtraKind = "typed"
    needs_position: bool = False


EVERYTHING = Held()


@dataclass(frozen=True, kw_only=True)
class Holds:
    """What a format can hold: for each kind of thing a ``Held``, or ``None`` for not at all."""

    tracks: Held | None = None
    perimeters: Held | None = None
    detections: Held | None = None
    notes: Held | None = None
    places: Held | None = None
    incident: bool = True
    attachments: bool = False

    def limit(self, packet: Packet) -> tuple[Packet, tuple[Problem, ...]]:
        """Return what the format can hold of ``packet``, and what it cannot, counted."""
        losses: list[Problem] = []
        tables = {
            name: _limit_table(getattr(packet, name), getattr(self, name), name, losses)
            for name in ("detections", "notes", "places")
        }
        limited = packet.replace(
            **tables,
            tracks=_limit_tracks(packet.tracks, self.tracks, losses),
            perimeters=_limit_perimeters(packet.perimeters, self.perimeters, losses),
            incident=packet.incident if self.incident else _lose_incident(packet, losses),
            attachments=packet.attachments if self.attachments else _lose_attachments(packet, losses),
            problems=(),
        )
        return limited, tuple(losses)

    def describe(self) -> dict[str, str]:
        """Return for each kind of thing whether it is held ``wholly``, ``partly`` or ``not``."""
        kinds = ("tracks", "perimeters", "detections", "notes", "places")
        return {kind: _describe_held(getattr(self, kind)) for kind in kinds}


def _describe_held(held: Held | None) -> str:
    if held is None:
        return "not"
    return "wholly" if held == EVERYTHING else "partly"


def _loss(message: str, count: int, *, field: str = "") -> Problem:
    return Problem(message=message, severity="skipped", field=field, count=count)


def _lose_incident(packet: Packet, losses: list[Problem]) -> str:
    if packet.incident:
        losses.append(_loss("the format has no place for the incident's name", 1))
    return ""


def _lose_attachments(packet: Packet, losses: list[Problem]) -> Mapping[str, bytes]:
    if packet.attachments:
        losses.append(_loss("the format has no place for attached files", len(packet.attachments)))
    return {}


def _limit_table(table: PointTable, held: Held | None, kind: str, losses: list[Problem]) -> PointTable:
    if held is None:
        if len(table):
            losses.append(_loss(f"the format has no place for {kind}", len(table)))
        return type(table)()
    if held == EVERYTHING:
        return table
    if held.needs_position and not (placed := table.has_position()).all():
        losses.append(_loss(f"the format has no place for {kind} without a position", int((~placed).sum())))
        table = table.take(placed)
    return _limit_columns(table, held, kind, losses)


def _limit_columns(table: PointTable, held: Held, kind: str, losses: list[Problem]) -> PointTable:
    emptied: dict[str, Any] = {}
    for name in sorted(held.loses & set(table.column_names())):
        column = getattr(table, name)
        if has_any_value(column) and (column.dtype.kind != "i" or column.any()):
            losses.append(_loss(f"the format has no place for this column of {kind}", _count(column), field=name))
        emptied[name] = None
    extra = _limit_extra(table.extra, held.extra, kind, losses)
    return table.replace(**emptied, extra=extra)


def _count(column: Any) -> int:
    return int(np.count_nonzero(column)) if column.dtype.kind == "i" else int(has_value(column).sum())


def _limit_extra(extra: Mapping[str, Any], kept: ExtraKind, kind: str, losses: list[Problem]) -> Any:
    if kept == "typed":
        return extra
    if kept == "none":
        for name, values in extra.items():
            losses.append(
                _loss(f"the format has no place for this foreign field of {kind}", _count(values), field=name)
            )
        return {}
    return {name: to_texts(values) for name, values in extra.items()}


def _limit_tracks(tracks: tuple[Track, ...], held: Held | None, losses: list[Problem]) -> tuple[Track, ...]:
    if held is None:
        if tracks:
            losses.append(_loss("the format has no place for tracks", len(tracks)))
        return ()
    return tuple(_limit_track(track, held, losses) for track in tracks)


def _limit_track(track: Track, held: Held, losses: list[Problem]) -> Track:
    limited = _limit_table(track, held, "tracks", losses)
    assert isinstance(limited, Track)  # noqa: S101  # _limit_table keeps the kind of table
    scalars = {}
    for name in sorted(held.loses & {"name", "sortie", "aircraft", "height_reference"}):
        if getattr(limited, name):
            losses.append(_loss("the format has no place for this field of tracks", 1, field=name))
        scalars[name] = ""
    properties = _limit_fields(limited.properties, held.extra, "tracks", losses)
    return limited.replace(**scalars, properties=properties)


def _limit_fields(values: Mapping[str, Any], kept: ExtraKind, kind: str, losses: list[Problem]) -> dict[str, Any]:
    if kept == "typed":
        return dict(values)
    if kept == "text":
        return {name: to_text(value) for name, value in values.items()}
    losses += [_loss(f"the format has no place for this foreign field of {kind}", 1, field=name) for name in values]
    return {}


def _limit_perimeters(
    perimeters: tuple[Perimeter, ...], held: Held | None, losses: list[Problem]
) -> tuple[Perimeter, ...]:
    if held is None:
        if perimeters:
            losses.append(_loss("the format has no place for perimeters", len(perimeters)))
        return ()
    return tuple(_limit_perimeter(perimeter, held, losses) for perimeter in perimeters)


def _limit_perimeter(perimeter: Perimeter, held: Held, losses: list[Problem]) -> Perimeter:
    defaults = {f.name: f.default for f in fields(Perimeter) if f.name in held.loses}
    defaults = {name: {} if name == "quality" else value for name, value in defaults.items()}
    for name, default in sorted(defaults.items()):
        if perimeter.replace(**{name: default}) != perimeter:
            losses.append(_loss("the format has no place for this field of perimeters", 1, field=name))
    extra = _limit_fields(perimeter.extra, held.extra, "perimeters", losses)
    return perimeter.replace(**defaults, extra=extra)

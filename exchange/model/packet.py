"""One reader's or one merge's worth of everything."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from dataclasses import replace as replace_fields
from typing import Any

from exchange.model.detections import Detections
from exchange.model.notes import StatusNotes
from exchange.model.perimeter import Perimeter
from exchange.model.places import Places
from exchange.model.problem import Problem, gather_problems
from exchange.model.source import Source
from exchange.model.track import Track


@dataclass(frozen=True, eq=False, kw_only=True)
class Packet:
    """Carry what one file, or several, held.

    Attributes
    ----------
    incident
        The fire's name, or empty.
    tracks, perimeters, detections, notes, places
        What the trade exchanges.
    attachments
        Files carried along by name (``icons/hot.png``), such as the icons of an archive.
    problems
        What could not be taken, was changed or was assumed.
    """

    incident: str = ""
    tracks: tuple[Track, ...] = ()
    perimeters: tuple[Perimeter, ...] = ()
    detections: Detections = field(default_factory=Detections)
    notes: StatusNotes = field(default_factory=StatusNotes)
    places: Places = field(default_factory=Places)
    attachments: Mapping[str, bytes] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()

    def __post_init__(self) -> None:
        """Make the sequences immutable."""
        object.__setattr__(self, "tracks", tuple(self.tracks))
        object.__setattr__(self, "perimeters", tuple(self.perimeters))
        object.__setattr__(self, "problems", gather_problems(self.problems))

    @classmethod
    def join(cls, packets: Iterable[Packet]) -> Packet:
        """Return all of several packets in one; consecutive pieces of one track become one track."""
        parts = list(packets)
        attachments = {name: data for part in reversed(parts) for name, data in part.attachments.items()}
        return cls(
            incident=next((part.incident for part in parts if part.incident), ""),
            tracks=_join_tracks(track for part in parts for track in part.tracks),
            perimeters=tuple(perimeter for part in parts for perimeter in part.perimeters),
            detections=Detections.join([p.detections for p in parts if len(p.detections)]),
            notes=StatusNotes.join([p.notes for p in parts if len(p.notes)]),
            places=Places.join([p.places for p in parts if len(p.places)]),
            attachments=attachments,
            problems=tuple(problem for part in parts for problem in part.problems),
        )

    def replace(self, **changes: Any) -> Packet:
        """Return a copy with some fields replaced."""
        return replace_fields(self, **changes)

    def with_source_columns(self) -> Packet:
        """Return a copy in which every row of the point tables carries its file, layer and record as foreign columns.

        A track and a perimeter carry the file and layer they came from.
        """
        tables = {name: getattr(self, name).with_source_columns() for name in ("detections", "notes", "places")}
        return self.replace(
            **tables,
            tracks=tuple(track.replace(properties=_add_origin(track.properties, track)) for track in self.tracks),
            perimeters=tuple(p.replace(extra={**p.extra, **_name_origin(p.source)}) for p in self.perimeters),
        )

    def counts(self) -> dict[str, int]:
        """Return how many of each thing the packet holds."""
        return {
            "tracks": len(self.tracks),
            "fixes": sum(map(len, self.tracks)),
            "perimeters": len(self.perimeters),
            "detections": len(self.detections),
            "notes": len(self.notes),
            "places": len(self.places),
        }

    def differences(self, other: Packet) -> list[str]:
        """Tell in words where two packets differ; sources and problems do not count."""
        found = [] if self.incident == other.incident else [f"incident: {self.incident!r} is not {other.incident!r}"]
        for name in ("detections", "notes", "places"):
            found += [f"{name}: {text}" for text in getattr(self, name).differences(getattr(other, name))]
        for name in ("tracks", "perimeters"):
            mine, theirs = getattr(self, name), getattr(other, name)
            if len(mine) != len(theirs):
                found.append(f"{name}: {len(mine)} are not {len(theirs)}")
                continue
            for index, (first, second) in enumerate(zip(mine, theirs, strict=True)):
                found += [f"{name}[{index}]: {text}" for text in first.differences(second)]
        if self.attachments != other.attachments:
            found.append("attachments differ")
        return found

    def __eq__(self, other: object) -> bool:
        """Compare all that the packets hold; sources and problems do not count."""
        if not isinstance(other, Packet):
            return NotImplemented
        return not self.differences(other)

    __hash__ = None  # type: ignore[assignment]  # compared by value

    def __repr__(self) -> str:
        """Return what is in it, in numbers."""
        held = ", ".join(f"{count} {name}" for name, count in self.counts().items() if count)
        return f"Packet({held or 'empty'})"

    @property
    def __geo_interface__(self) -> dict[str, Any]:
        """Everything with a place as one GeoJSON-like feature collection."""
        features = [perimeter.__geo_interface__ for perimeter in self.perimeters]
        features += [track.__geo_interface__ for track in self.tracks]
        for table in (self.detections, self.notes, self.places):
            features += table.__geo_interface__["features"]
        return {"type": "FeatureCollection", "features": features}


def _name_origin(source: Source) -> dict[str, Any]:
    named = {"source_file": source.file, "source_layer": source.layer, "source_record": source.record}
    return {name: value for name, value in named.items() if value}


def _add_origin(properties: Mapping[str, Any], track: Track) -> dict[str, Any]:
    origin = replace_fields(track.source[0], record=track.number) if len(track) else Source()
    return {**properties, **_name_origin(origin)}


def _join_tracks(pieces: Iterable[Track]) -> tuple[Track, ...]:
    runs: list[list[Track]] = []
    for piece in pieces:
        if runs and runs[-1][-1].is_continued_by(piece):
            runs[-1].append(piece)
        else:
            runs.append([piece])
    return tuple(Track.join(run) for run in runs)

"""Lines and tracks of strangers become tracks of the model."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.columns.header import read_header
from exchange.formats.foreign import read_foreign_fixes
from exchange.formats.options import ReadOptions
from exchange.formats.positions import POSITION_TEXT
from exchange.model import Problem, Sources, Track
from exchange.model.columns import ForeignColumn, join_foreign_columns
from exchange.model.problem import Severity
from exchange_kml import fixes
from exchange_kml.altitudes import IGNORED, SEA_FLOOR_COLUMN, Heights, split_heights
from exchange_kml.described import drop_suggestions
from exchange_kml.fields import read_array
from exchange_kml.fixes import TrackParts
from exchange_kml.geometry import Line
from exchange_kml.walker import Walker

FEWER_TIMES = "a track has fewer times than positions; the last fixes have none"
MORE_TIMES = "a track has more times than positions; the surplus is left out"
UNEQUAL = "a column beside a track is not as long as the track; it is left out"
UNEQUAL_ANGLES = "a track has not as many angles as positions; the angles are left out"
NO_ZONE = "the time carries no zone; kept in time_text"
NO_TIME = "is no time that can be read; kept in time_text"


class _Told(list[Problem]):
    """Problems of one track."""

    def __init__(self, source: Sources) -> None:
        super().__init__()
        self.place = source[0]

    def tell(
        self, message: str, *, severity: Severity, count: int = 1, field: str = "", value: str = "", remedy: str = ""
    ) -> None:
        self.append(
            Problem.at(self.place, message, severity=severity, remedy=remedy, field=field, value=value, count=count)
        )


def read_line_track(
    lines: list[Line], fields: dict[str, Any], source: Sources, number: int, options: ReadOptions
) -> tuple[Track, list[Problem]]:
    """Return the lines of one placemark as one track without times, a segment a line.

    Raises
    ------
    OptionError
        When an option is not usable.
    """
    told = _Told(source)
    positions = np.concatenate([line.positions for line in lines])
    modes = np.repeat(
        np.array([line.altitude_mode for line in lines], dtype=object), [len(line.positions) for line in lines]
    )
    heights = split_heights(positions[:, 2], modes)
    segment = np.repeat(np.arange(len(lines)), [len(line.positions) for line in lines])
    return _build(positions, heights, {}, fields, segment, source, number, options, told), told


def read_streamed_track(
    parts: list[TrackParts], fields: dict[str, Any], source: Sources, number: int, options: ReadOptions, walker: Walker
) -> tuple[Track, list[Problem]]:
    """Return the tracks of one placemark as one, a segment each, with their times, angles and columns.

    Raises
    ------
    OptionError
        When an option is not usable.
    """
    told = _Told(source)
    positions = [part.positions.finish() for part in parts]
    lengths = [len(piece) for piece in positions]
    texts = _join_texts([part.positions.texts for part in parts], lengths)
    modes = np.repeat(np.array([part.altitude_mode for part in parts], dtype=object), lengths)
    together = np.concatenate(positions)
    columns = _read_arrays(parts, lengths, walker, told)
    time_column = np.concatenate([_fit_times(part, length, told) for part, length in zip(parts, lengths, strict=True)])
    angles = [_fit_angles(part, length, told) for part, length in zip(parts, lengths, strict=True)]
    _tell_coords(parts, told)
    columns = _free_names(columns, {"time", "heading"} if any(a is not None for a in angles) else {"time"})
    if texts is not None:
        columns[POSITION_TEXT] = texts
    time_texts = _join_texts([part.times.texts for part in parts], lengths)
    if time_texts is not None:
        columns["time_text"] = time_texts
    segment = np.repeat(np.arange(len(parts)), lengths)
    heights = split_heights(together[:, 2], modes)
    track = _build(together, heights, columns, fields, segment, source, number, options, told)
    return _add_angles(track, angles, lengths).replace(time=time_column), told


def _build(
    positions: NDArray[np.float64],
    heights: Heights,
    columns: dict[str, ForeignColumn],
    fields: dict[str, Any],
    segment: NDArray[np.int64],
    source: Sources,
    number: int,
    options: ReadOptions,
    told: _Told,
) -> Track:
    if heights.assumed:
        told.tell(IGNORED, severity="note", count=heights.assumed)
    if not np.isnan(heights.sea_floor).all():
        columns[SEA_FLOOR_COLUMN] = heights.sea_floor
    properties = {name: value for name, value in fields.items() if name != "name"}
    track, problems = read_foreign_fixes(
        columns,
        longitude=positions[:, 0],
        latitude=positions[:, 1],
        altitude=heights.altitude,
        source=source.take(np.zeros(len(positions), dtype=np.int64)),
        options=options,
        properties=properties,
        name=str(fields.get("name", "")),
        number=number,
        segment=segment,
    )
    told += drop_suggestions(problems)
    has_height = bool((~np.isnan(heights.ground)).any())
    return track.replace(height=heights.ground, height_reference="ground") if has_height else track


def _fit_times(part: TrackParts, length: int, told: _Told) -> Any:
    time = part.times.finish()
    if part.times.without_zone:
        remedy = "State the zone with --assume-tz, such as --assume-tz America/Boise."
        told.tell(
            NO_ZONE,
            severity="skipped",
            count=part.times.without_zone,
            field="when",
            remedy=remedy,
            value=next(iter(part.times.texts.values())),
        )
    if part.times.unreadable:
        told.tell(
            NO_TIME,
            severity="skipped",
            count=part.times.unreadable,
            field="when",
            remedy="Mend the value in the file.",
            value=next(iter(part.times.texts.values())),
        )
    if 0 < len(time) < length:
        told.tell(FEWER_TIMES, severity="note", count=length - len(time), field="when")
    if len(time) > length:
        told.tell(MORE_TIMES, severity="skipped", count=len(time) - length, field="when", remedy="Ask the sender.")
    missing = np.full(max(length - len(time), 0), "NaT", dtype="datetime64[ms]")
    return np.concatenate([time[:length], missing])


def _fit_angles(part: TrackParts, length: int, told: _Told) -> NDArray[np.float64] | None:
    if not len(part.angles):
        return None
    angles = part.angles.finish()
    if len(angles) != length:
        told.tell(UNEQUAL_ANGLES, severity="skipped", count=len(angles), field="angles", remedy="Ask the sender.")
        return None
    return angles


def _add_angles(track: Track, angles: list[NDArray[np.float64] | None], lengths: list[int]) -> Track:
    if all(piece is None for piece in angles):
        return track
    filled = [np.full((n, 3), np.nan) if piece is None else piece for piece, n in zip(angles, lengths, strict=True)]
    heading, tilt, roll = np.concatenate(filled).T
    return track.replace(heading=heading, extra={**track.extra, "tilt": tilt, "roll": roll})


def _read_arrays(parts: list[TrackParts], lengths: list[int], walker: Walker, told: _Told) -> dict[str, ForeignColumn]:
    names = dict.fromkeys(key for part in parts for key in part.arrays)
    columns: dict[str, ForeignColumn] = {}
    for url, name in names:
        pieces: list[tuple[ForeignColumn | None, int]] = []
        for part, length in zip(parts, lengths, strict=True):
            texts = part.arrays.get((url, name))
            if texts is not None and len(texts) != length:
                told.tell(UNEQUAL, severity="skipped", count=len(texts), field=name, remedy="Ask the sender.")
                texts = None
            pieces.append((None if texts is None else read_array(texts, walker.schemas.type_of(url, name)), length))
        if any(column is not None for column, _ in pieces):
            columns[name if name not in columns else f"{name} (2)"] = join_foreign_columns(pieces)
    return columns


def _free_names(columns: dict[str, ForeignColumn], claimed: set[str]) -> dict[str, ForeignColumn]:
    """Return columns under names that do not claim what the track's own elements say already."""
    same = {"date": "time", "epoch": "time"}
    targets = {name: header.target if (header := read_header(name)) else "" for name in columns}
    return {
        f"{name} (data)" if same.get(targets[name], targets[name]) in claimed else name: column
        for name, column in columns.items()
    }


def _join_texts(parts: list[dict[int, str]], lengths: list[int]) -> ForeignColumn | None:
    if not any(parts):
        return None
    texts = np.full(sum(lengths), "", dtype=object)
    start = 0
    for part, length in zip(parts, lengths, strict=True):
        for row, text in part.items():
            if row < length:
                texts[start + row] = text
        start += length
    return texts


def _tell_coords(parts: list[TrackParts], told: _Told) -> None:
    broken = sum(part.positions.broken for part in parts)
    if broken:
        first = next(text for part in parts for text in part.positions.texts.values())
        told.tell(
            fixes.BROKEN_COORD,
            severity="skipped",
            count=broken,
            field="coord",
            value=first,
            remedy="Mend it in the file, or ask its sender for a correct one.",
        )
    exponents = sum(part.positions.exponents for part in parts)
    if exponents:
        told.tell(fixes.EXPONENT_COORD, severity="note", count=exponents, field="coord")

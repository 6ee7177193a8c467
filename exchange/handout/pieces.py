"""What is told of each spot, as short texts: one column a field, empty where nothing is known.

On a small device a few letters must do, so every text has a terse form. None of them has a status word but the
status itself: what comes back from the field is searched for those.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from exchange.geo.edge import EdgeDistance
from exchange.geo.units import convert
from exchange.handout.letters import Letters
from exchange.handout.written_positions import write_positions
from exchange.model import Detections

Texts = NDArray[np.object_]
Floats = NDArray[np.float64]
Units = Literal["metric", "us"]

LAST_TEMPERATURE = "temperature_last"
"""Foreign column of a merged list: the latest temperature, degrees Celsius."""

_MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")


@dataclass(frozen=True, kw_only=True)
class Wording:
    """How the texts are written.

    Attributes
    ----------
    units
        ``metric``: metres and degrees Celsius; ``us``: feet and degrees Fahrenheit.
    is_terse
        Whether few letters must do.
    letters
        Which letters the device has; the marks of degrees are left out where it has none.
    forms
        How positions are written.
    resolution_m
        Of the positions; ``None`` by their accuracy.
    """

    units: Units = "metric"
    is_terse: bool = False
    letters: Letters = field(default_factory=Letters)
    forms: tuple[Literal["DD", "DDM", "DMS", "UTM", "USNG", "MGRS"], ...] = ()
    resolution_m: float | None = None


def write_pieces(
    spots: Detections, name: str, wording: Wording, *, names: Texts, edge: EdgeDistance | None
) -> list[Texts]:
    """Return the texts of one field of every spot, most important first.

    Parameters
    ----------
    spots
        The spots, ``id`` the numbers.
    name
        One of ``exchange.handout.profile.FIELDS``.
    wording
        How it is written.
    names
        The short names; the number is told only where it is another.
    edge
        How far from the edge of the perimeter they are; ``None`` without a perimeter.
    """
    if name == "position":
        return [_write_positions(spots, form, wording) for form in wording.forms]
    if name == "number":
        return [np.where(spots.id == names, "", spots.id)]
    if name == "edge":
        return _write_edge(edge, wording) if edge is not None else []
    if name == "note":
        return [_write_note(spots, names)]
    return [_WRITERS[name](spots, wording)]


def read_last_temperature(spots: Detections) -> Floats:
    """Return the latest temperature of each spot of a merged list; NaN where the list tells none."""
    column = spots.extra.get(LAST_TEMPERATURE)
    if column is None or column.dtype.kind not in "fi":
        return np.full(len(spots), np.nan)
    return np.asarray(column, np.float64)


def _write_status(spots: Detections, wording: Wording) -> Texts:
    return spots.status


def _write_temperature(spots: Detections, wording: Wording) -> Texts:
    highest, last = spots.temperature, read_last_temperature(spots)
    unit = "C" if wording.units == "metric" else "F"
    if unit == "F":
        highest, last = convert(highest, "degC", "degF"), convert(last, "degC", "degF")
    highest_text = _write_whole(highest, (lambda n: f"{n}{unit}") if wording.is_terse else lambda n: f"{n} {unit}")
    has_other = np.isfinite(last) & (np.rint(last) != np.rint(highest))
    last_text = _write_whole(np.where(has_other, last, np.nan), lambda n: f"{n}{unit}" if wording.is_terse else f"{n}")
    if wording.is_terse:
        return _join(highest_text, "/", last_text)
    return _join(_wrap("highest ", highest_text), ", last ", _wrap("", last_text, f" {unit}"))


def _write_seen(spots: Detections, wording: Wording) -> Texts:
    seen = np.where(np.isnat(spots.last_seen), spots.time, spots.last_seen)
    write = _write_terse_time if wording.is_terse else _write_time
    return _write_unique(seen.astype("datetime64[m]"), write)


def _write_edge(edge: EdgeDistance, wording: Wording) -> list[Texts]:
    distance = edge.distance_m if wording.units == "metric" else convert(edge.distance_m, "m", "ft")
    unit = "m" if wording.units == "metric" else "ft"
    bearing = np.where(np.isfinite(edge.distance_m), np.rint(edge.azimuth_degrees) % 360, np.nan)
    if wording.is_terse:
        side = np.where(edge.is_inside, " IN", " BEYOND").astype(object)
        away = _write_whole(distance, lambda n: f"{n}{unit.upper()}")
        return [_keep_where(away, away + side), _write_whole(bearing, lambda n: f"EDGE {n:03d}T")]
    side = np.where(edge.is_inside, "inside the edge by ", "beyond the edge by ").astype(object)
    away = _write_whole(distance, lambda n: f"{n} {unit}")
    return [_keep_where(away, side + away + _write_whole(bearing, lambda n: f", edge bears {n:03d} true"))]


def _write_positions(spots: Detections, form: Literal["DD", "DDM", "DMS", "UTM", "USNG", "MGRS"], w: Wording) -> Texts:
    with_marks = w.letters.allow_letters("\u00b0'\"")
    return write_positions(
        spots.longitude, spots.latitude, spots.accuracy, form, resolution_m=w.resolution_m, with_marks=with_marks
    )


def _write_accuracy(spots: Detections, wording: Wording) -> Texts:
    unit = "m" if wording.units == "metric" else "ft"
    radius = spots.accuracy if unit == "m" else convert(spots.accuracy, "m", "ft")
    # Never better than it is: rounded up.
    whole = np.ceil(radius)
    return _write_whole(whole, lambda n: f"+-{n}{unit.upper()}" if wording.is_terse else f"good to {n} {unit}")


def _write_by(spots: Detections, wording: Wording) -> Texts:
    seen_by = spots.extra.get("seen_by")
    by = spots.sortie if seen_by is None or seen_by.dtype.kind != "O" else seen_by
    texts = np.array([text if isinstance(text, str) else "" for text in by], dtype=object)
    texts = np.where(texts == "", np.where(spots.sortie == "", spots.aircraft, spots.sortie), texts)
    return _wrap("BY " if wording.is_terse else "seen by ", texts)


def _write_altitude(spots: Detections, wording: Wording) -> Texts:
    unit = "m" if wording.units == "metric" else "ft"
    height = spots.altitude if unit == "m" else convert(spots.altitude, "m", "ft")
    return _write_whole(height, lambda n: f"ALT {n}{unit.upper()}" if wording.is_terse else f"altitude {n} {unit}")


def _write_note(spots: Detections, names: Texts) -> Texts:
    name = np.where((spots.name == spots.id) | (spots.name == names), "", spots.name)
    return _join(name, ": ", spots.note)


_WRITERS: dict[str, Callable[[Detections, Wording], Texts]] = {
    "status": _write_status,
    "temperature": _write_temperature,
    "seen": _write_seen,
    "accuracy": _write_accuracy,
    "by": _write_by,
    "altitude": _write_altitude,
}


def _write_time(minute: np.datetime64) -> str:
    return "" if np.isnat(minute) else f"seen {str(minute).replace('T', ' ')}Z"


def _write_terse_time(minute: np.datetime64) -> str:
    if np.isnat(minute):
        return ""
    text = str(minute)
    return f"{text[8:10]}{_MONTHS[int(text[5:7]) - 1]}{text[11:13]}{text[14:16]}Z"


def _write_whole(values: Floats, write: Callable[[int], str]) -> Texts:
    """Return each finite number rounded to a whole one and written."""
    return _write_unique(np.rint(values), lambda value: write(int(value)) if np.isfinite(value) else "")


def _write_unique(values: NDArray[np.generic], write: Callable[..., str]) -> Texts:
    """Return each value written; what comes often is written once."""
    distinct, rows = np.unique(values, return_inverse=True)
    texts = np.fromiter((write(value) for value in distinct), dtype=object, count=len(distinct))
    return np.asarray(texts[rows], dtype=object)


def _wrap(before: str, texts: Texts, after: str = "") -> Texts:
    return _keep_where(texts, before + texts + after)


def _join(first: Texts, between: str, second: Texts) -> Texts:
    """Return two texts with something between them, or the one there is."""
    both = (first != "") & (second != "")
    return np.asarray(first + np.where(both, between, "").astype(object) + second, dtype=object)


def _keep_where(given: Texts, texts: Texts) -> Texts:
    return np.where(given == "", "", texts)

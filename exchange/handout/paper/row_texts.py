"""What stands in each row of the sheet, as text."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from exchange.geo.coordinates import format_positions
from exchange.geo.edge import measure_to_edge
from exchange.geo.units import convert
from exchange.handout.paper.geo_codes import format_geo_uri

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.geo.coordinates.formatting import OutputForm
    from exchange.handout.paper.sheet_options import SheetOptions
    from exchange.model.detections import Detections

LAST_TEMPERATURE = "temperature_last"
"""Foreign column of a merged list: the latest temperature, degrees Celsius."""

DATUM = "WGS 84"
UTM_LATITUDES = (-80.0, 84.0)
"""UTM and USNG end there (NGA.STND.0037; FGDC-STD-011-2001); outside, they are left blank."""


@dataclass(frozen=True)
class RowTexts:
    """Hold the texts of one spot; what is not known is empty."""

    number: str
    short_name: str
    positions: tuple[str, str]
    heat: tuple[str, str]
    status: str
    seen: str
    edge: str
    note: str
    longitude: float
    latitude: float
    geo_uri: str


def describe_rows(
    spots: Detections, short_names: Mapping[str, str], area: BaseGeometry | None, options: SheetOptions
) -> list[RowTexts]:
    """Return the texts of every spot, in order; a row without a number shows its name."""
    first, second = (_format(spots, form) for form in options.forms)
    highest = _format_temperatures(spots.temperature, options.temperature_unit)
    edges = _describe_edges(spots, area)
    last = _format_temperatures(_read_last(spots), options.temperature_unit)
    return [
        RowTexts(
            number=spots.id[row] or spots.name[row] or f"row {row + 1}",
            short_name=_differing(short_names.get(spots.id[row], ""), spots.id[row]),
            positions=(first[row], second[row]),
            heat=(highest[row] and f"highest {highest[row]}", last[row] and f"last {last[row]}"),
            status=spots.status[row] or "no status",
            seen=_describe_seen(spots, row),
            edge=edges[row],
            note=" · ".join(text for text in (_differing(spots.name[row], spots.id[row]), spots.note[row]) if text),
            longitude=float(spots.longitude[row]),
            latitude=float(spots.latitude[row]),
            geo_uri=_find_uri(spots, row),
        )
        for row in range(len(spots))
    ]


def _format(spots: Detections, form: OutputForm) -> list[str]:
    longitude, latitude = spots.longitude, spots.latitude
    if form in ("UTM", "USNG"):
        is_covered = (latitude >= UTM_LATITUDES[0]) & (latitude <= UTM_LATITUDES[1])
        longitude, latitude = np.where(is_covered, (longitude, latitude), np.nan)
    return [text and f"{text} ({form})" for text in format_positions(longitude, latitude, form).tolist()]


def _format_temperatures(celsius: np.ndarray, unit: str) -> list[str]:
    shown = convert(celsius, "degC", "degF") if unit == "F" else celsius
    return [f"{value:.0f} °{unit}" if math.isfinite(value) else "" for value in shown.tolist()]


def _read_last(spots: Detections) -> np.ndarray:
    column = spots.extra.get(LAST_TEMPERATURE)
    if column is None or column.dtype.kind not in "fi":
        return np.full(len(spots), np.nan)
    return np.asarray(column, np.float64)


def _describe_seen(spots: Detections, row: int) -> str:
    when = spots.last_seen[row] if not np.isnat(spots.last_seen[row]) else spots.time[row]
    words = [f"seen {np.datetime_as_string(when, 'm').replace('T', ' ')} UTC"] if not np.isnat(when) else []
    accuracy = float(spots.accuracy[row])
    words += [f"good to {accuracy:.0f} m" if accuracy >= 1.0 else "good to 1 m"] if math.isfinite(accuracy) else []
    return ", ".join(words)


def _describe_edges(spots: Detections, area: BaseGeometry | None) -> list[str]:
    """Return how far the nearest edge of the perimeter is, which way, and on which side of it the spot lies."""
    if area is None or area.is_empty:
        return [""] * len(spots)
    columns = (column.tolist() for column in measure_to_edge(spots.longitude, spots.latitude, area))
    return [_describe_edge(*values) for values in zip(*columns, strict=True)]


def _describe_edge(distance_m: float, azimuth_degrees: float, is_inside: bool) -> str:
    if not math.isfinite(distance_m):
        return ""
    # Rounding to 360 would name a bearing that a compass calls 0.
    bearing = round(azimuth_degrees) % 360
    return f"{'inside' if is_inside else 'outside'}, edge {distance_m:.0f} m at {bearing:03d}° true"


def _differing(text: str, number: str) -> str:
    return "" if text == number else text


def _find_uri(spots: Detections, row: int) -> str:
    longitude, latitude = float(spots.longitude[row]), float(spots.latitude[row])
    if not (math.isfinite(longitude) and math.isfinite(latitude)):
        return ""
    return format_geo_uri(longitude, latitude, float(spots.accuracy[row]))

"""Positions that are none are taken out of the columns, kept as text, and told; so are edges that leave the earth."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from exchange.model import Packet, Perimeter, PointTable, Problem

AnyPoints = TypeVar("AnyPoints", bound=PointTable)

POSITION_TEXT = "position_text"
"""The foreign field that keeps a refused position as it was read."""


def settle_positions(packet: Packet) -> Packet:
    """Return the packet with every position that is not on the earth made missing, kept as text and told.

    A perimeter whose edge leaves the earth is left out and told: crews would walk along what is left of it.
    """
    problems: list[Problem] = list(packet.problems)
    return packet.replace(
        detections=_settle(packet.detections, problems),
        notes=_settle(packet.notes, problems),
        places=_settle(packet.places, problems),
        tracks=tuple(_settle(track, problems) for track in packet.tracks),
        perimeters=tuple(perimeter for perimeter in packet.perimeters if _is_on_earth(perimeter, problems)),
        problems=tuple(problems),
    )


def _is_on_earth(perimeter: Perimeter, problems: list[Problem]) -> bool:
    import shapely

    positions = shapely.get_coordinates(perimeter.geometry)
    # An edge across the 180th meridian may go on beyond it until it is cut.
    off = ~np.isfinite(positions).all(axis=1) | (np.abs(positions) > (360, 90)).any(axis=1)
    if not off.any():
        return True
    longitude, latitude = positions[int(np.argmax(off))].tolist()
    problems.append(
        Problem.at(
            perimeter.source,
            "an edge leaves the earth; the polygon is left out",
            remedy="Mend it in the file, or ask its sender for a correct one; if the order is wrong, state --order.",
            field="geometry",
            value=f"longitude {longitude!r}, latitude {latitude!r}",
        )
    )
    return False


def _settle(table: AnyPoints, problems: list[Problem]) -> AnyPoints:
    longitude, latitude = table.longitude, table.latitude
    given = ~(np.isnan(longitude) & np.isnan(latitude))
    with np.errstate(invalid="ignore"):
        good = (np.abs(longitude) <= 180) & (np.abs(latitude) <= 90)
    refused = np.flatnonzero(given & ~good)
    if not len(refused):
        return table
    problems += [_tell(table, row) for row in refused[:1]]
    problems[-1] = _with_count(problems[-1], len(refused))
    kept = table.extra.get(POSITION_TEXT)
    texts = np.full(len(table), "", dtype=object) if kept is None else np.array(kept, dtype=object)
    for row in refused:
        texts[row] = texts[row] or f"{float(longitude[row])!r} {float(latitude[row])!r}"
    cleared = {"longitude": longitude.copy(), "latitude": latitude.copy()}
    for column in cleared.values():
        column[refused] = np.nan
    return table.replace(**cleared, extra={**table.extra, POSITION_TEXT: texts})


def _tell(table: PointTable, row: Any) -> Problem:
    longitude, latitude = float(table.longitude[row]), float(table.latitude[row])
    source = table.source[row]
    swapped = abs(longitude) <= 90 and 90 < abs(latitude) <= 180
    return Problem.at(
        source,
        "the position is not on the earth" + ("; latitude and longitude look swapped" if swapped else ""),
        remedy="State the order with --order lat-lon or lon-lat, or mend the file."
        if swapped
        else "Mend the position in the file; the record was kept without one.",
        field="position",
        value=f"longitude {longitude!r}, latitude {latitude!r}",
    )


def _with_count(problem: Problem, count: int) -> Problem:
    return replace(problem, count=count)

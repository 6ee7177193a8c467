"""The rows that take part, in one canonical order and in metres.

The order depends on what the rows say and never on the order of files or rows, so that every later step, down to
the last bit of a sum, comes out the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import ModelError
from exchange.geo.frame import LocalFrame
from exchange.merge.images import find_images
from exchange.merge.keys import code_texts, compute_keys, mix
from exchange.model.detections import Detections

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

_TEXTS = ("note", "name", "id", "status", "aircraft")
_NUMBERS = ("sightings", "last_seen", "first_seen", "confidence", "area", "altitude", "accuracy")

MOST_SIGHTINGS = 10_000
"""Shifts, accuracies and what temperatures tell are found from about so many; more are not worth the time."""

ENOUGH_OF_A_SORTIE = 250
CELL_M = 200.0

RADIUS_95 = float(np.sqrt(-2 * np.log(0.05)))
"""Radius that holds 95 in 100 of a round normal distribution, in standard deviations per axis: 2.4477
(the square root of the 95 % quantile of chi-square with 2 degrees of freedom, 5.991)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sightings:
    """Hold the sightings that take part, one row each, in canonical order.

    Attributes
    ----------
    row
        Row of the table given, of the first of those that say the same.
    of_row
        For each row of the table given its place here; -1 where it takes no part.
    local
        The frame of metres.
    east, north
        Metres.
    variance
        Per axis, square metres; NaN where the file states no accuracy.
    seconds
        Time since 1970; NaN without one.
    temperature
        Degrees Celsius; NaN without one.
    sortie
        Index into ``sortie_names``.
    image
        Sightings of one image share a code; they cannot be one spot. Negative where a sighting tells no image.
    key
        64 bits that stand for what the row says.
    sortie_names
        In the order of the alphabet.
    """

    row: Codes
    of_row: Codes
    local: LocalFrame
    east: Floats
    north: Floats
    variance: Floats
    seconds: Floats
    temperature: Floats
    sortie: Codes
    image: Codes
    key: NDArray[np.uint64]
    sortie_names: tuple[str, ...]

    def __len__(self) -> int:
        """Return how many take part."""
        return len(self.row)

    def take(self, rows: Codes) -> Sightings:
        """Return some of them, in their order; ``of_row`` is emptied."""
        names = ("row", "east", "north", "variance", "seconds", "temperature", "sortie", "image", "key")
        return replace(self, of_row=np.empty(0, np.int64), **{name: getattr(self, name)[rows] for name in names})


def order_sightings(
    table: Detections,
    *,
    accuracy_m: float = np.nan,
    one_image: NDArray[np.bool_] | None = None,
    left_out: NDArray[np.bool_] | None = None,
) -> Sightings:
    """Return the rows of a table that have a position, each content once, in canonical order.

    Parameters
    ----------
    table
        Sightings of any number of sorties; a sortie is told by its name, or the aircraft's where it has none.
    accuracy_m
        For rows that state none.
    one_image
        Rows that are known to be different spots, such as those of an earlier list.
    left_out
        Rows that take no part.

    Raises
    ------
    ModelError
        When an accuracy is not positive, or a position is not on the earth.
    """
    placed = np.flatnonzero(table.has_position() if left_out is None else table.has_position() & ~left_out)
    _check(table, placed)
    sortie, names = _code_sorties(table, placed)
    image, image_key = find_images(table, placed, sortie)
    if one_image is not None:
        image[one_image[placed]] = 0
    seconds = _to_seconds(table.time[placed])
    key = compute_keys(table, placed, names, sortie, image_key)
    order = _sort(table, placed, key)
    first = _mark_first(key[order], table.longitude[placed][order])
    chosen = order[first]
    of_row = np.full(len(table), -1, np.int64)
    of_row[placed[order]] = np.cumsum(first) - 1
    rows = placed[chosen]
    local = LocalFrame.around(table.longitude[rows], table.latitude[rows]) if len(rows) else LocalFrame(0.0, 0.0)
    east, north = local.to_metres(table.longitude[rows], table.latitude[rows])
    accuracy = np.where(np.isnan(table.accuracy[rows]), accuracy_m, table.accuracy[rows])
    return Sightings(
        row=rows,
        of_row=of_row,
        local=local,
        east=east,
        north=north,
        variance=(accuracy / RADIUS_95) ** 2,
        seconds=seconds[chosen],
        temperature=table.temperature[rows],
        sortie=sortie[chosen],
        image=image[chosen],
        key=key[chosen],
        sortie_names=names,
    )


def choose_sample(sightings: Sightings, *, enough: int = ENOUGH_OF_A_SORTIE) -> Codes:
    """Return all rows, or where they are many those of some cells, chosen by a lot that hangs on the place alone.

    A cell is taken with all that lies in it as soon as one sortie still needs it to be well told.

    Parameters
    ----------
    sightings
        All.
    enough
        So many of a sortie tell well.
    """
    count = len(sightings)
    enough = max(MOST_SIGHTINGS // max(len(sightings.sortie_names), 1), enough)
    if count <= MOST_SIGHTINGS:
        return np.arange(count)
    lot = _draw_lots(sightings)
    order = np.lexsort((lot, sightings.sortie))
    sortie, lot_in_order = sightings.sortie[order], lot[order]
    begin = np.searchsorted(sortie, sortie)
    before = np.arange(count) - begin
    is_new_cell = np.concatenate([[True], (np.diff(sortie) != 0) | (lot_in_order[1:] != lot_in_order[:-1])])
    before_cell = before[np.maximum.accumulate(np.where(is_new_cell, np.arange(count), 0))]
    return np.flatnonzero(np.isin(lot, lot_in_order[before_cell < enough]))


def choose_cells(sightings: Sightings) -> Codes:
    """Return all rows, or where they are many all that lie in some cells, which are chosen by the same lot."""
    if len(sightings) <= MOST_SIGHTINGS:
        return np.arange(len(sightings))
    lot = _draw_lots(sightings)
    return np.flatnonzero(lot <= np.partition(lot, MOST_SIGHTINGS)[MOST_SIGHTINGS])


def find_cells(east: Floats, north: Floats, side_m: float) -> Codes:
    """Return a code for the square cell of each place; different cells may only by rare chance share one."""
    column = np.floor(east / side_m).astype(np.int64).astype(np.uint64)
    line = np.floor(north / side_m).astype(np.int64).astype(np.uint64)
    return (mix(mix(column) ^ line) >> np.uint64(1)).astype(np.int64)


def split_by_sortie(sortie: Codes, count: int) -> list[Codes]:
    """Return the rows of each of ``count`` sorties, in order."""
    order = np.argsort(sortie, kind="stable")
    begins = np.searchsorted(sortie[order], np.arange(count + 1))
    return [order[begins[code] : begins[code + 1]] for code in range(count)]


def _draw_lots(sightings: Sightings) -> Codes:
    return find_cells(sightings.east, sightings.north, CELL_M)


def _check(table: Detections, placed: Codes) -> None:
    accuracy = table.accuracy[placed]
    wrong = placed[(accuracy <= 0) | np.isinf(accuracy)]
    if len(wrong):
        raise _name_row(table, int(wrong[0]), "accuracy", "is no accuracy", "Give metres above 0, or leave it empty.")
    longitude, latitude = table.longitude[placed], table.latitude[placed]
    wrong = placed[~((np.abs(longitude) <= 360) & (np.abs(latitude) <= 90))]
    if len(wrong):
        raise _name_row(table, int(wrong[0]), "latitude", "is not on the earth", "Correct the position.")


def _name_row(table: Detections, row: int, field: str, message: str, remedy: str) -> ModelError:
    place = table.source[row]
    return ModelError(
        f"{float(getattr(table, field)[row])!r} {message}",
        path=place.file or None,
        layer=place.layer or None,
        record=place.record or None,
        field=field,
        remedy=remedy,
    )


def _code_sorties(table: Detections, placed: Codes) -> tuple[Codes, tuple[str, ...]]:
    sortie, sorties = code_texts(table.sortie[placed])
    aircraft, names = code_texts(table.aircraft[placed])
    pairs, code = np.unique(sortie * len(names) + aircraft, return_inverse=True)
    told = [sorties[pair // len(names)] or names[pair % len(names)] for pair in pairs.tolist()]
    distinct = tuple(sorted(set(told)))
    place = {name: index for index, name in enumerate(distinct)}
    return np.array([place[name] for name in told], np.int64)[code], distinct


def _to_seconds(time: NDArray[np.datetime64]) -> Floats:
    return np.where(np.isnat(time), np.nan, time.astype(np.int64) / 1000)


def _sort(table: Detections, placed: Codes, key: NDArray[np.uint64]) -> Codes:
    """Return the order by longitude, and where that ties by all that the rows say, the more accurate first."""
    longitude = table.longitude[placed]
    order = np.argsort(longitude, kind="stable")
    sorted_longitude = longitude[order]
    tied = np.zeros(len(order), bool)
    same = sorted_longitude[1:] == sorted_longitude[:-1]
    tied[1:] |= same
    tied[:-1] |= same
    if tied.any():
        rows = order[tied]
        columns = (*_list_ties(table, placed[rows]), key[rows], table.latitude[placed[rows]], longitude[rows])
        order[tied] = rows[np.lexsort(columns)]
    return order


def _list_ties(table: Detections, rows: Codes) -> list[NDArray[Any]]:
    """Return the columns by which rows of one key are put in order, the last of them first."""
    texts = [np.unique(getattr(table, name)[rows], return_inverse=True)[1] for name in _TEXTS]
    numbers = [getattr(table, name)[rows] for name in _NUMBERS]
    return [*texts, *numbers]


def _mark_first(key: NDArray[np.uint64], longitude: Floats) -> NDArray[np.bool_]:
    first = np.ones(len(key), bool)
    first[1:] = (key[1:] != key[:-1]) | (longitude[1:] != longitude[:-1])
    return first

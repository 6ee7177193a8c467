"""The three orders of a hand-out, and how long each is to walk."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError
from exchange.geo.geodesy import path_length_m
from exchange.handout.order.walk import find_walk
from exchange.model.priority import rank_priority

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.model import Detections

OrderName = Literal["number", "priority", "walk"]
ORDERS: Final[tuple[OrderName, ...]] = get_args(OrderName)

_PARTS = re.compile(r"(\d+)")


@dataclass(frozen=True)
class Ordering:
    """An order of spots.

    Attributes
    ----------
    rows
        The rows of the list, in that order.
    length_m
        Metres of the straight ways from spot to spot, from the start on if one was given; no ground is looked at.
    length_by_number_m
        The same in the order of the numbers.
    """

    rows: NDArray[np.int64]
    length_m: float
    length_by_number_m: float


def order_spots(
    spots: Detections,
    order: OrderName = "number",
    *,
    area: BaseGeometry | None = None,
    start: tuple[float, float] | None = None,
) -> Ordering:
    """Return the order in which spots are to be handed out.

    Parameters
    ----------
    spots
        The list.
    order
        ``number``: H-002 before H-010. ``priority``: by the rule of ``exchange.model.priority``. ``walk``: a short
        way from the start through all of them, never longer than by number; spots without a position come last.
    area
        The perimeter, for the priority.
    start
        Longitude and latitude to set out from; the walk without one begins at the first number.

    Raises
    ------
    OptionError
        When there is no such order.
    """
    if order not in ORDERS:
        raise OptionError(f"{order!r} is no order", field="--order-by", remedy=f"Use one of: {', '.join(ORDERS)}.")
    by_number = sort_numbers(spots.id)
    if order == "priority":
        rows = np.argsort(rank_priority(spots, area), kind="stable")
    elif order == "walk":
        rows = find_walk(spots.longitude, spots.latitude, by_number, start)
    else:
        rows = by_number
    return Ordering(rows, _measure(spots, rows, start), _measure(spots, by_number, start))


def sort_numbers(numbers: Sequence[str] | NDArray[np.object_]) -> NDArray[np.int64]:
    """Return the rows in the order of their numbers, digits by their value: H-002, H-010, H-0100, K-001.

    Examples
    --------
    >>> sort_numbers(["H-1000", "K-001", "H-999"]).tolist()
    [2, 0, 1]
    """
    parts = [number.rpartition("-") for number in numbers]
    if all(tail.isdecimal() and tail.isascii() for _, _, tail in parts) and len({head for head, _, _ in parts}) == 1:
        return np.lexsort([np.array(numbers, np.str_), np.array([int(tail) for _, _, tail in parts], np.int64)])
    keys = [
        [(part.isdecimal(), int(part) if part.isdecimal() else 0, part) for part in _PARTS.split(number)]
        for number in numbers
    ]
    return np.array(sorted(range(len(keys)), key=keys.__getitem__), np.int64)


def _measure(spots: Detections, rows: NDArray[np.int64], start: tuple[float, float] | None) -> float:
    longitude, latitude = spots.longitude[rows], spots.latitude[rows]
    if start is not None:
        longitude, latitude = np.append(start[0], longitude), np.append(start[1], latitude)
    return path_length_m(longitude, latitude)

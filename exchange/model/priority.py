"""In what order spots want a person: one rule for the whole house, in ``rank_priority``."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from exchange.geo.edge import measure_to_edge
from exchange.model.status import HOT, NO_HEAT, OUT, RECHECK, UNCHECKED, WORKING

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.model.detections import Detections

STATUS_ORDER = (HOT, RECHECK, WORKING, UNCHECKED, NO_HEAT, OUT)
"""A spot without a status word, or with a foreign one, stands with ``unchecked``."""

EDGE_BANDS_M = (30.48, 91.44)
"""Depths from the edge that mop-up is often ordered to, 100 and 300 feet (common practice, from memory)."""


def rank_priority(spots: Detections, area: BaseGeometry | None = None) -> NDArray[np.int64]:
    """Return each spot's place in the order of work, from 1; no two spots share one.

    1. By status, in ``STATUS_ORDER``.
    2. By the edge: outside the area first, then inside it within 100 feet of the edge, within 300 feet, farther,
       and those without a position; without an area this step falls away.
    3. Hotter before cooler; without a temperature last.
    4. Seen more often before seen less.
    5. In the order of the list.

    It is an order to look through a list in, no order to act: the incident's command decides.

    Parameters
    ----------
    spots
        The list.
    area
        The perimeter, WGS 84 longitude and latitude in degrees.
    """
    keys = (-_or_least(spots.sightings), -_or_least(spots.temperature), _edge_band(spots, area), _status_place(spots))
    order = np.lexsort(keys)
    rank = np.empty(len(spots), np.int64)
    rank[order] = np.arange(1, len(spots) + 1)
    return rank


def _status_place(spots: Detections) -> NDArray[np.int64]:
    places = {word: place for place, word in enumerate(STATUS_ORDER)}
    unknown = places[UNCHECKED]
    return np.array([places.get(word, unknown) for word in spots.status], np.int64)


def _edge_band(spots: Detections, area: BaseGeometry | None) -> NDArray[np.int64]:
    if area is None or area.is_empty or not len(spots):
        return np.zeros(len(spots), np.int64)
    found = measure_to_edge(spots.longitude, spots.latitude, area)
    band = 1 + np.searchsorted(EDGE_BANDS_M, found.distance_m)
    band[np.isnan(found.distance_m)] = len(EDGE_BANDS_M) + 2
    band[~found.is_inside & np.isfinite(found.distance_m)] = 0
    return band


def _or_least(values: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(np.isfinite(values), values, -np.inf)

"""The list that somebody numbered by hand after the first period, and the places a surveyor measured."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from exchange.demo_fire.files_csv import to_csv
from exchange.demo_fire.files_geojson import point, to_collection, to_feature
from exchange.demo_fire.hot_spots import HotSpots
from exchange.demo_fire.scene import FIRE, FRAME, Floats, dice, in_utc
from exchange.demo_fire.sorties import Sightings

_SKIPPED_NUMBER = 17
_SURVEYED = 8


class NumberedSpot(NamedTuple):
    """Hold one line of a numbered list: the number, and where the list says the spot is, in degrees."""

    number: str
    longitude: float
    latitude: float


def number_by_hand(first: Sightings, second: Sightings) -> list[tuple[str, Sightings]]:
    """Return a number and the one sighting it was given for, north to south; number 17 was never used.

    The list takes each true spot's first sighting of the first sortie, or else of the second.
    """
    taken: dict[int, Sightings] = {}
    for sightings in (first, second):
        for row, spot in enumerate(sightings.spot.tolist()):
            if spot >= 0 and spot not in taken:
                taken[spot] = sightings.take(np.array([row]))
    ordered = sorted(taken.values(), key=lambda sighting: -float(sighting.y[0]))
    numbers = (number for number in range(1, len(ordered) + 2) if number != _SKIPPED_NUMBER)
    return [(f"H-{number:03d}", sighting) for number, sighting in zip(numbers, ordered, strict=False)]


def to_numbered_spots(numbered: list[tuple[str, Sightings]]) -> list[NumberedSpot]:
    """Return the numbers and places of a list."""
    spots = []
    for number, sighting in numbered:
        longitude, latitude = sighting.degrees()
        spots.append(NumberedSpot(number, float(longitude[0]), float(latitude[0])))
    return spots


def list_as_geojson(numbered: list[tuple[str, Sightings]]) -> bytes:
    """Return the list as features with the number as their id."""
    features = [
        to_feature(
            point(float(sighting.x[0]), float(sighting.y[0])),
            {
                "number": number,
                "status": "unchecked",
                "temperature_c": float(sighting.temperature_c[0]),
                "last seen": in_utc(sighting.seconds[0]),
                "sortie": sighting.sortie.name,
            },
            id_=number,
        )
        for number, sighting in numbered
    ]
    return to_collection(features, title=f"{FIRE}, list after the first period")


def control_as_csv(seed: int, spots: HotSpots) -> bytes:
    """Return surveyed places of some spots in decimal degrees, good to 0.1 m."""
    random = dice(seed, "control")
    chosen = np.sort(spots.worked[-_SURVEYED:])
    place: Floats = np.column_stack([spots.x, spots.y])[chosen] + random.normal(0.0, 0.05, (len(chosen), 2))
    longitude, latitude = FRAME.to_degrees(*place.T)
    rows = [
        (f"C{row}", f"{latitude[row - 1]:.8f}", f"{longitude[row - 1]:.8f}", "0.1", FIRE)
        for row in range(1, len(chosen) + 1)
    ]
    return to_csv([("name", "latitude", "longitude", "accuracy (m)", "fire"), *rows]).encode()

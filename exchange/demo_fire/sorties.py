"""What five sorties of three aircraft saw of the hot spots: shifted, noisy, with misses, repeats and false alarms."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np

from exchange.demo_fire.fire_edge import FireEdge, distances_to_ring_m
from exchange.demo_fire.hot_spots import HotSpots, air_c
from exchange.demo_fire.scene import FRAME, Floats, Truths, Whole, dice, seconds_at
from exchange.demo_fire.terrain import ground_m

FALSE_ALARM: Final = -1
HEAT_CLASSES: Final = ("Very hot", "Hot", "Warm")
_IMAGE_SECONDS: Final = 2.0
_LANE_M, _STEP_M = 60.0, 35.0
_HALF_ACROSS_M: Final = 42.0
_SEEN_TWICE: Final = 0.5
_NEAR_EDGE_M: Final = 90.0
_NEVER_MISSED_C: Final = 200.0
_FAINTEST_C: Final = 12.0


@dataclass(frozen=True, kw_only=True)
class Sortie:
    """State one flight over the fire and its errors.

    Attributes
    ----------
    name, aircraft, period
        What the files call it, who flew it, and in which operational period, counted from 1.
    begin
        Seconds of the fire's clock at the first image.
    shift_m, noise_m
        How far all its positions are off together, and the standard deviation of each on either axis.
    miss_share
        Of the spots it could have seen; spots above 200 °C are never missed.
    false_alarms
        How many sightings are none.
    west_m, south_m, east_m, north_m
        The rectangle of the fire's frame that its images cover.
    """

    name: str
    aircraft: str
    period: int
    begin: float
    shift_m: float
    noise_m: float
    miss_share: float
    false_alarms: int
    west_m: float = -760.0
    south_m: float = -560.0
    east_m: float = 800.0
    north_m: float = 650.0

    def corners(self) -> Floats:
        """Return the corners of what its images cover, counter-clockwise, shape (4, 2)."""
        west, south, east, north = self.west_m, self.south_m, self.east_m, self.north_m
        return np.array([[west, south], [east, south], [east, north], [west, north]])

    def is_covered(self, x: Floats, y: Floats) -> Truths:
        """Tell which positions its images cover."""
        return np.asarray((x > self.west_m) & (x < self.east_m) & (y > self.south_m) & (y < self.north_m))

    def lanes(self) -> int:
        """Return how many lanes it flew."""
        return int(np.ceil((self.east_m - self.west_m) / _LANE_M))


SORTIES: Final = (
    Sortie(name="D-1", aircraft="Dipper", period=1, begin=seconds_at("2026-08-13T05:10:00-06:00"),
           shift_m=0.6, noise_m=0.5, miss_share=0.08, false_alarms=3),
    Sortie(name="N-1", aircraft="Nuthatch", period=1, begin=seconds_at("2026-08-13T21:00:00-06:00"),
           shift_m=4.7, noise_m=1.1, miss_share=0.15, false_alarms=5, west_m=-560.0),
    Sortie(name="S-1", aircraft="Siskin", period=2, begin=seconds_at("2026-08-14T04:30:00-06:00"),
           shift_m=2.8, noise_m=0.8, miss_share=0.10, false_alarms=4, west_m=-60.0),
    Sortie(name="D-2", aircraft="Dipper", period=2, begin=seconds_at("2026-08-14T05:40:00-06:00"),
           shift_m=1.5, noise_m=0.5, miss_share=0.08, false_alarms=3),
    Sortie(name="N-2", aircraft="Nuthatch", period=2, begin=seconds_at("2026-08-14T21:10:00-06:00"),
           shift_m=5.8, noise_m=1.1, miss_share=0.12, false_alarms=5),
)  # fmt: skip


@dataclass(frozen=True)
class Sightings:
    """Hold what one sortie saw, in the order of its images.

    Attributes
    ----------
    sortie
        Who saw it.
    shift
        Metres east and north by which all its positions are off.
    spot
        Row of the true spot, or ``FALSE_ALARM``.
    x, y, altitude_m
        Measured place in metres of the fire's frame, and the ground's height there.
    seconds
        Of the fire's clock.
    temperature_c, size_m2
        Measured.
    image
        Number of the image.
    serial
        From 1 in the order of the images; it stays when the sightings are put in another order.
    """

    sortie: Sortie
    shift: tuple[float, float]
    spot: Whole
    x: Floats
    y: Floats
    altitude_m: Floats
    seconds: Floats
    temperature_c: Floats
    size_m2: Floats
    image: Whole
    serial: Whole

    def __len__(self) -> int:
        """Return the number of sightings."""
        return len(self.spot)

    def take(self, rows: Whole) -> Sightings:
        """Return some of the sightings, such as those of one of its files."""
        columns = [name.name for name in fields(self) if name.name not in ("sortie", "shift")]
        return replace(self, **{name: getattr(self, name)[rows] for name in columns})

    def by_heat(self) -> Sightings:
        """Return the sightings in folders' order: very hot, hot, warm, and within each as they were seen."""
        order = {name: place for place, name in enumerate(HEAT_CLASSES)}
        rank = np.array([order[self.heat_class(row)] for row in range(len(self))], dtype=np.int64)
        return self.take(np.argsort(rank, kind="stable"))

    def degrees(self) -> tuple[Floats, Floats]:
        """Return the longitudes and latitudes."""
        return FRAME.to_degrees(self.x, self.y)

    def heat_class(self, row: int) -> str:
        """Return how hot a sighting is in plain words."""
        temperature = self.temperature_c[row]
        return HEAT_CLASSES[0 if temperature >= 200 else 1 if temperature >= 80 else 2]

    def label(self, row: int) -> str:
        """Return a name that no two sightings of a sortie share."""
        return f"{self.sortie.name.replace('-', '')}-{self.serial[row]:03d}"

    def image_file(self, row: int) -> str:
        """Return the name of the image it was seen on."""
        return f"{self.sortie.name.lower().replace('-', '')}_{self.image[row]:04d}.jpg"


def fly_sortie(seed: int, sortie: Sortie, edge: FireEdge, spots: HotSpots) -> Sightings:
    """Return what one sortie saw."""
    random = dice(seed, f"sortie {sortie.name}")
    turn = random.uniform(0, 2 * np.pi)
    shift = (sortie.shift_m * float(np.cos(turn)), sortie.shift_m * float(np.sin(turn)))
    seen, image = _see(random, sortie, spots)
    wrong = _place_false_alarms(random, sortie, edge)
    spot = np.concatenate([seen, np.full(len(wrong), FALSE_ALARM)])
    image = np.concatenate([image, _image_numbers(sortie, *_image_of(sortie, *wrong.T))])
    true = np.vstack([np.column_stack([spots.x, spots.y])[seen], wrong])
    x, y = (true + shift + sortie.noise_m * random.standard_normal(true.shape)).T
    seconds = np.asarray(sortie.begin + image * _IMAGE_SECONDS, np.float64)
    temperature = _measure(random, spots, spot, seconds)
    size = np.round(random.uniform(0.05, 1.6, len(spot)), 2)
    serial = np.arange(1, len(spot) + 1)
    unordered = Sightings(sortie, shift, spot, x, y, ground_m(x, y), seconds, temperature, size, image, serial)
    return replace(unordered.take(np.lexsort([y, image])), serial=serial)


def _see(random: np.random.Generator, sortie: Sortie, spots: HotSpots) -> tuple[Whole, Whole]:
    """Return the rows of the spots seen, some of them twice, and the image each was seen on."""
    lane, step = _image_of(sortie, spots.x, spots.y)
    when = np.asarray(sortie.begin + _image_numbers(sortie, lane, step) * _IMAGE_SECONDS, np.float64)
    temperature = spots.temperatures_c(when)
    excess = temperature - air_c(when)
    chance = np.where(temperature > _NEVER_MISSED_C, 1.0, (1 - sortie.miss_share) * np.clip(excess / 30.0, 0.0, 1.0))
    found = sortie.is_covered(spots.x, spots.y) & (excess > _FAINTEST_C) & (random.uniform(size=len(spots)) < chance)
    off_middle = spots.x - sortie.west_m - _LANE_M * (lane + 0.5)
    beside = lane + np.sign(off_middle).astype(np.int64)
    overlaps = (_LANE_M - np.abs(off_middle) < _HALF_ACROSS_M) & (beside >= 0) & (beside < sortie.lanes())
    again = found & overlaps & (random.uniform(size=len(spots)) < _SEEN_TWICE)
    rows = [np.flatnonzero(found), np.flatnonzero(again)]
    lanes = np.concatenate([lane[rows[0]], beside[rows[1]]])
    return np.concatenate(rows), _image_numbers(sortie, lanes, step[np.concatenate(rows)])


def _image_of(sortie: Sortie, x: Floats, y: Floats) -> tuple[Whole, Whole]:
    """Return the lane and the step along it of the image whose middle is nearest."""
    lane, step = np.floor((x - sortie.west_m) / _LANE_M), np.floor((y - sortie.south_m) / _STEP_M)
    return lane.astype(np.int64), step.astype(np.int64)


def _image_numbers(sortie: Sortie, lane: Whole, step: Whole) -> Whole:
    """Return the numbers of images: lanes are flown north and south in turn, from west to east."""
    steps = int(np.ceil((sortie.north_m - sortie.south_m) / _STEP_M))
    return np.asarray(lane * steps + np.where(lane % 2 == 0, step, steps - 1 - step) + 1)


def _place_false_alarms(random: np.random.Generator, sortie: Sortie, edge: FireEdge) -> Floats:
    """Return places inside the coverage and near the edge, shape (n, 2)."""
    low, high = (sortie.west_m + 10, sortie.south_m + 10), (sortie.east_m - 10, sortie.north_m - 10)
    places = random.uniform(low, high, (40 * sortie.false_alarms, 2))
    near = distances_to_ring_m(edge.outer_at(sortie.begin), *places.T) < _NEAR_EDGE_M
    return np.asarray(places[near][: sortie.false_alarms])


def _measure(random: np.random.Generator, spots: HotSpots, spot: Whole, seconds: Floats) -> Floats:
    """Return temperatures as read from images: 3 % and 2.5 °C (standard deviations) off."""
    true = spots.temperatures_c(seconds, np.maximum(spot, 0))
    true = np.where(spot == FALSE_ALARM, air_c(seconds) + random.uniform(14.0, 40.0, len(spot)), true)
    return np.round(true * random.normal(1.0, 0.03, len(spot)) + random.normal(0.0, 2.5, len(spot)), 1)

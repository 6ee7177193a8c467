"""What each sortie saw: images along lanes, a shift, noise, misses, repeats where images overlap, false alarms."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.merge.simulator.regimes import Regime
from tests.merge.simulator.scene import Floats, Spots

Whole = NDArray[np.int64]

IMAGE_M = (60.0, 45.0)
"""Across and along the lane that one image shows."""

LANE_M, STEP_M, SECONDS = 45.0, 34.0, 2.0
"""From lane to lane, from image to image, and the time between two images."""

REPEATED = 0.4
"""Share of the further images showing a seen spot on which it is reported again."""

HOURS_BETWEEN = 7.0
ROOM_M = 30.0
"""How far beyond the outermost spots a sortie flies."""


@dataclass(frozen=True)
class Flight:
    """Hold one sortie: what is true of it, and its sightings in the order of the images.

    Parameters
    ----------
    shift, noise_m, seen
        Metres east and north; standard deviation per axis of a sighting, that of its image included; share of the
        spots in its coverage that it sees.
    band
        From where to where along the axis across which it flew its coverage goes, metres.
    spot
        Row of the true spot, -1 for a false alarm.
    places, image, temperature
        Measured metres, number of the image, degrees Celsius.
    """

    shift: Floats
    noise_m: float
    seen: float
    band: tuple[float, float]
    spot: Whole
    places: Floats
    image: Whole
    temperature: Floats


def fly(random: np.random.Generator, regime: Regime, spots: Spots) -> list[Flight]:
    """Return all sorties over one fire, in the order of time."""
    count = int(random.integers(regime.sorties[0], regime.sorties[1] + 1))
    bands = _bands(random, regime, spots, count)
    return [_fly_one(random, regime, spots, band, number) for number, band in enumerate(bands)]


def _bands(random: np.random.Generator, regime: Regime, spots: Spots, count: int) -> list[tuple[float, float]]:
    west, east = spots.places[:, 0].min() - ROOM_M, spots.places[:, 0].max() + ROOM_M
    if regime.is_disjoint:
        edges = np.quantile(spots.places[:, 0], np.linspace(0.0, 1.0, count + 1))
        edges[0], edges[-1] = west, east
        return [(float(low), float(high)) for low, high in itertools.pairwise(edges)]
    widths = random.uniform(*regime.cover, count) * (east - west)
    starts = west + random.uniform(0.0, 1.0, count) * (east - west - widths)
    return [(float(start), float(start + width)) for start, width in zip(starts, widths, strict=True)]


def _fly_one(
    random: np.random.Generator, regime: Regime, spots: Spots, band: tuple[float, float], number: int
) -> Flight:
    turn, reach = random.uniform(0.0, 2.0 * np.pi), random.uniform(*regime.shift_m)
    shift = reach * np.array([np.cos(turn), np.sin(turn)])
    noise, image_noise = random.uniform(*regime.noise_m), random.uniform(*regime.image_noise_m)
    seen = 1.0 - random.uniform(*regime.misses)
    spot, image = _see(random, spots.places, band, seen)
    false = _raise_false_alarms(random, spots.places, band, len(spot), random.uniform(*regime.false_alarms))
    corner = np.array([band[0], spots.places[:, 1].min() - ROOM_M])
    true = np.vstack([spots.places[spot], false])
    spot = np.concatenate([spot, np.full(len(false), -1)])
    image = np.concatenate([image, [_images_showing(place, corner)[0] for place in false]]).astype(np.int64)
    wobble = image_noise * random.standard_normal((image.max(initial=0) + 1, 2))
    places = true + shift + noise * random.standard_normal(true.shape) + wobble[image]
    temperature = _measure(random, spots, spot, number * HOURS_BETWEEN, regime.heat_noise)
    order = np.lexsort([places[:, 1], image])
    total = float(np.hypot(noise, image_noise))
    return Flight(shift, total, seen, band, spot[order], places[order], image[order], temperature[order])


def _see(random: np.random.Generator, places: Floats, band: tuple[float, float], seen: float) -> tuple[Whole, Whole]:
    """Return the rows of the spots seen, one or more times, and on which image."""
    corner = np.array([band[0], places[:, 1].min() - ROOM_M])
    rows, images = [], []
    covered = (places[:, 0] >= band[0]) & (places[:, 0] < band[1])
    for row in np.flatnonzero(covered & (random.uniform(size=len(places)) < seen)):
        showing = random.permutation(_images_showing(places[row], corner))
        again = random.uniform(size=len(showing)) < REPEATED
        again[0] = True
        rows += [row] * int(again.sum())
        images += showing[again].tolist()
    return np.array(rows, np.int64), np.array(images, np.int64)


def _images_showing(place: Floats, corner: Floats) -> list[int]:
    """Return the numbers of all images that show a place; lanes run north and are counted from the west."""
    across, along = place - corner
    lanes = range(max(0, int((across - IMAGE_M[0]) // LANE_M) + 1), int(across // LANE_M) + 1)
    steps = range(max(0, int((along - IMAGE_M[1]) // STEP_M) + 1), int(along // STEP_M) + 1)
    return [1000 * lane + step for lane in lanes for step in steps]


def _raise_false_alarms(
    random: np.random.Generator, places: Floats, band: tuple[float, float], sightings: int, share: float
) -> Floats:
    """Return places of false alarms anywhere in the coverage, the given share of all sightings; shape (n, 2)."""
    count = round(sightings * share / (1.0 - share))
    south, north = places[:, 1].min() - ROOM_M, places[:, 1].max() + ROOM_M
    return random.uniform((band[0], south), (band[1], north), (count, 2))


def _measure(random: np.random.Generator, spots: Spots, spot: Whole, hours: float, heat_noise: float) -> Floats:
    if not np.isfinite(heat_noise):
        return np.full(len(spot), np.nan)
    true = spots.temperatures(hours)[np.maximum(spot, 0)]
    true = np.where(spot < 0, random.uniform(25.0, 60.0, len(spot)), true)
    return np.round(true * random.normal(1.0, heat_noise, len(spot)) + random.normal(0.0, 3.0, len(spot)), 1)

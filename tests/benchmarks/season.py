"""A season of fires for the timings: many fires far apart, each seen by four sorties. All of it is invented."""

from __future__ import annotations

import numpy as np

from exchange.geo.frame import LocalFrame
from exchange.model import Detections, Sources

SPOTS, SORTIES, SEEN = 250, 4, 0.85
"""Spots and sorties of a fire; share of the spots that a sortie sees."""

FIRE_APART_M, SIDE_M = 4000.0, 400.0
NOISE_M, SHIFT_M = 0.8, 4.0
IMAGES_ACROSS = 10


def make_season(sightings: int, seed: int = 1) -> Detections:
    """Return about so many sightings: of each fire the same number of spots, one sighting a sortie and spot seen."""
    random = np.random.default_rng(seed)
    fires = max(round(sightings / (SPOTS * SORTIES * SEEN)), 1)
    across = int(np.ceil(np.sqrt(fires)))
    middle = FIRE_APART_M * np.column_stack([np.arange(fires) % across, np.arange(fires) // across])
    spots = (middle[:, None] + random.uniform(0.0, SIDE_M, (fires, SPOTS, 2)))[:, None]
    shifts = random.uniform(-SHIFT_M, SHIFT_M, (fires, SORTIES, 1, 2))
    places = spots + shifts + random.normal(0.0, NOISE_M, (fires, SORTIES, SPOTS, 2))
    fire, sortie, spot = np.nonzero(random.uniform(size=(fires, SORTIES, SPOTS)) < SEEN)
    return _write_down(random, places[fire, sortie, spot], middle[fire], fire, sortie)


def _write_down(
    random: np.random.Generator,
    places: np.ndarray,
    middle: np.ndarray,
    fire: np.ndarray,
    sortie: np.ndarray,
) -> Detections:
    longitude, latitude = LocalFrame(-114.0, 44.5).to_degrees(*(places - middle.mean(axis=0)).T)
    image = np.clip((places - middle) // (SIDE_M / IMAGES_ACROSS), 0, IMAGES_ACROSS - 1).astype(np.int64)
    seconds = 2 * (image[:, 0] * IMAGES_ACROSS + image[:, 1]) + 25_000 * sortie + 3_600 * (fire % 2000)
    names = np.array([f"F{f}-{s}" for f in range(fire.max() + 1) for s in range(SORTIES)], dtype=object)
    return Detections(
        longitude=longitude,
        latitude=latitude,
        time=np.datetime64("2026-06-01T05:00:00", "ms") + 1000 * seconds.astype("timedelta64[ms]"),
        temperature=np.round(random.uniform(40.0, 400.0, len(fire)), 1),
        sortie=names[fire * SORTIES + sortie],
        source=Sources.of("season.csv", "", np.arange(1, len(fire) + 1)),
    )

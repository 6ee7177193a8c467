"""The later, bigger perimeter as a map desk drew it, and the sightings of another place that came in by mistake."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from exchange.demo_fire.files_geojson import polygon, sightings_as_features, to_collection, to_feature
from exchange.demo_fire.fire_edge import FireEdge, ring_area_m2
from exchange.demo_fire.scene import FIRE, Floats, dice
from exchange.demo_fire.sorties import SORTIES, Sightings

_DRAWN_STEP: Final = 6
_DRAWN_ERROR_M: Final = 2.0
_WRONG_BY_M: Final = 300.0
_A_WEEK: Final = 7 * 86_400.0


def later_perimeter(seed: int, edge: FireEdge) -> bytes:
    """Return the grown edge, drawn with fewer corners and some metres off, with its island."""
    random = dice(seed, "later perimeter")
    outer, island = (_draw(random, ring) for ring in (edge.grown, edge.island))
    hectares = (ring_area_m2(outer) - ring_area_m2(island)) / 1e4
    properties = {
        "incident": FIRE,
        "as of": "2026-08-14T12:30:00-06:00",
        "drawn by": "map desk (invented)",
        "acres": round(hectares * 1e4 / 4046.8564224, 1),
    }
    return to_collection([to_feature(polygon(outer, island), properties)])


def wrong_source(sightings: Sightings) -> bytes:
    """Return sightings as if of sortie N-3: 300 m too far east and from a week before, though nobody marked them so."""
    sortie = replace(sightings.sortie, name="N-3")
    moved = replace(sightings, sortie=sortie, x=sightings.x + _WRONG_BY_M, seconds=sightings.seconds - _A_WEEK)
    return sightings_as_features(moved)


def coverage() -> bytes:
    """Return what the images of each sortie cover."""
    features = [
        to_feature(polygon(sortie.corners()), {"sortie": sortie.name, "aircraft": sortie.aircraft, "fire": FIRE})
        for sortie in SORTIES
    ]
    return to_collection(features)


def _draw(random: np.random.Generator, ring: Floats) -> Floats:
    corners = ring[::_DRAWN_STEP]
    return np.asarray(corners + random.normal(0.0, _DRAWN_ERROR_M / 2, corners.shape))

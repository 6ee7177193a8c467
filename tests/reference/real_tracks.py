"""Tracks that no one here wrote: walks and drives among gpxpy's test files, air traffic among traffic's samples.

Both packages are fetched for the tests only (``packages.py``); gpxpy 1.6.2 is under Apache-2.0, traffic 2.13 under MIT.
"""

from __future__ import annotations

import gzip
import json
from functools import cache

import numpy as np
from geographiclib.geodesic import Geodesic

from exchange.formats.reading import read
from exchange.model import Track
from tests.reference.packages import package_files

FOOT_M = 0.3048


@cache
def walked(file: str, name: str) -> Track:
    """Return one track of a GPX file by its name; where several have it, the longest."""
    path = package_files("gpxpy", "1.6.2") / "test_files" / file
    return max((track for track in read(path).tracks if track.name == name), key=len)


@cache
def flown(name: str) -> Track:
    """Return one flight of the samples: milliseconds since 1970 UTC, degrees, pressure altitude in feet."""
    path = package_files("traffic", "2.13") / "src/traffic/data/samples" / f"{name}.json.gz"
    rows = json.loads(gzip.decompress(path.read_bytes()))
    columns = {key: np.array([np.nan if row.get(key) is None else row[key] for row in rows], float) for key in _KEYS}
    return Track(
        name=name,
        longitude=columns["longitude"],
        latitude=columns["latitude"],
        altitude=columns["altitude"] * FOOT_M,
        time=columns["timestamp"].astype("int64").astype("datetime64[ms]"),
    )


def area_of_closed_line_m2(track: Track) -> float:
    """Return the area inside a track that is closed by a straight line, by geographiclib and nothing of ours."""
    polygon = Geodesic.WGS84.Polygon()
    for longitude, latitude in zip(track.longitude.tolist(), track.latitude.tolist(), strict=True):
        if longitude == longitude and latitude == latitude:
            polygon.AddPoint(latitude, longitude)
    return abs(polygon.Compute(False, True)[2])


_KEYS = ("longitude", "latitude", "altitude", "timestamp")

"""GeoJSON features in other people's property names."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from exchange.demo_fire.scene import FRAME, NOTICE, Floats, in_local_zone
from exchange.demo_fire.sorties import Sightings


def to_collection(features: Iterable[Mapping[str, Any]], **members: Any) -> bytes:
    """Write features, one a line, with a member that says their data is invented."""
    head = json.dumps({"type": "FeatureCollection", "invented": NOTICE, **members}, ensure_ascii=False)
    lines = ",\n".join(json.dumps(feature, ensure_ascii=False) for feature in features)
    return f'{head[:-1]}, "features": [\n{lines}\n]}}\n'.encode()


def to_feature(geometry: Mapping[str, Any], properties: Mapping[str, Any], *, id_: str = "") -> dict[str, Any]:
    """Return one feature."""
    named = {"id": id_} if id_ else {}
    return {"type": "Feature", **named, "geometry": dict(geometry), "properties": dict(properties)}


def point(x: float, y: float, altitude_m: float | None = None) -> dict[str, Any]:
    """Return a place of the fire's frame as a point geometry."""
    longitude, latitude = FRAME.to_degrees(x, y)
    height = [] if altitude_m is None else [round(float(altitude_m), 1)]
    return {"type": "Point", "coordinates": [round(float(longitude), 7), round(float(latitude), 7), *height]}


def polygon(outer: Floats, *islands: Floats) -> dict[str, Any]:
    """Return rings of the fire's frame as a polygon: the outer counter-clockwise, islands clockwise (RFC 7946)."""
    return {"type": "Polygon", "coordinates": [_closed(outer), *(_closed(ring[::-1]) for ring in islands)]}


def sightings_as_features(sightings: Sightings) -> bytes:
    """Return sightings with temperatures in Fahrenheit, local time with its zone, and a nested camera."""
    features = [
        to_feature(
            point(sightings.x[row], sightings.y[row], sightings.altitude_m[row]),
            {
                "label": sightings.label(row),
                "temp_f": round(sightings.temperature_c[row] * 1.8 + 32, 1),
                "time": in_local_zone(sightings.seconds[row]),
                "flight": sightings.sortie.name,
                "image": sightings.image_file(row),
                "camera": {"pitch": -90, "frame": int(sightings.image[row])},
                "checked": None,
            },
        )
        for row in range(len(sightings))
    ]
    return to_collection(features)


def _closed(ring: Floats) -> list[list[float]]:
    longitude, latitude = FRAME.to_degrees(*ring.T)
    positions = [[round(lon, 7), round(lat, 7)] for lon, lat in zip(longitude.tolist(), latitude.tolist(), strict=True)]
    return [*positions, positions[0]]

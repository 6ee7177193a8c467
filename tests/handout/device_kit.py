"""What the tests of hand-outs share: hostile lists, and readers that are not the exchange's own."""

from __future__ import annotations

import csv
import html
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from exchange.formats.host import Host
from exchange.handout import Handout, HandoutOptions, Profile, find_formats, hand_out, load_profiles, write_handout
from exchange.model import STATUS_WORDS, Detections, Packet, Problem

SHIPPED = sorted(load_profiles().profiles)
SAME_BEGINNING = "the tall burnt pine by the road"

# Invented. Each is one of the ways in which people's names for a spot have broken programs.
HOSTILE = (
    "\U0001f525\U0001f332\u200d\U0001f525 stump",
    "x" * 300,
    "say \"hot\", then, 'hot'",
    '=HYPERLINK("http://example.invalid","open")',
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1+1",
    "line\nbreak\r\nand\rmore",
    "\u202eright to left\u202c",
    "nul\x00bell\x07",
    "half \ud800 of a pair",
    "<wpt lat='1' lon='2'/>&amp;]]>",
    "\ufffe\uffff",
    "   blanks   at   the   ends   ",
    "cafe\u0301 and caf\u00e9",
    "OUT",
    "007",
    "\u661f\u706b",
)


class Point(NamedTuple):
    """A point as another program reads it."""

    name: str
    longitude: float
    latitude: float
    comment: str


@cache
def host() -> Host:
    """Return a host with the bundled plugins."""
    return Host.with_installed_plugins()


@cache
def profile(name: str) -> Profile:
    """Return a shipped profile."""
    return load_profiles().profiles[name]


def make_list(count: int, *, numbers: str = "house", seed: int = 5) -> Detections:
    """Return an invented list whose names and notes are hostile; its numbers too, where they are not the house's."""
    rng = np.random.default_rng(seed)
    hostile = [HOSTILE[row % len(HOSTILE)] for row in range(count)]
    ids = [f"H-{row:03d}" for row in range(1, count + 1)]
    if numbers == "hostile":
        # Half of a surrogate pair has no place in any file; the formats tell that they replace it.
        whole = [text.replace("\ud800", "") for text in hostile]
        ids = [SAME_BEGINNING + f" {row}" if row % 2 else f"{whole[row]}{row}" for row in range(count)]
    time = np.datetime64("2026-08-14T10:00:00", "ms") + rng.integers(0, 86_400_000, count)
    return Detections(
        id=ids,
        longitude=-114.0 + np.arange(count) % 80 * 1e-3,
        latitude=44.5 + np.arange(count) // 80 * 1e-3,
        altitude=rng.uniform(1400.0, 1900.0, count).round(1),
        time=time,
        last_seen=np.where(np.arange(count) % 3, time, np.datetime64("NaT")),
        temperature=np.where(np.arange(count) % 7, rng.uniform(40.0, 600.0, count).round(1), np.nan),
        accuracy=np.where(np.arange(count) % 5, rng.uniform(0.3, 30.0, count).round(1), np.nan),
        sortie=[f"S-{row % 4}" for row in range(count)],
        status=[(*STATUS_WORDS, "")[row % 7] for row in range(count)],
        name=hostile,
        note=hostile[::-1],
        extra={"temperature_last": rng.uniform(40.0, 600.0, count).round(1)},
    )


def write_out(
    spots: Detections, folder: Path, *profiles: Profile, options: HandoutOptions | None = None, **more: object
) -> tuple[Handout, tuple[Problem, ...]]:
    """Hand spots out into a folder."""
    handout = hand_out(Packet(detections=spots), profiles, find_formats(profiles, host()), options=options, **more)
    return handout, write_handout(handout, folder, host=host())


def read_elsewhere(path: Path) -> list[Point]:
    """Return the points of a file as a reader sees them that is not the exchange's."""
    readers = {".gpx": _read_gpx, ".kml": _read_kml, ".csv": _read_csv, ".geojson": _read_geojson}
    return readers[path.suffix](path)


def _read_gpx(path: Path) -> list[Point]:
    import gpxpy

    waypoints = gpxpy.parse(path.read_text(encoding="utf-8")).waypoints
    return [Point(w.name, w.longitude, w.latitude, w.comment or "") for w in waypoints]


def _read_kml(path: Path) -> list[Point]:
    from fastkml import KML, Placemark
    from fastkml.utils import find_all

    places = find_all(KML.parse(path, validate=False), of_type=Placemark)
    # A description is HTML.
    return [Point(p.name, p.geometry.x, p.geometry.y, html.unescape(p.description or "")) for p in places]


def _read_csv(path: Path) -> list[Point]:
    with path.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    return [Point(r["name"], float(r["longitude"]), float(r["latitude"]), r.get("note", "")) for r in rows]


def _read_geojson(path: Path) -> list[Point]:
    import pyogrio
    import shapely

    _, table = pyogrio.read_arrow(path)
    columns = {name: table.column(name).to_pylist() for name in table.column_names}
    places = shapely.from_wkb(columns["wkb_geometry"])
    notes = columns.get("note", [""] * len(places))
    return [
        Point(name, place.x, place.y, note or "")
        for name, place, note in zip(columns["name"], places, notes, strict=True)
    ]

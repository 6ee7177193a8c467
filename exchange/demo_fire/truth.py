"""The truth beside the files: what a test compares with, and what no real incident has."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

from exchange.demo_fire.files_geojson import point, polygon, to_collection, to_feature
from exchange.demo_fire.fire_edge import GROWTH_AT, FireEdge, ring_area_m2
from exchange.demo_fire.flights import Flight
from exchange.demo_fire.hot_spots import HotSpots
from exchange.demo_fire.returns import Report
from exchange.demo_fire.scene import FIRE, LOCAL_ZONE, NOTICE, PERIODS, in_utc
from exchange.demo_fire.sorties import SORTIES, Sightings

VERSION = 1


def spot_name(row: int) -> str:
    """Return what the truth calls a spot, such as ``T-001``, or ``false`` for a false alarm."""
    return f"T-{row + 1:03d}" if row >= 0 else "false"


def true_edges(edge: FireEdge) -> bytes:
    """Return the true burned area before and after the night's growth, the island as a hole."""
    features = [
        to_feature(
            polygon(ring, edge.island),
            {"edge": name, "from": begin, "hectares": round((ring_area_m2(ring) - ring_area_m2(edge.island)) / 1e4, 3)},
        )
        for name, ring, begin in (("first", edge.first, None), ("grown", edge.grown, in_utc(GROWTH_AT)))
    ]
    return to_collection(features)


def true_spots(spots: HotSpots) -> bytes:
    """Return the true spots with their temperature at the begin of each sortie, in degrees Celsius."""
    features = []
    for row in range(len(spots)):
        temperatures = {sortie.name: round(float(spots.temperatures_c(sortie.begin)[row]), 1) for sortie in SORTIES}
        times = {"born": spots.born[row], "cooled": spots.cooled[row], "flared_up": spots.flared_up[row]}
        told = {name: in_utc(value) for name, value in times.items() if abs(value) != float("inf")}
        name = spot_name(row)
        features.append(
            to_feature(
                point(spots.x[row], spots.y[row]), {"spot": name, **told, "temperature_c": temperatures}, id_=name
            )
        )
    return to_collection(features)


def true_story(
    sightings: Mapping[str, Sightings],
    numbered: Sequence[tuple[str, Sightings]],
    flights: Mapping[str, Flight],
    returns: Mapping[str, Sequence[Report]],
) -> bytes:
    """Return what each record of each file truly is; each mapping goes from a file's name to its records in order."""
    story = {
        "version": VERSION,
        "invented": NOTICE,
        "fire": FIRE,
        "local zone": LOCAL_ZONE,
        "operational periods": PERIODS,
        "sorties": [_tell_sortie(sightings, sortie.name) for sortie in SORTIES],
        "sightings": {file: [spot_name(spot) for spot in each.spot.tolist()] for file, each in sightings.items()},
        "numbers": {number: spot_name(int(sighting.spot[0])) for number, sighting in numbered},
        "tracks": {file: _tell_flight(flight) for file, flight in flights.items()},
        "returns": {file: [_tell_report(report) for report in each] for file, each in returns.items()},
    }
    return (json.dumps(story, ensure_ascii=False, indent=1) + "\n").encode()


def _tell_sortie(sightings: Mapping[str, Sightings], name: str) -> dict[str, Any]:
    files = [file for file, each in sightings.items() if each.sortie.name == name]
    each = sightings[files[0]]
    return {
        "sortie": name,
        "aircraft": each.sortie.aircraft,
        "period": each.sortie.period,
        "begin": in_utc(each.sortie.begin),
        "shift east m": round(each.shift[0], 3),
        "shift north m": round(each.shift[1], 3),
        "noise per axis m": each.sortie.noise_m,
        "miss share": each.sortie.miss_share,
        "files": files,
    }


def _tell_flight(flight: Flight) -> dict[str, Any]:
    """Tell what the aircraft did, as runs of fixes in the order of the file."""
    runs = [[str(doing), len(list(run))] for doing, run in groupby(flight.doing.tolist())]
    return {"sortie": flight.sortie, "fixes": len(flight), "runs": runs}


def _tell_report(report: Report) -> dict[str, Any]:
    return {
        "number": report.number,
        "stood at": spot_name(report.spot) if report.spot >= 0 else "",
        "meant": report.meaning,
        "observed": in_utc(report.seconds),
        "kind": report.kind,
    }

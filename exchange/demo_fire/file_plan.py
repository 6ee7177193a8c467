"""Which files make the fire: what each holds, in whose manner, and the options it cannot be read without."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Final

import numpy as np

from exchange.demo_fire import later_perimeter as desk
from exchange.demo_fire import returns as story
from exchange.demo_fire.files_csv import (
    flight_as_csv,
    sightings_in_feet,
    sightings_in_spanish,
    sightings_on_the_grid,
)
from exchange.demo_fire.files_geojson import sightings_as_features
from exchange.demo_fire.files_gpx import flights_as_gpx, sightings_as_waypoints
from exchange.demo_fire.files_kml import flights_as_tracks, sightings_in_folders, sightings_in_kmz
from exchange.demo_fire.files_shapefile import sightings_as_shapefile
from exchange.demo_fire.flights import Flight, fly_all
from exchange.demo_fire.made_file import MadeFile
from exchange.demo_fire.numbered_list import NumberedSpot, control_as_csv, list_as_geojson
from exchange.demo_fire.places import places_as_gpx, places_as_kml
from exchange.demo_fire.scenario import Scenario
from exchange.demo_fire.scene import FIRE, LOCAL_ZONE, Truths
from exchange.demo_fire.sorties import Sightings
from exchange.demo_fire.terrain import GEOGRAPHIC_WKT, elevation_grid

_ZONE_OPTION: Final = ("--assume-tz", LOCAL_ZONE)


def make_ground() -> list[MadeFile]:
    """Return the elevation model and the places."""
    terrain = partial(MadeFile, role="terrain")
    place = partial(MadeFile, role="place")
    stem = "terrain/invented_elevation"
    return [
        terrain(
            name=f"{stem}.asc", content=elevation_grid().encode(), about="Elevations in metres on a grid of degrees."
        ),
        terrain(name=f"{stem}.prj", content=GEOGRAPHIC_WKT.encode(), about="The reference system of the elevations."),
        place(name="places/places.gpx", content=places_as_gpx(), about="Drop points, and helispots named H-1 and H-2."),
        place(name="places/water.kml", content=places_as_kml(), about="A water source and the launch, in folders."),
    ]


def make_sorties(scenario: Scenario) -> tuple[list[MadeFile], dict[str, Sightings]]:
    """Return the files of the sorties, and by file name the sightings in the order of the file."""
    seen = scenario.seen
    north = seen["S-1"].y > 0.0
    late_2, late_n2 = (np.arange(len(seen[name])) >= 0.6 * len(seen[name]) for name in ("D-2", "N-2"))
    plan = (
        ("d1_heat.kml", seen["D-1"].by_heat(), sightings_in_folders, "KML in folders by heat, balloon tables.", ()),
        ("n1_export.csv", seen["N-1"], sightings_in_feet,
         "Degrees and minutes, Fahrenheit, feet, a clock without a zone, and no word of the sortie.",
         (*_ZONE_OPTION, "--sortie", "N-1", "--aircraft", "Nuthatch")),
        ("s1_norte.csv", _rows(seen["S-1"], north), sightings_in_spanish,
         "Spanish, semicolons, decimal commas, UTM in two zones, a western code page.", ("--aircraft", "Siskin")),
        ("s1_sur.zip", _rows(seen["S-1"], ~north), sightings_as_shapefile,
         "A zipped shapefile in NAD 83 / UTM 11N, kelvin.", ("--aircraft", "Siskin")),
        ("d2_heat.kmz", _rows(seen["D-2"], ~late_2).by_heat(), sightings_in_kmz,
         "KMZ with an icon and typed fields.", ("--aircraft", "Dipper")),
        ("d2_late.gpx", _rows(seen["D-2"], late_2), sightings_as_waypoints,
         "GPX waypoints, the temperature in an extension.", ("--aircraft", "Dipper")),
        ("n2_spots.geojson", _rows(seen["N-2"], ~late_n2), sightings_as_features,
         "GeoJSON, Fahrenheit, local time with its zone.", ("--aircraft", "Nuthatch")),
        ("n2_grid.tsv", _rows(seen["N-2"], late_n2), sightings_on_the_grid,
         "Tabs, national grid references, Fahrenheit.", ("--aircraft", "Nuthatch")),
    )  # fmt: skip
    made = [
        MadeFile(
            name=f"sorties/{name}",
            content=write(sightings),
            about=f"Sortie {sightings.sortie.name}: {about}",
            role="sortie",
            sortie=sightings.sortie.name,
            period=sightings.sortie.period,
            options=options,
        )
        for name, sightings, write, about, options in plan
    ]
    cover = MadeFile(
        name="sorties/coverage.geojson",
        content=desk.coverage(),
        about="What each sortie's images cover.",
        role="coverage",
    )
    return [*made, cover], {f"sorties/{name}": sightings for name, sightings, *_ in plan}


def _rows(sightings: Sightings, chosen: Truths) -> Sightings:
    return sightings.take(np.flatnonzero(chosen))


def make_tracks(scenario: Scenario) -> tuple[list[MadeFile], dict[str, Flight]]:
    """Return the logs of the edge, and by file name the flight."""
    flights = fly_all(scenario.seed, scenario.edge)
    title = f"{FIRE}, flown edge"
    gpx = partial(flights_as_gpx, title)
    plan = (
        ("d1_edge.gpx", flights.edge, gpx([flights.edge], with_extensions=True), 1,
         "The edge at 2 Hz with legs, hover, a loop, spikes, frozen and repeated fixes, dropouts."),
        ("d1_island.gpx", flights.island, gpx([flights.island], with_extensions=False), 1,
         "The unburned island at 5 Hz, flown by itself."),
        ("n1_side_look.csv", flights.side_look, flight_as_csv(flights.side_look), 1,
         "Flown about 50 m outside the edge, the camera looking left and 45° down onto it."),
        ("d2_flight_1.kml", flights.first_battery, flights_as_tracks(title, [flights.first_battery]), 2,
         "The grown edge, first battery."),
        ("d2_flight_2.kml", flights.second_battery, flights_as_tracks(title, [flights.second_battery]), 2,
         "The grown edge, second battery, the other way round, overlapping the first at both ends."),
        ("s1_half_ring.gpx", flights.half_ring, gpx([flights.half_ring], with_extensions=False), 2,
         "Half of the edge only: to be refused."),
    )  # fmt: skip
    made = [
        MadeFile(
            name=f"tracks/{name}",
            content=content,
            about=about,
            role="track",
            sortie=flight.sortie,
            period=period,
            options=("--as-track",) if name.endswith(".csv") else (),
        )
        for name, flight, content, period, about in plan
    ]
    return made, {f"tracks/{name}": flight for name, flight, *_ in plan}


def make_desk(scenario: Scenario, numbered: list[tuple[str, Sightings]]) -> list[MadeFile]:
    """Return what the map desk made, and what came in by mistake."""
    wrong = _rows(scenario.seen["N-2"], np.arange(len(scenario.seen["N-2"])) < 40)
    return [
        MadeFile(name="lists/after_period_1.geojson", content=list_as_geojson(numbered), role="list", period=1,
                 about="The list numbered by hand after the first period; H-017 was never used."),
        MadeFile(name="lists/control.csv", content=control_as_csv(scenario.seed, scenario.spots), role="control",
                 about="Places of some spots as surveyed, good to 0.1 m."),
        MadeFile(name="perimeters/later.geojson", content=desk.later_perimeter(scenario.seed, scenario.edge),
                 role="perimeter", period=2, about="The grown edge as the map desk drew it."),
        MadeFile(name="wrong/n3_spots.geojson", content=desk.wrong_source(wrong), role="wrong", sortie="N-3", period=2,
                 options=("--aircraft", "Nuthatch"),
                 about="Came in by mistake: a week old and 300 m too far east; to be withdrawn."),
    ]  # fmt: skip


def make_returns(
    scenario: Scenario, listed: Sequence[NumberedSpot], short_names: Mapping[str, str] | None = None
) -> tuple[list[MadeFile], dict[str, Sequence[story.Report]]]:
    """Return the crews' files, and by file name the reports in the order of the file."""
    told = story.tell_returns(scenario.seed, scenario.spots, listed)
    plan = (
        ("alder.gpx", told.handheld, story.returns_as_gpx(told.handheld, short_names), (),
         "Crew Alder's handheld: short names, changed symbols, a name at another's place, a smoke without number."),
        ("juniper.csv", told.table, story.returns_as_csv(told.table), _ZONE_OPTION,
         "Crew Juniper's sheet: ticks and free text, a clock without a zone, one row without number or place."),
        ("office.kml", told.office, story.returns_as_kml(told.office, listed), (),
         "The office's map: pins dragged into other folders."),
    )  # fmt: skip
    made = [
        MadeFile(name=f"returns/{name}", content=content, about=about, role="return", period=2, options=options)
        for name, _, content, options, about in plan
    ]
    return made, {f"returns/{name}": reports for name, reports, *_ in plan}

"""Places that are no hot spots: drop points, helispots, a water source. Helispots are called H-1 and H-2 on purpose."""

from __future__ import annotations

from typing import Final, NamedTuple

from exchange.demo_fire.files_gpx import gpx_document, waypoint
from exchange.demo_fire.files_kml import kml_document, kml_folder, kml_point
from exchange.demo_fire.scene import FIRE, LAUNCH


class Place(NamedTuple):
    """Hold one place in metres of the fire's frame."""

    name: str
    kind: str
    x: float
    y: float
    note: str


PLACES: Final = (
    Place("DP-1", "drop point", -640.0, -560.0, "Turnaround for two engines"),
    Place("DP-2", "drop point", 690.0, -470.0, "No turnaround"),
    Place("H-1", "helispot", -820.0, 80.0, "Slope to the west"),
    Place("H-2", "helispot", 420.0, 720.0, "Soft after rain"),
    Place("Stock pond", "water source", -310.0, -640.0, "About 40 cubic metres"),
    Place("Launch", "launch", *LAUNCH, "Aircraft start and land here"),
)


def places_as_gpx() -> bytes:
    """Return the drop points and helispots as waypoints."""
    points = [
        waypoint(place.x, place.y, {"name": place.name, "cmt": place.note, "sym": place.kind, "type": place.kind})
        for place in PLACES[:4]
    ]
    return gpx_document(f"{FIRE}, places", points)


def places_as_kml() -> bytes:
    """Return the water source and the launch in folders by kind."""
    folders = [
        kml_folder(
            place.kind.capitalize(),
            [
                f"<Placemark><name>{place.name}</name><description>{place.note}</description>"
                f"{kml_point(place.x, place.y)}</Placemark>\n"
            ],
        )
        for place in PLACES[4:]
    ]
    return kml_document(f"{FIRE}, water and launch", "".join(folders)).encode()

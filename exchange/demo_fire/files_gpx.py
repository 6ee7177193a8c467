"""GPX 1.1 waypoints and tracks, with elements of an invented namespace beside the standard's own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape

from exchange.demo_fire.flights import Flight
from exchange.demo_fire.scene import FIRE, FRAME, NAMESPACE, NOTICE, in_utc
from exchange.demo_fire.sorties import Sightings


def gpx_document(title: str, body: Iterable[str]) -> bytes:
    """Wrap waypoints or tracks into a document that says its data is invented."""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="demonstration" xmlns="http://www.topografix.com/GPX/1/1"'
        f' xmlns:mf="{NAMESPACE}">\n'
        f"<metadata><name>{escape(title)}</name><desc>{escape(NOTICE)}</desc></metadata>\n{''.join(body)}</gpx>\n"
    ).encode()


def waypoint(x: float, y: float, fields: Mapping[str, str], extensions: Mapping[str, str] | None = None) -> str:
    """Write a place of the fire's frame.

    ``fields`` are in the order of the standard: ele, time, name, cmt, desc, sym, type.
    """
    longitude, latitude = FRAME.to_degrees(x, y)
    inner = "".join(f"<{name}>{escape(value, quote=False)}</{name}>" for name, value in fields.items() if value)
    return f'<wpt lat="{latitude:.7f}" lon="{longitude:.7f}">{inner}{_extensions(extensions or {})}</wpt>\n'


def sightings_as_waypoints(sightings: Sightings) -> bytes:
    """Return sightings as waypoints, the temperature in an extension and in the comment."""
    points = []
    for row in range(len(sightings)):
        temperature = f"{sightings.temperature_c[row]:.1f}"
        fields = {
            "ele": f"{sightings.altitude_m[row]:.1f}",
            "time": in_utc(sightings.seconds[row]),
            "name": sightings.label(row),
            "cmt": f"{temperature} °C on {sightings.image_file(row)}",
            "sym": "flame",
            "type": "hot spot",
        }
        extensions = {"temperature_c": temperature, "image": sightings.image_file(row), "sortie": sightings.sortie.name}
        points.append(waypoint(sightings.x[row], sightings.y[row], fields, extensions))
    return gpx_document(f"{FIRE}, sortie {sightings.sortie.name}, after the change of battery", points)


def flights_as_gpx(title: str, flights: Iterable[Flight], *, with_extensions: bool) -> bytes:
    """Return flights as tracks; with extensions each fix tells its height above the launch, heading and speed."""
    return gpx_document(title, [_track(flight, with_extensions=with_extensions) for flight in flights])


def _track(flight: Flight, *, with_extensions: bool) -> str:
    longitude, latitude = flight.degrees()
    fixes = []
    for row in range(len(flight)):
        values = {
            "height_above_launch": f"{flight.height_m[row]:.1f}",
            "heading": f"{flight.heading[row]:.0f}",
            "ground_speed": f"{flight.speed[row]:.1f}",
        }
        fixes.append(
            f'<trkpt lat="{latitude[row]:.7f}" lon="{longitude[row]:.7f}"><ele>{flight.altitude_m[row]:.1f}</ele>'
            f"<time>{in_utc(flight.seconds[row], milliseconds=True)}</time>"
            f"{_extensions(values if with_extensions else {})}</trkpt>\n"
        )
    about = f"Aircraft {flight.aircraft}, sortie {flight.sortie}"
    return f"<trk><name>{escape(flight.name)}</name><desc>{about}</desc><trkseg>\n{''.join(fixes)}</trkseg></trk>\n"


def _extensions(values: Mapping[str, str]) -> str:
    inner = "".join(f"<mf:{name}>{escape(value, quote=False)}</mf:{name}>" for name, value in values.items())
    return f"<extensions>{inner}</extensions>" if inner else ""

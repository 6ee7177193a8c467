"""KML and KMZ as other people's programs write them: folders by heat, balloon tables, styles, tracks with times."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from exchange.demo_fire.archive import pack
from exchange.demo_fire.flights import Flight
from exchange.demo_fire.icon import draw_icon
from exchange.demo_fire.scene import FIRE, FRAME, LAUNCH, NOTICE, in_local_zone, in_utc
from exchange.demo_fire.sorties import HEAT_CLASSES, Sightings

_COLORS = {"Very hot": "ff2030c0", "Hot": "ff20a0d0", "Warm": "ffc0b090"}
_SCHEMA = """<Schema name="heat" id="heat">
<SimpleField type="double" name="temperature_c"/>
<SimpleField type="string" name="image"/>
<SimpleField type="string" name="sortie"/>
<SimpleField type="double" name="area_m2"/>
</Schema>
"""


def kml_document(title: str, body: str, *, track_extension: bool = False) -> str:
    """Wrap features into a document that says its data is invented."""
    extension = ' xmlns:gx="http://www.google.com/kml/ext/2.2"' if track_extension else ""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2"{extension}>\n<Document>\n'
        f"<name>{escape(title)}</name>\n<description>{escape(NOTICE)}</description>\n{body}</Document>\n</kml>\n"
    )


def kml_point(x: float, y: float, altitude_m: float | None = None) -> str:
    """Write a place of the fire's frame as a point."""
    longitude, latitude = FRAME.to_degrees(x, y)
    if altitude_m is None:
        return f"<Point><coordinates>{longitude:.7f},{latitude:.7f}</coordinates></Point>"
    return (
        "<Point><altitudeMode>absolute</altitudeMode>"
        f"<coordinates>{longitude:.7f},{latitude:.7f},{altitude_m:.1f}</coordinates></Point>"
    )


def kml_folder(name: str, placemarks: Iterable[str]) -> str:
    """Put placemarks, or further folders, into a folder."""
    return f"<Folder><name>{escape(name)}</name>\n{''.join(placemarks)}</Folder>\n"


def sightings_in_folders(sightings: Sightings) -> bytes:
    """Return sightings in folders by heat, all that is known of each in an HTML table of its balloon."""
    styles = "".join(
        f'<Style id="{_style(name)}"><IconStyle><color>{color}</color><scale>0.9</scale></IconStyle></Style>\n'
        for name, color in _COLORS.items()
    )
    folders = [
        kml_folder(name, [_balloon_placemark(sightings, row) for row in _rows_of(sightings, name)])
        for name in HEAT_CLASSES
    ]
    launch = f"<Placemark><name>Launch</name>{kml_point(*LAUNCH)}</Placemark>\n"
    body = styles + kml_folder("Heat seen", folders) + kml_folder("Launch and landing", [launch])
    return kml_document(f"{FIRE}, sortie {sightings.sortie.name}", body).encode()


def sightings_in_kmz(sightings: Sightings) -> bytes:
    """Return sightings as a KMZ with an icon inside and typed fields."""
    styles = (
        '<Style id="plain"><IconStyle><scale>0.8</scale><Icon><href>files/spot.png</href></Icon></IconStyle></Style>\n'
        '<Style id="chosen"><IconStyle><scale>1.2</scale><Icon><href>files/spot.png</href></Icon></IconStyle></Style>\n'
        '<StyleMap id="spot"><Pair><key>normal</key><styleUrl>#plain</styleUrl></Pair>'
        "<Pair><key>highlight</key><styleUrl>#chosen</styleUrl></Pair></StyleMap>\n"
    )
    folders = [
        kml_folder(f"{name} heat", [_typed_placemark(sightings, row) for row in _rows_of(sightings, name)])
        for name in HEAT_CLASSES
    ]
    document = kml_document(f"{FIRE}, sortie {sightings.sortie.name}", styles + _SCHEMA + "".join(folders))
    return pack({"doc.kml": document.encode(), "files/spot.png": draw_icon()})


def flights_as_tracks(title: str, flights: Sequence[Flight]) -> bytes:
    """Return flights as tracks with a time, a height and a heading at each fix."""
    placemarks = "".join(_track_placemark(flight) for flight in flights)
    return kml_document(title, placemarks, track_extension=True).encode()


def _balloon_placemark(sightings: Sightings, row: int) -> str:
    fields = {
        "Temperature": f"{sightings.temperature_c[row]:.1f} °C",
        "Area": f"{sightings.size_m2[row]:.2f} m²",
        "Image": sightings.image_file(row),
        "Sortie": sightings.sortie.name,
        "Aircraft": sightings.sortie.aircraft,
    }
    lines = "".join(f"<tr><td><b>{name}</b></td><td>{value}</td></tr>" for name, value in fields.items())
    return (
        f"<Placemark><name>{sightings.label(row)}</name>"
        f"<description><![CDATA[<table border='0'>{lines}</table>]]></description>"
        f"<TimeStamp><when>{in_local_zone(sightings.seconds[row])}</when></TimeStamp>"
        f"<styleUrl>#{_style(sightings.heat_class(row))}</styleUrl>"
        f"{kml_point(sightings.x[row], sightings.y[row], sightings.altitude_m[row])}</Placemark>\n"
    )


def _typed_placemark(sightings: Sightings, row: int) -> str:
    fields = {
        "temperature_c": f"{sightings.temperature_c[row]:.1f}",
        "image": sightings.image_file(row),
        "sortie": sightings.sortie.name,
        "area_m2": f"{sightings.size_m2[row]:.2f}",
    }
    simple = "".join(f'<SimpleData name="{name}">{value}</SimpleData>' for name, value in fields.items())
    return (
        f"<Placemark><name>{sightings.label(row)}</name>"
        f"<TimeStamp><when>{in_local_zone(sightings.seconds[row])}</when></TimeStamp><styleUrl>#spot</styleUrl>"
        f'<ExtendedData><SchemaData schemaUrl="#heat">{simple}</SchemaData></ExtendedData>'
        f"{kml_point(sightings.x[row], sightings.y[row], sightings.altitude_m[row])}</Placemark>\n"
    )


def _track_placemark(flight: Flight) -> str:
    longitude, latitude = flight.degrees()
    whens = "".join(f"<when>{in_utc(value, milliseconds=True)}</when>\n" for value in flight.seconds)
    places = "".join(
        f"<gx:coord>{lon:.7f} {lat:.7f} {alt:.1f}</gx:coord>\n"
        for lon, lat, alt in zip(longitude, latitude, flight.altitude_m, strict=True)
    )
    headings = "".join(f"<gx:angles>{value:.0f} 0 0</gx:angles>\n" for value in flight.heading)
    return (
        f"<Placemark><name>{escape(flight.name)}</name><description>Aircraft {flight.aircraft}, sortie {flight.sortie}"
        f"</description>\n<gx:Track><altitudeMode>absolute</altitudeMode>\n{whens}{places}{headings}</gx:Track>\n"
        "</Placemark>\n"
    )


def _rows_of(sightings: Sightings, heat_class: str) -> list[int]:
    return [row for row in range(len(sightings)) if sightings.heat_class(row) == heat_class]


def _style(heat_class: str) -> str:
    return heat_class.lower().replace(" ", "_")

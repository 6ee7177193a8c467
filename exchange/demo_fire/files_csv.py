"""Tables as text, each in another country's and another desk's manner."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from exchange.demo_fire.flights import Flight
from exchange.demo_fire.grid import usng, utm, utm_zones
from exchange.demo_fire.scene import FIRE, in_bare_local, in_local_zone, in_utc
from exchange.demo_fire.sorties import Sightings

_REMARKS = {
    3: 'stump hole, "still flaming"',
    7: "two snags\nleaning downhill",
    11: "+ check the log deck",
    19: "=rock?",
}
_SQUARE_FEET = 1 / 0.3048**2


def to_csv(rows: Iterable[Sequence[object]], *, separator: str = ",", line_end: str = "\n") -> str:
    """Write rows as a table; the first is the header."""
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator=line_end).writerows(rows)
    return text.getvalue()


def degrees_minutes(value: float, marks: str) -> str:
    """Write degrees and decimal minutes, such as ``44°31.2046' N``.

    Examples
    --------
    >>> degrees_minutes(-114.5, "EW")
    "114°30.0000' W"
    """
    units = round(abs(value) * 60 * 10_000)
    return f"{units // 600_000}°{units % 600_000 / 10_000:07.4f}' {marks[int(value < 0)]}"


def sightings_in_feet(sightings: Sightings) -> bytes:
    """Return sightings in degrees and decimal minutes, Fahrenheit and feet, on a clock that names no zone."""
    rows: list[Sequence[object]] = [
        (
            "Spot",
            "Latitude",
            "Longitude",
            "Temp (F)",
            "Elevation (ft)",
            "Area (sq ft)",
            "Time",
            "Image",
            "Remarks",
            "Fire",
        )
    ]
    longitude, latitude = sightings.degrees()
    for row in range(len(sightings)):
        rows.append(
            (
                sightings.label(row),
                degrees_minutes(latitude[row], "NS"),
                degrees_minutes(longitude[row], "EW"),
                f"{sightings.temperature_c[row] * 1.8 + 32:.0f}",
                f"{sightings.altitude_m[row] / 0.3048:.0f}",
                f"{sightings.size_m2[row] * _SQUARE_FEET:.1f}",
                in_bare_local(sightings.seconds[row]),
                sightings.image_file(row),
                _REMARKS.get(row, ""),
                FIRE,
            )
        )
    return to_csv(rows, line_end="\r\n").encode("utf-8-sig")


def sightings_in_spanish(sightings: Sightings) -> bytes:
    """Return sightings in UTM, each in the zone it lies in, with semicolons, decimal commas and a western code page."""
    rows: list[Sequence[object]] = [
        (
            "Punto",
            "Huso",
            "Este",
            "Norte",
            "Temperatura (°C)",
            "Cota (m)",
            "Fecha y hora",
            "Imagen",
            "Vuelo",
            "Incendio",
        )
    ]
    longitude, latitude = sightings.degrees()
    for row, zone in enumerate(utm_zones(longitude).tolist()):
        easting, northing = utm(zone).to_metres(longitude[row], latitude[row])
        rows.append(
            (
                sightings.label(row),
                f"{zone}N",
                _with_comma(float(easting)),
                _with_comma(float(northing)),
                _with_comma(float(sightings.temperature_c[row])),
                _with_comma(float(sightings.altitude_m[row])),
                in_utc(sightings.seconds[row]),
                sightings.image_file(row),
                sightings.sortie.name,
                "Marrow Flat (inventado)",
            )
        )
    return to_csv(rows, separator=";", line_end="\r\n").encode("cp1252")


def sightings_on_the_grid(sightings: Sightings) -> bytes:
    """Return sightings with a national grid reference each, separated by tabs."""
    rows: list[Sequence[object]] = [("Name", "USNG", "Temp F", "Time seen", "Image", "Flight", "Fire")]
    longitude, latitude = sightings.degrees()
    for row in range(len(sightings)):
        rows.append(
            (
                sightings.label(row),
                usng(longitude[row], latitude[row]),
                f"{sightings.temperature_c[row] * 1.8 + 32:.0f}",
                in_local_zone(sightings.seconds[row]),
                sightings.image_file(row),
                sightings.sortie.name,
                FIRE,
            )
        )
    return to_csv(rows, separator="\t").encode()


def flight_as_csv(flight: Flight) -> bytes:
    """Return a flight in feet, with where the camera looked at each fix."""
    rows: list[Sequence[object]] = [
        ("Time", "Latitude", "Longitude", "Altitude (ft)", "Height above ground (ft)", "Heading", "Camera heading",
         "Camera pitch", "Sortie", "Aircraft", "Remarks")
    ]  # fmt: skip
    longitude, latitude = flight.degrees()
    for row in range(len(flight)):
        rows.append(
            (
                in_utc(flight.seconds[row]),
                f"{latitude[row]:.7f}",
                f"{longitude[row]:.7f}",
                f"{flight.altitude_m[row] / 0.3048:.1f}",
                f"{flight.above_ground_m[row] / 0.3048:.1f}",
                f"{flight.heading[row]:.0f}",
                f"{flight.camera_heading[row]:.1f}",
                f"{flight.camera_pitch[row]:.1f}",
                flight.sortie,
                flight.aircraft,
                "invented data" if row == 0 else "",
            )
        )
    return to_csv(rows).encode()


def _with_comma(value: float) -> str:
    return f"{value:.1f}".replace(".", ",")

"""A zipped point shapefile in NAD 83 / UTM zone 11N, also for points that lie in zone 12."""

from __future__ import annotations

import struct
from collections.abc import Sequence

from exchange.demo_fire.archive import pack
from exchange.demo_fire.grid import utm
from exchange.demo_fire.scene import Floats, in_utc
from exchange.demo_fire.sorties import Sightings

NAD83_UTM_11N_WKT = (
    'PROJCS["NAD83 / UTM zone 11N",GEOGCS["NAD83",DATUM["North_American_Datum_1983",'
    'SPHEROID["GRS 1980",6378137,298.257222101]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]],'
    'PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",0],PARAMETER["central_meridian",-117],'
    'PARAMETER["scale_factor",0.9996],PARAMETER["false_easting",500000],PARAMETER["false_northing",0],'
    'UNIT["metre",1],AUTHORITY["EPSG","26911"]]'
)
_FIELDS = (
    ("NAME", "C", 10, 0),
    ("TEMP_K", "N", 7, 1),
    ("ELEV_M", "N", 7, 1),
    ("SEEN_UTC", "C", 20, 0),
    ("IMAGE", "C", 16, 0),
    ("SORTIE", "C", 6, 0),
    ("REMARK", "C", 24, 0),
)
_POINT = 1


def sightings_as_shapefile(sightings: Sightings) -> bytes:
    """Return sightings as a zipped shapefile, temperatures in kelvin."""
    easting, northing = utm(11).to_metres(*sightings.degrees())
    main, index = _geometry(easting, northing)
    rows = [
        (
            sightings.label(row),
            f"{sightings.temperature_c[row] + 273.15:.1f}",
            f"{sightings.altitude_m[row]:.1f}",
            in_utc(sightings.seconds[row]),
            sightings.image_file(row),
            sightings.sortie.name,
            "invented",
        )
        for row in range(len(sightings))
    ]
    stem = "s1_sur"
    members = {".shp": main, ".shx": index, ".dbf": _table(rows), ".prj": NAD83_UTM_11N_WKT.encode(), ".cpg": b"UTF-8"}
    return pack({stem + suffix: content for suffix, content in members.items()})


def _geometry(easting: Floats, northing: Floats) -> tuple[bytes, bytes]:
    """Return the main file and its index: lengths are counted in words of 16 bits."""
    box = struct.pack("<8d", easting.min(), northing.min(), easting.max(), northing.max(), 0, 0, 0, 0)
    main, index = b"", b""
    for number, (x, y) in enumerate(zip(easting, northing, strict=True), start=1):
        index += struct.pack(">2i", 50 + len(main) // 2, 10)
        main += struct.pack(">2i", number, 10) + struct.pack("<i2d", _POINT, x, y)
    return _head(len(main), box) + main, _head(len(index), box) + index


def _head(body_bytes: int, box: bytes) -> bytes:
    return struct.pack(">7i", 9994, 0, 0, 0, 0, 0, 50 + body_bytes // 2) + struct.pack("<2i", 1000, _POINT) + box


def _table(rows: Sequence[Sequence[str]]) -> bytes:
    """Return the attribute table in the dBASE III form that goes with a shapefile."""
    record_bytes = 1 + sum(width for _, _, width, _ in _FIELDS)
    head = struct.pack("<4BIHH20x", 3, 126, 8, 14, len(rows), 33 + 32 * len(_FIELDS), record_bytes)
    for name, kind, width, decimals in _FIELDS:
        head += struct.pack("<11sc4xBB14x", name.encode(), kind.encode(), width, decimals)
    body = b"".join(b" " + b"".join(_cell(*pair) for pair in zip(row, _FIELDS, strict=True)) for row in rows)
    return head + b"\r" + body + b"\x1a"


def _cell(text: str, field: tuple[str, str, int, int]) -> bytes:
    _, kind, width, _ = field
    return (text.rjust(width) if kind == "N" else text.ljust(width)).encode("ascii")

"""One of every awkward case by name; every format is crossed with all of them. All data is invented."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
from shapely.geometry import MultiPolygon, Polygon, box

from exchange.model import STATUS_WORDS, Detections, Packet, Perimeter, Places, StatusNotes, Track
from exchange.testing.strategies import HOSTILE_TEXTS

LONGITUDE, LATITUDE = -114.2031, 44.5012


def _seconds(*offsets: float) -> np.ndarray:
    start = np.datetime64("2026-08-14T19:03:05.000", "ms")
    return np.array([start + np.timedelta64(round(1000 * offset), "ms") for offset in offsets])


def _line(count: int, **columns: object) -> Track:
    steps = np.arange(count)
    return Track(longitude=LONGITUDE + 1e-5 * steps, latitude=LATITUDE + 2e-5 * steps, **columns)


def _detections(**columns: object) -> Packet:
    return Packet(detections=Detections(**columns))


_HOLE = [(-114.19, 44.51), (-114.19, 44.52), (-114.18, 44.52), (-114.18, 44.51), (-114.19, 44.51)]
_AROUND = Polygon(box(-114.2, 44.5, -114.1, 44.6).exterior.coords, [_HOLE])
_CUT_AT_180 = MultiPolygon([box(179.5, 52.0, 180.0, 52.4), box(-180.0, 52.0, -179.7, 52.4)])

SAMPLES: dict[str, Packet] = {
    "empty": Packet(),
    "only the incident's name": Packet(incident="Marrow Flat"),
    "one point": _detections(longitude=[LONGITUDE], latitude=[LATITUDE]),
    "every column of a detection": _detections(
        id=["H-001", "H-002"],
        longitude=[LONGITUDE, LONGITUDE + 0.001],
        latitude=[LATITUDE, LATITUDE - 0.001],
        altitude=[1520.25, -3.0],
        time=_seconds(0, 0.25),
        temperature=[312.5, -1.5],
        area=[0.75, 12.0],
        accuracy=[2.5, 4.0],
        confidence=[0.5, 1.0],
        sortie=["S1", "S2"],
        aircraft=["A1", "A2"],
        status=["hot", "no heat"],
        first_seen=_seconds(-60, -61),
        last_seen=_seconds(60, 61),
        sightings=[3, 1],
        name=["stump", "log"],
        note=["roots smoking", "by the road"],
    ),
    "every status": _detections(
        id=[f"H-{n:03d}" for n in range(len(STATUS_WORDS))],
        longitude=LONGITUDE + 1e-4 * np.arange(len(STATUS_WORDS)),
        latitude=np.full(len(STATUS_WORDS), LATITUDE),
        status=list(STATUS_WORDS),
    ),
    "a point without position": _detections(id=["H-001", "H-002"], longitude=[np.nan, 1.5], latitude=[np.nan, 2.5]),
    "height zero is not missing": _detections(longitude=[1.0, 2.0], latitude=[3.0, 4.0], altitude=[0.0, np.nan]),
    "tiny and exact numbers": _detections(
        longitude=[1e-7, -1e-7, 0.1 + 0.2],
        latitude=[5e-324, -0.0001, 1 / 3],
        temperature=[1e-9, 1e22, 123456789.123456789],
    ),
    "the 180th meridian and the poles": _detections(
        longitude=[180.0, -180.0, 179.9999999, 0.0, 0.0], latitude=[52.0, 52.0, -17.0, 90.0, -90.0]
    ),
    "hostile text": _detections(
        id=[f"H-{n:03d}" for n in range(len(HOSTILE_TEXTS))],
        longitude=np.full(len(HOSTILE_TEXTS), LONGITUDE),
        latitude=np.full(len(HOSTILE_TEXTS), LATITUDE),
        name=list(HOSTILE_TEXTS),
        note=list(reversed(HOSTILE_TEXTS)),
        extra={"hostile": list(HOSTILE_TEXTS)},
    ),
    "non-ASCII": Packet(
        incident="Fuego de Peñasco Ñandú",
        places=Places(name=["Hütte über dem See", "水場"], longitude=[1, 2], latitude=[3, 4]),
    ),
    "foreign fields of every type": _detections(
        longitude=[1.0, 2.0],
        latitude=[3.0, 4.0],
        extra={
            "whole": [7, -3],
            "decimal": [7.0, 1e-9],
            "leading zeros": ["007", "7"],
            "truth": [True, False],
            "instant": [datetime(2026, 8, 14, 1, 2, 3, 456000, tzinfo=UTC), datetime(1969, 7, 20, tzinfo=UTC)],
            "nested": [{"a": [1, 2.5, None, {"b": "c"}]}, [1, [2, "x"]]],
            "with a gap": [None, 4],
            "mixed": [1, "1"],
            "truth with a gap": [None, True],
        },
    ),
    "foreign fields named like columns": _detections(
        longitude=[1.0],
        latitude=[2.0],
        temperature=[50.0],
        extra={"temperature": ["warm"], "exchange": ["x"], "extra.a": [1], "longitude": [9], "kind": ["k"]},
    ),
    "a track with times": Packet(tracks=(_line(3, name="edge", sortie="S1", aircraft="A1", time=_seconds(0, 1, 2.5)),)),
    "every column of a track": Packet(
        tracks=(
            _line(
                4,
                name="edge",
                sortie="S1",
                aircraft="A1",
                height_reference="take-off",
                altitude=[1500.0, 1501.5, 0.0, np.nan],
                height=[60.0, 61.0, 0.0, np.nan],
                time=_seconds(0, 1, 2, 3),
                heading=[0.0, 90.0, 359.5, np.nan],
                camera_heading=[45.0, 135.0, 10.0, np.nan],
                camera_pitch=[-45.0, -90.0, 0.0, np.nan],
                segment=[0, 0, 1, 1],
                extra={"satellites": [9, 10, 11, 12], "battery": [0.9, 0.8, 0.7, 0.6], "mode": ["a", "", "b", "b"]},
                properties={"pilot": "R. Vole", "flight": 7},
            ),
        )
    ),
    "a track with one fix": Packet(tracks=(_line(1, time=_seconds(0)),)),
    "a drawn line without times": Packet(tracks=(_line(3, name="drawn"),)),
    "a track with some times": Packet(
        tracks=(_line(3, time=np.array(["2026-08-14T19:03:05", "NaT", "2026-08-14T19:03:07"], "datetime64[ms]")),)
    ),
    "duplicate times": Packet(tracks=(_line(3, time=_seconds(1, 1, 1)),)),
    "times out of order": Packet(tracks=(_line(3, time=_seconds(5, 1, 3)),)),
    "times before 1970": Packet(
        tracks=(_line(2, time=np.array(["1901-12-31T23:59:59.999", "1969-12-31T23:59:59.001"], "datetime64[ms]")),)
    ),
    "a track over the 180th meridian": Packet(
        tracks=(Track(longitude=[179.9998, 179.9999, -179.9999], latitude=[52.0, 52.0, 52.0], time=_seconds(0, 1, 2)),)
    ),
    "two tracks of one name": Packet(tracks=(_line(2, name="edge"), _line(3, name="edge"))),
    "a perimeter": Packet(perimeters=(Perimeter(geometry=box(-114.2, 44.5, -114.1, 44.6)),)),
    "every field of a perimeter": Packet(
        perimeters=(
            Perimeter(
                geometry=_AROUND,
                id="P-2",
                name="Marrow Flat",
                as_of=np.datetime64("2026-08-14T20:00:00.500", "ms"),
                method="flown edge",
                accuracy=3.5,
                area=8.8e7,
                length=37_600.0,
                tracks=("edge 1", "edge 2"),
                quality={"closure_gap_m": 1.25, "laps": 2, "flags": ["bridge"]},
                extra={"local number": "007", "year": 2026},
            ),
        )
    ),
    "a perimeter in two parts": Packet(
        perimeters=(Perimeter(geometry=MultiPolygon([_AROUND, box(-114.05, 44.5, -114.0, 44.55)])),)
    ),
    "a perimeter cut at the 180th meridian": Packet(perimeters=(Perimeter(geometry=_CUT_AT_180),)),
    "status notes": Packet(
        notes=StatusNotes(
            detection=["H-001", "H-002", ""],
            status=["out", "hot", ""],
            time=_seconds(0, 60, 120),
            author=["crew 7", "crew 7", "B. Heron"],
            text=["cold to the hand", "", "smoke by the creek"],
            temperature=[np.nan, 140.0, np.nan],
            longitude=[LONGITUDE, np.nan, LONGITUDE],
            latitude=[LATITUDE, np.nan, LATITUDE],
            origin=["handheld", "radio", "handheld"],
        )
    ),
    "places": Packet(
        places=Places(
            name=["DP 4", "Helispot 1"],
            kind=["drop point", "helispot"],
            longitude=[LONGITUDE, LONGITUDE],
            latitude=[LATITUDE, LATITUDE],
            altitude=[1500.0, np.nan],
            time=_seconds(0, 1),
            symbol=["flag", "circle"],
            note=["gate locked", ""],
        )
    ),
    "some of everything": Packet(
        incident="Marrow Flat",
        tracks=(_line(3, name="edge", time=_seconds(0, 1, 2)), _line(2, name="drawn")),
        perimeters=(Perimeter(geometry=_AROUND, name="morning"),),
        detections=Detections(
            id=["H-001"], longitude=[LONGITUDE], latitude=[LATITUDE], status="hot", temperature=300.0
        ),
        notes=StatusNotes(detection=["H-001"], status=["working"], time=_seconds(5), author=["crew 7"]),
        places=Places(name=["DP 4"], kind=["drop point"], longitude=[LONGITUDE], latitude=[LATITUDE]),
    ),
}

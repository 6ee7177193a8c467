"""What two crews and the office send back: shortened names, ticks, moved pins, and the mistakes people make.

The story needs a numbered list: the one numbered by hand, or the one that the exchange itself made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from exchange.demo_fire.files_csv import to_csv
from exchange.demo_fire.files_gpx import gpx_document, waypoint
from exchange.demo_fire.files_kml import kml_document, kml_folder, kml_point
from exchange.demo_fire.hot_spots import FLARED_UP, PUT_OUT, HotSpots
from exchange.demo_fire.numbered_list import NumberedSpot
from exchange.demo_fire.scene import FIRE, FRAME, HOUR, dice, in_bare_local, in_utc, seconds_at

_REACH_M: Final = 12.0
_MORNING: Final = seconds_at("2026-08-14T08:10:00-06:00")
_DISPUTE: Final = seconds_at("2026-08-14T14:05:00-06:00")
_IN_ISLAND: Final = (-190.0, -55.0)
_SYMBOLS: Final = {"out": "green circle", "hot": "red circle", "working": "orange circle", "recheck": "purple circle"}
_WORDS: Final = {
    "out": ("cold to the touch, dug out", "cold, mixed and felt by hand", "out", "wet and cold"),
    "hot": ("still smoking", "stump hole, hot", "white ash, hot below", "HOT"),
    "working": ("line around it, needs water", "half dug"),
    "recheck": ("warm only, look again tonight", "no smoke, not felt"),
}

Meaning = Literal["out", "hot", "working", "recheck"]
_OPEN: Final[tuple[Meaning, ...]] = ("hot", "working", "recheck")
Kind = Literal["status", "conflict", "disagreement", "flares up later", "unplaced", "unplaced without a position"]


@dataclass(frozen=True)
class Report:
    """Hold one thing a crew reported, and what is the matter with it.

    Attributes
    ----------
    number
        The spot's permanent number as the crew wrote it, or empty.
    spot
        Row of the true spot that the crew stood at; -1 is none.
    meaning
        The status the crew meant.
    seconds
        When it was observed, on the fire's clock.
    x, y
        Where the crew marked it, in metres of the fire's frame.
    text
        The crew's words.
    kind
        What a reader has to find out about it.
    """

    number: str
    spot: int
    meaning: Meaning
    seconds: float
    x: float
    y: float
    text: str
    kind: Kind = "status"


@dataclass(frozen=True)
class Returns:
    """Hold the reports by who sent them, in the order of their files."""

    handheld: Sequence[Report]
    table: Sequence[Report]
    office: Sequence[Report]


def tell_returns(seed: int, spots: HotSpots, listed: Sequence[NumberedSpot]) -> Returns:
    """Return the reports of the second period about the spots of a numbered list.

    Worked spots that the list lacks are left out of the story.
    """
    random = dice(seed, "returns")
    numbers = _match_numbers(spots, listed)
    reports = [
        _report(random, spots, numbers[spot], spot, place)
        for place, spot in enumerate(spots.worked.tolist())
        if spot in numbers
    ]
    outs = [report for report in reports if report.meaning == "out"]
    others = [report for report in reports if report.meaning != "out"]
    handheld, table = [*outs[0::2], *others[0::3]], [*outs[1::2], *others[1::3]]
    office = sorted(others[2::3], key=lambda report: _OPEN.index(report.meaning))
    return Returns(
        [*handheld, *_conflict(handheld), *_dispute(office, "hot", 0.0), _smoke_in_the_island()],
        [*table, *_dispute(office, "out", 300.0), _smoke_without_a_place()],
        office,
    )


def returns_as_gpx(reports: Sequence[Report], short_names: Mapping[str, str] | None = None) -> bytes:
    """Return a handheld's waypoints: short names, the symbol changed, now and then a word added to the name."""
    points = []
    for order, report in enumerate(reports):
        name = (short_names or {}).get(report.number) or report.number.replace("-", "") or "SMOKE"
        if order % 5 == 4 and report.kind == "status":
            name = f"{name} {report.meaning.upper()}"
        fields = {"time": in_utc(report.seconds), "name": name, "cmt": report.text, "sym": _SYMBOLS[report.meaning]}
        points.append(waypoint(report.x, report.y, fields))
    return gpx_document(f"{FIRE}, crew Alder, day shift of 14 August", points)


def returns_as_csv(reports: Sequence[Report]) -> bytes:
    """Return a sheet with ticks, free text and a clock without a zone."""
    rows: list[tuple[str, ...]] = [
        ("Number", "Hot", "Working", "Look again", "Out", "Time", "By", "What we found", "Fire")
    ]
    for order, report in enumerate(reports):
        tick = ("x", "X", "✓", "yes")[order % 4]
        ticks = (tick if report.meaning == meaning else "" for meaning in ("hot", "working", "recheck", "out"))
        by = ("Juniper", "crew Juniper", "juniper 2")[order % 3]
        rows.append((report.number, *ticks, in_bare_local(report.seconds), by, report.text, FIRE))
    return to_csv(rows).encode()


def returns_as_kml(reports: Sequence[Report], listed: Sequence[NumberedSpot]) -> bytes:
    """Return the office's map: some pins were dragged into other folders, the rest stayed where all began."""
    names = {"Still hot": "hot", "Being worked": "working", "Look again": "recheck"}
    moved = {report.number for report in reports}
    folders = [
        kml_folder(
            name,
            [
                f"<Placemark><name>{report.number}</name><TimeStamp><when>{in_utc(report.seconds)}</when></TimeStamp>"
                f"{kml_point(report.x, report.y)}</Placemark>\n"
                for report in reports
                if report.meaning == meaning
            ],
        )
        for name, meaning in names.items()
    ]
    rest = [
        f"<Placemark><name>{spot.number}</name><Point><coordinates>{spot.longitude:.7f},{spot.latitude:.7f}"
        "</coordinates></Point></Placemark>\n"
        for spot in listed
        if spot.number not in moved
    ]
    return kml_document(f"{FIRE}, office map", "".join([*folders, kml_folder("Not checked yet", rest)])).encode()


def _match_numbers(spots: HotSpots, listed: Sequence[NumberedSpot]) -> dict[int, str]:
    """Return the number of each worked spot: that of the listed place nearest to it, within reach."""
    x, y = FRAME.to_metres([spot.longitude for spot in listed], [spot.latitude for spot in listed])
    numbers = {}
    for spot in spots.worked.tolist():
        away = np.hypot(x - spots.x[spot], y - spots.y[spot])
        if len(away) and away.min() < _REACH_M:
            numbers[spot] = listed[int(away.argmin())].number
    return numbers


def _report(random: np.random.Generator, spots: HotSpots, number: str, spot: int, place: int) -> Report:
    """Tell of one worked spot; those put out are reported half an hour after they were cooled."""
    meaning: Meaning = "out" if place < PUT_OUT else _OPEN[place // 3 % 3]
    seconds = spots.cooled[spot] + HOUR / 2 if meaning == "out" else _MORNING + random.uniform(0.0, 5.0) * HOUR
    x, y = spots.x[spot] + random.normal(0.0, 2.0), spots.y[spot] + random.normal(0.0, 2.0)
    text = _WORDS[meaning][place % len(_WORDS[meaning])]
    kind: Kind = "flares up later" if place < FLARED_UP else "status"
    return Report(number, spot, meaning, float(seconds), float(x), float(y), text, kind)


def _conflict(reports: Sequence[Report]) -> list[Report]:
    """Return a mark named after one spot and set at another, far from it."""
    if len(reports) < 2:
        return []
    here = reports[-1]
    named = max(reports, key=lambda report: (report.x - here.x) ** 2 + (report.y - here.y) ** 2)
    return [Report(named.number, here.spot, "out", here.seconds + HOUR, here.x, here.y, "cold", "conflict")]


def _dispute(reports: Sequence[Report], meaning: Meaning, later_seconds: float) -> list[Report]:
    """Return one side of a dispute: two crews see one spot within minutes and say opposite things."""
    return [
        Report(r.number, r.spot, meaning, _DISPUTE + later_seconds, r.x, r.y, _WORDS[meaning][0], "disagreement")
        for r in reports[:1]
    ]


def _smoke_in_the_island() -> Report:
    when, text = _MORNING + 4.2 * HOUR, "smoke in the green, no number"
    return Report("", -1, "hot", when, *_IN_ISLAND, text, "unplaced")


def _smoke_without_a_place() -> Report:
    when, text = _MORNING + 5.6 * HOUR, "smoker by two snags above the draw, no number on our sheet"
    return Report("", -1, "hot", when, float("nan"), float("nan"), text, "unplaced without a position")

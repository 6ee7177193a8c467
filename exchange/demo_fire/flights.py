"""Flown logs of the edge: legs to and from the launch, hover, loops, spikes, frozen fixes and dropouts."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from exchange.demo_fire.fire_edge import FireEdge
from exchange.demo_fire.scene import FRAME, LAUNCH, Floats, Whole, dice, seconds_at
from exchange.demo_fire.terrain import ground_m

_EDGE_SPEED_MPS: Final = 6.0
_TRANSIT_SPEED_MPS: Final = 11.0
_HEIGHT_M: Final = 60.0
_SIDE_HEIGHT_M: Final = 50.0
_CAMERA_DEPRESSION_DEGREES: Final = 45.0
_NOISE_M, _NOISE_SECONDS = 0.7, 15.0


@dataclass(frozen=True)
class Flight:
    """Hold one logged flight, one fix a row.

    Attributes
    ----------
    name, sortie, aircraft
        What the log says.
    doing
        What the aircraft truly did at each fix, or what is wrong with the fix: ``ground``, ``transit``, ``edge``,
        ``hover``, ``loop``, ``spike``, ``frozen``, ``duplicate``.
    x, y
        Logged place in metres of the fire's frame.
    seconds
        Of the fire's clock.
    altitude_m, height_m, above_ground_m
        Above mean sea level, above the launch, above the ground below.
    heading, speed
        Degrees from true north; metres per second.
    camera_heading, camera_pitch
        Degrees from true north; degrees above the horizon, so straight down is -90.
    """

    name: str
    sortie: str
    aircraft: str
    doing: NDArray[np.str_]
    x: Floats
    y: Floats
    seconds: Floats
    altitude_m: Floats
    height_m: Floats
    above_ground_m: Floats
    heading: Floats
    speed: Floats
    camera_heading: Floats
    camera_pitch: Floats

    def __len__(self) -> int:
        """Return the number of fixes."""
        return len(self.x)

    def degrees(self) -> tuple[Floats, Floats]:
        """Return the longitudes and latitudes."""
        return FRAME.to_degrees(self.x, self.y)

    def take(self, rows: Whole) -> Flight:
        """Return some of the fixes, in the given order."""
        columns = [column.name for column in fields(self) if column.name not in ("name", "sortie", "aircraft")]
        return replace(self, **{name: getattr(self, name)[rows] for name in columns})


@dataclass(frozen=True)
class _Path:
    """Hold true places at equal steps of time, and what was done there."""

    places: Floats
    doing: NDArray[np.str_]


@dataclass(frozen=True)
class Flights:
    """Hold the flights of the scenario by what they show."""

    edge: Flight
    island: Flight
    side_look: Flight
    first_battery: Flight
    second_battery: Flight
    half_ring: Flight


def fly_all(seed: int, edge: FireEdge) -> Flights:
    """Return every flight along the edge."""
    near = _nearest_share(edge.first, LAUNCH)
    near_grown = _nearest_share(edge.grown, LAUNCH)
    island_near = _nearest_share(edge.island, LAUNCH)
    return Flights(
        edge=_spoil(dice(seed, "flaws"), _log(seed, "D-1 edge", "Dipper", "2026-08-13T05:48:00-06:00", 2.0,
                    _round_trip(_arc(edge.first, near, 1.08), 2.0, wander=True)), 2.0),
        island=_log(seed, "D-1 island", "Dipper", "2026-08-13T06:15:00-06:00", 5.0,
                    _round_trip(_arc(edge.island, island_near, -1.10), 5.0)),
        side_look=_look_aside(seed, edge.first, near),
        first_battery=_log(seed, "D-2 flight 1", "Dipper", "2026-08-14T06:20:00-06:00", 1.0,
                           _round_trip(_arc(edge.grown, near_grown, 0.57), 1.0, bend_m=90.0)),
        second_battery=_log(seed, "D-2 flight 2", "Dipper", "2026-08-14T06:45:00-06:00", 1.0,
                            _round_trip(_arc(edge.grown, near_grown + 0.05, -0.54), 1.0)),
        half_ring=_log(seed, "S-1 part", "Siskin", "2026-08-14T05:05:00-06:00", 1.0,
                       _way_out(_arc(edge.grown, near_grown + 0.12, 0.50), 1.0)),
    )  # fmt: skip


def _way_out(arc: Floats, hertz: float) -> _Path:
    """Fly to an arc and along it; the log ends in the air at its end."""
    trip = _round_trip(arc, hertz)
    until = int(np.flatnonzero(trip.doing == "edge")[-1]) + 1
    return _Path(trip.places[:until], trip.doing[:until])


def _round_trip(arc: Floats, hertz: float, *, wander: bool = False, bend_m: float = 0.0) -> _Path:
    """Wait on the ground, fly to the start of an arc, along it, and back."""
    launch = np.array(LAUNCH)
    along = _at_equal_times(arc, _EDGE_SPEED_MPS / hertz)
    pieces = [
        ("ground", np.repeat(launch[None], round(20 * hertz), axis=0)),
        ("transit", _leg(launch, along[0], hertz, bend_m)),
        *(_wander(along, hertz) if wander else [("edge", along)]),
        ("transit", _leg(along[-1], launch, hertz, -bend_m)),
        ("ground", np.repeat(launch[None], round(8 * hertz), axis=0)),
    ]
    doing = np.concatenate([np.full(len(places), what) for what, places in pieces])
    return _Path(np.vstack([places for _, places in pieces]), doing)


def _wander(along: Floats, hertz: float) -> list[tuple[str, Floats]]:
    """Cut an arc up to hover twice and to fly one small circle to look again."""
    thirds = [round(len(along) * share) for share in (0.21, 0.47, 0.76)]
    first, second, third, last = np.split(along, thirds)
    turn = np.linspace(0, 2 * np.pi, round(14 * hertz))[:, None]
    ahead = first[-1] - first[-2]
    side = 12.0 * np.array([-ahead[1], ahead[0]]) / np.hypot(*ahead)
    circle = first[-1] + side - np.cos(turn) * side + np.sin(turn) * 12.0 * ahead / np.hypot(*ahead)
    hover = [np.repeat(piece[-1:], round(25 * hertz), axis=0) for piece in (second, third)]
    return [("edge", first), ("loop", circle), ("edge", second), ("hover", hover[0]),
            ("edge", third), ("hover", hover[1]), ("edge", last)]  # fmt: skip


def _leg(start: Floats, end: Floats, hertz: float, bend_m: float) -> Floats:
    """Return a straight or a bent leg, its ends left out."""
    share = np.linspace(0.0, 1.0, 50)[:, None]
    ahead = (end - start) / np.hypot(*(end - start))
    line = start + share * (end - start) + np.sin(np.pi * share) * bend_m * np.array([-ahead[1], ahead[0]])
    return _at_equal_times(line, _TRANSIT_SPEED_MPS / hertz)[1:-1]


def _log(seed: int, name: str, aircraft: str, begin: str, hertz: float, path: _Path) -> Flight:
    """Return what the receiver logged of a path flown with the camera straight down."""
    x, y = path.places.T
    on_ground = path.doing == "ground"
    since_start, till_landing = np.cumsum(~on_ground), np.cumsum(~on_ground[::-1])[::-1]
    lands = on_ground[-1]
    climb = np.clip(np.minimum(since_start, till_landing if lands else len(x)) / (20 * hertz), 0.0, 1.0)
    above = np.where(on_ground, 0.0, _HEIGHT_M * climb)
    down = np.full(len(x), -90.0)
    return _measure(seed, name, aircraft, begin, hertz, path, ground_m(x, y) + above, _headings(path.places), down)


def _look_aside(seed: int, ring: Floats, start: float) -> Flight:
    """Fly outside the edge, counter-clockwise, the camera at about 45° below the horizon to the left onto the edge."""
    hertz = 1.0
    edge = _at_equal_times(_arc(ring, start, 1.05), _EDGE_SPEED_MPS / hertz)
    smooth = _smooth(edge, 17)
    ahead = np.gradient(smooth, axis=0)
    outward = np.column_stack([ahead[:, 1], -ahead[:, 0]]) / np.linalg.norm(ahead, axis=1, keepdims=True)
    offset = np.full(len(edge), _SIDE_HEIGHT_M)
    for _ in range(4):
        places = edge + outward * offset[:, None]
        altitude = ground_m(*places.T) + _SIDE_HEIGHT_M
        rise = np.maximum(altitude - ground_m(*edge.T), 20.0)
        offset = rise / np.tan(np.radians(_CAMERA_DEPRESSION_DEGREES))
    reach = np.linalg.norm(places - edge, axis=1)
    pitch = -np.degrees(np.arctan2(altitude - ground_m(*edge.T), reach))
    look = np.degrees(np.arctan2(-outward[:, 0], -outward[:, 1])) % 360.0
    path = _Path(places, np.full(len(places), "edge"))
    return _measure(seed, "N-1 edge", "Nuthatch", "2026-08-13T21:40:00-06:00", hertz, path, altitude, look, pitch)


def _measure(
    seed: int,
    name: str,
    aircraft: str,
    begin: str,
    hertz: float,
    path: _Path,
    altitude: Floats,
    look: Floats,
    pitch: Floats,
) -> Flight:
    """Add the receiver's noise, which wanders slowly, and the sensors' own."""
    random = dice(seed, f"flight {name}")
    x, y = path.places.T
    count = len(x)
    heading, (speed_x, speed_y) = _headings(path.places), np.gradient(path.places, axis=0).T * hertz
    ground = ground_m(x, y)
    return Flight(
        name, name.split()[0], aircraft, path.doing,
        x + _slow_noise(random, count, hertz), y + _slow_noise(random, count, hertz),
        seconds_at(begin) + np.arange(count) / hertz,
        altitude + 1.5 * _slow_noise(random, count, hertz),
        altitude - float(ground_m(*LAUNCH)) + random.normal(0, 0.2, count),
        altitude - ground + random.normal(0, 0.4, count),
        (heading + random.normal(0, 1.5, count)) % 360.0, np.hypot(speed_x, speed_y),
        (look + random.normal(0, 0.5, count)) % 360.0, pitch + random.normal(0, 0.2, count),
    )  # fmt: skip


def _spoil(random: np.random.Generator, flight: Flight, hertz: float) -> Flight:
    """Add spikes, one burst of them, frozen and repeated fixes, and dropouts of some seconds."""
    x, y, doing = flight.x.copy(), flight.y.copy(), flight.doing.astype("U9")
    edge = np.flatnonzero(doing == "edge")
    marks = edge[(np.linspace(0.06, 0.95, 10) * len(edge)).astype(np.int64)]
    for row, reach, length in zip(marks[:5], (45.0, 120.0, 200.0, 30.0, 70.0), (1, 1, 1, 2, 6), strict=True):
        turn = random.uniform(0, 2 * np.pi)
        rows = slice(row, row + length)
        x[rows] += reach * np.cos(turn)
        y[rows] += reach * np.sin(turn)
        doing[rows] = "spike"
    for row in marks[5:7]:
        still = slice(row + 1, row + 1 + round(3 * hertz))
        x[still], y[still], doing[still] = x[row], y[row], "frozen"
    kept = np.ones(len(flight), dtype=bool)
    for row, gap_seconds in zip(marks[7:9], (6, 11), strict=True):
        kept[row : row + round(gap_seconds * hertz)] = False
    repeated = np.where(np.isin(np.arange(len(flight)), marks[9] + np.array([0, 3, 9, 20])), 2, kept.astype(np.int64))
    order = np.repeat(np.arange(len(flight)), repeated)
    spoiled = replace(flight, x=x, y=y, doing=doing).take(order)
    spoiled.doing[1:][order[1:] == order[:-1]] = "duplicate"
    return spoiled


def _arc(ring: Floats, start: float, share: float) -> Floats:
    """Return a part of a ring: from a share of its length on, over a share of it; negative runs clockwise."""
    closed = np.vstack([ring, ring[:1]])
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    count = max(2, round(abs(share) * length[-1]))
    wanted = (start + np.linspace(0.0, share, count)) % 1.0 * length[-1]
    return np.column_stack([np.interp(wanted, length, closed[:, 0]), np.interp(wanted, length, closed[:, 1])])


def _nearest_share(ring: Floats, place: tuple[float, float]) -> float:
    length = np.cumsum(np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1))
    nearest = int(np.hypot(*(ring - place).T).argmin())
    return float((length[nearest - 1] if nearest else 0.0) / length[-1])


def _at_equal_times(line: Floats, step_m: float) -> Floats:
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    wanted = np.arange(0.0, length[-1], step_m)
    return np.column_stack([np.interp(wanted, length, line[:, 0]), np.interp(wanted, length, line[:, 1])])


def _smooth(line: Floats, width: int) -> Floats:
    """Return the running mean over an odd number of places; the ends are held."""
    padded = np.pad(line, ((width // 2, width // 2), (0, 0)), mode="edge")
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, width, axis=0).mean(axis=-1))


def _headings(places: Floats) -> Floats:
    """Return the direction of travel in degrees from north; where the aircraft stands still, north."""
    east, north = np.gradient(places, axis=0).T
    return np.asarray(np.degrees(np.arctan2(east, north)) % 360.0)


def _slow_noise(random: np.random.Generator, count: int, hertz: float) -> Floats:
    """Return noise of ``_NOISE_M`` that keeps its value for about ``_NOISE_SECONDS`` (first-order autoregression)."""
    keep = float(np.exp(-1.0 / (hertz * _NOISE_SECONDS)))
    pushes = random.standard_normal(count) * _NOISE_M * np.sqrt(1 - keep**2)
    noise = np.empty(count)
    value = random.standard_normal() * _NOISE_M
    for row, push in enumerate(pushes.tolist()):
        value = keep * value + push
        noise[row] = value
    return noise

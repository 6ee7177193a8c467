"""What a pilot plans and does: legs around the rings, and each deviation as a function from legs to legs."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point

from tests.perimeter.simulator.edges import Edge, Ring
from tests.perimeter.simulator.legs import Leg, along_ring, bent, look_again, stand, straight

Floats = NDArray[np.float64]
Legs = list[Leg]


def speed_along(ring: Ring) -> float:
    """Return the metres per second at which a ring is flown: small fires slowly."""
    return float(np.clip(ring.length / 60.0, 2.5, 10.0))


def once_around(random: np.random.Generator, ring: Ring, number: int, share: float = 1.0) -> Legs:
    """Fly from a random place a share of a ring, either way round."""
    distance = random.choice([-1.0, 1.0]) * share * ring.length
    return [along_ring(ring, number, random.uniform(0, ring.length), distance, speed_along(ring))]


def gap_share(random: np.random.Generator, ring: Ring) -> float:
    """Return the share flown when up to 150 m, or an eighth of a small ring, are left open."""
    return 1.0 - random.uniform(0.0, min(150.0, ring.length / 8)) / ring.length


def in_batteries(random: np.random.Generator, ring: Ring, number: int, count: int, joint: str) -> list[Legs]:
    """Cut one way around into flights that overlap, or leave gaps, at each joint; each flown either way."""
    start, part, flights = random.uniform(0, ring.length), ring.length / count, []
    for battery in range(count):
        most = min(150.0, ring.length / 8) / count
        extra = random.uniform(0.03, 0.15) * part if joint == "overlap" else -random.uniform(0.0, most)
        begin, distance = start + battery * part - extra / 2, part + extra
        if random.random() < 0.5:
            begin, distance = begin + distance, -distance
        flights.append([along_ring(ring, number, begin, distance, speed_along(ring))])
    return [flights[index] for index in random.permutation(count)]


def figure_eight(random: np.random.Generator, edge: Edge) -> Legs:
    """Fly one body, cross the waist, fly the other body the other way round, and cross back."""
    ring, (low, high) = edge.rings[0], edge.waist
    room = random.uniform(8.0, 20.0)
    speed = speed_along(ring)
    middle = high + (low + ring.length - high) * random.uniform(0.3, 0.7)
    legs = [
        along_ring(ring, 0, middle, low + ring.length - room - middle, speed),
        along_ring(ring, 0, high - room, low + room - (high - room), speed),
        along_ring(ring, 0, high + room, middle - high - room, speed),
    ]
    crossings = [
        straight(before.places[-1], after.places[0], speed, doing="crossing")
        for before, after in itertools.pairwise(legs)
    ]
    return [legs[0], crossings[0], legs[1], crossings[1], legs[2]]


def hovers(random: np.random.Generator, legs: Legs) -> Legs:
    """Stand still one to three times on the way, 10-60 s."""
    for _ in range(random.integers(1, 4)):
        before, after, rest, index = _cut_somewhere(random, legs)
        pause = stand(before.places[-1], random.uniform(10.0, 60.0), "hover")
        legs = [*rest[:index], before, pause, after, *rest[index:]]
    return legs


def doubles_back(random: np.random.Generator, legs: Legs) -> Legs:
    """Turn round on the way, fly 10-80 m back along the edge, turn again."""
    for _ in range(random.integers(1, 3)):
        before, after, rest, index = _cut_somewhere(random, legs)
        count = min(len(before.places), int(random.uniform(10, 80)))
        back = replace(before, places=before.places[: -count - 1 : -1], along_m=before.along_m[: -count - 1 : -1])
        again = replace(before, places=before.places[-count:], along_m=before.along_m[-count:])
        legs = [*rest[:index], before, back, again, after, *rest[index:]]
    return legs


def looks_again(random: np.random.Generator, edge: Edge, legs: Legs) -> Legs:
    """Fly one to three small circles to look at a place again."""
    for _ in range(random.integers(1, 4)):
        before, after, rest, index = _cut_somewhere(random, legs)
        direction = float(np.sign(after.along_m[-1] - after.along_m[0]))
        circle = look_again(random, edge.rings[before.ring], after.along_m[0], direction, before.speed)
        legs = [*rest[:index], before, circle, after, *rest[index:]]
    return legs


def with_stubs(random: np.random.Generator, legs: Legs) -> Legs:
    """Begin and end 15-40 m off the edge, on any side, so that the ends may cross each other and the edge."""

    def off(place: Floats) -> Floats:
        reach, turn = random.uniform(15.0, 40.0), random.uniform(0, 2 * np.pi)
        return place + reach * np.array([np.cos(turn), np.sin(turn)])

    first, last = legs[0].places[0], legs[-1].places[-1]
    return [straight(off(first), first, legs[0].speed), *legs, straight(last, off(last), legs[-1].speed)]


def from_launch(
    random: np.random.Generator, legs: Legs, launch: Floats, home: Floats, kind: str, *, waits: bool
) -> Legs:
    """Fly from the launch point to the first leg and home from the last; with a wait on the ground before it."""

    def leg(start: Floats, end: Floats) -> Leg:
        return bent(random, start, end) if kind == "bent" else straight(start, end)

    ground = [stand(launch, random.uniform(15.0, 90.0), "ground")] if waits else []
    return [*ground, leg(launch, legs[0].places[0]), *legs, leg(legs[-1].places[-1], home)]


def launch_point(random: np.random.Generator, area: shapely.Geometry, start: Floats, *, inside: bool) -> Floats:
    """Return a place inside the burn, or 60-400 m outside it on the side where the edge is begun mostly."""
    if inside:
        core = shapely.maximum_inscribed_circle(max(shapely.get_parts(area), key=lambda part: part.area))
        middle, reach = np.asarray(core.coords[0]), core.length
        turn, far = random.uniform(0, 2 * np.pi), random.uniform(0.0, 0.5) * reach
        return middle + far * np.array([np.cos(turn), np.sin(turn)])
    while True:
        turn, far = random.uniform(0, 2 * np.pi), random.uniform(60.0, 400.0)
        place = start + far * np.array([np.cos(turn), np.sin(turn)])
        if area.distance(Point(place)) > min(50.0, 0.6 * far):
            return place


def _cut_somewhere(random: np.random.Generator, legs: Legs) -> tuple[Leg, Leg, Legs, int]:
    """Cut a leg along a ring in two: before, after, the other legs, and where the two belong among them."""
    choices = [index for index, leg in enumerate(legs) if leg.doing == "ring" and len(leg.places) > 24]
    lengths = np.array([len(legs[index].places) for index in choices], float)
    index = int(random.choice(choices, p=lengths / lengths.sum()))
    leg = legs[index]
    cut = int(random.integers(8, len(leg.places) - 8))
    before = replace(leg, places=leg.places[:cut], along_m=leg.along_m[:cut])
    after = replace(leg, places=leg.places[cut - 1 :], along_m=leg.along_m[cut - 1 :])
    return before, after, legs[:index] + legs[index + 1 :], index

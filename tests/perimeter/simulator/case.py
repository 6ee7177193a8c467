"""One case: a scenario with a seed becomes tracks, what the user states, and the truth."""

from __future__ import annotations

import itertools
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely

from exchange.model import Track
from tests.perimeter.simulator import camera, faults, plans
from tests.perimeter.simulator.edges import Edge, any_edge, two_fires, waisted, with_islands
from tests.perimeter.simulator.flight import Flight
from tests.perimeter.simulator.legs import fly, stand, straight
from tests.perimeter.simulator.place import Place
from tests.perimeter.simulator.scenarios import MIXABLE, SCENARIOS, Scenario

_BEGIN = np.datetime64("2026-08-13T12:00:00", "ms")


@dataclass(frozen=True)
class Case:
    """Hold one log and its truth.

    Attributes
    ----------
    name, seed, scenario
        Which it is.
    edge
        The true edge in metres.
    flown
        The rings that the aircraft followed: the edge, or the line beside it when the camera looked aside.
    offset_m
        How far outside the edge (negative: inside) the flown line lies.
    flights
        The logs with their labels.
    place
        Where on earth.
    options
        What the user states, by the names of ``TraceOptions``.
    """

    name: str
    seed: int
    scenario: Scenario
    edge: Edge
    flown: Edge
    offset_m: float
    flights: tuple[Flight, ...]
    place: Place
    options: Mapping[str, Any]

    @cached_property
    def truth(self) -> shapely.Geometry:
        """The true area in metres of the place's frame."""
        return self.edge.area

    @cached_property
    def tracks(self) -> list[Track]:
        """The logs as the exchange's model holds them."""
        return [self._track(number, flight) for number, flight in enumerate(self.flights, start=1)]

    def _track(self, number: int, flight: Flight) -> Track:
        longitude, latitude = self.place.to_degrees(flight.places)
        known = np.isfinite(flight.seconds)
        elapsed = np.where(known, np.round(1000 * np.where(known, flight.seconds, 0)), 0).astype("timedelta64[ms]")
        return Track(
            name=f"flight {number}",
            longitude=longitude,
            latitude=latitude,
            height=flight.height,
            height_reference="take-off",
            time=np.where(known, _BEGIN + np.timedelta64(number, "h") + elapsed, np.datetime64("NaT", "ms")),
            camera_heading=flight.camera_heading,
            camera_pitch=flight.camera_pitch,
        )


def make_case(name: str, seed: int) -> Case:
    """Return one case; the same name and seed give the same."""
    random = np.random.default_rng([seed, zlib.crc32(name.encode())])
    scenario = SCENARIOS[name]
    effects = set(scenario.effects)
    if "mixed" in effects:
        effects = {word for word in MIXABLE if random.random() < 0.3}
    low, high = scenario.acres if "island" not in effects else (max(5.0, scenario.acres[0]), scenario.acres[1])
    acres = float(np.exp(random.uniform(np.log(low), np.log(high))))
    edge = _edge(random, effects, acres)
    edge, flown, offset = _beside(random, edge, effects, acres)
    hertz = _hertz(random, effects)
    flights = [fly(random, legs, hertz) for legs in _plan(random, flown, effects)]
    flights, options = _look(random, flights, effects, hertz, offset)
    flights = [_spoil(random, flight, effects, hertz) for flight in flights]
    return Case(name, seed, scenario, edge, flown, offset, tuple(flights), _place(random, effects), options)


def _edge(random: np.random.Generator, effects: set[str], acres: float) -> Edge:
    if "waist" in effects:
        return waisted(random, max(acres, 4.0))
    if "two_fires" in effects:
        share = random.uniform(0.3, 1.0)
        other = np.exp(random.uniform(0.0, np.log(3.0))) if "uneven" in effects else max(1.0, acres * share)
        return two_fires(random, max(acres, 100.0) if "uneven" in effects else acres, other)
    edge = any_edge(random, acres)
    if "island" in effects:
        return with_islands(random, edge, 2 if "two_islands" in effects else 1)
    return edge


def _beside(random: np.random.Generator, edge: Edge, effects: set[str], acres: float) -> tuple[Edge, Edge, float]:
    """Return the edge, the line flown, and how far outside it lies; the edge anew until that line holds together."""
    if "camera_side" not in effects:
        return edge, edge, 0.0
    height = random.uniform(20.0, 60.0)
    while True:
        offset = height * random.choice([1.0, 1.0, -1.0])
        flown = camera.beside(edge, offset)
        if flown is not None:
            return edge, flown, offset
        edge, height = any_edge(random, acres), max(12.0, 0.9 * height)


def _hertz(random: np.random.Generator, effects: set[str]) -> float:
    if "ten_hertz" in effects:
        return 10.0
    return 1.0 if "one_hertz" in effects else float(random.choice([1.0, 2.0, 5.0, 10.0], p=[0.4, 0.25, 0.2, 0.15]))


def _plan(random: np.random.Generator, edge: Edge, effects: set[str]) -> list[plans.Legs]:
    """Return the legs of every flight."""
    flights = _around(random, edge, effects)
    if "hover" in effects:
        flights = [plans.hovers(random, legs) for legs in flights]
    if "doubling_back" in effects:
        flights = [plans.doubles_back(random, legs) for legs in flights]
    if "look_again" in effects:
        flights = [plans.looks_again(random, edge, legs) for legs in flights]
    if "stubs" in effects:
        flights = [plans.with_stubs(random, legs) for legs in flights]
    if effects & {"transit", "bent", "inside", "ground"}:
        launch = plans.launch_point(random, edge.area, flights[0][0].places[0], inside="inside" in effects)
        kind, waits, home = "bent" if "bent" in effects else "straight", "ground" in effects, launch
        if "elsewhere" in effects:
            home = plans.launch_point(random, edge.area, flights[-1][-1].places[-1], inside=False)
        flights = [plans.from_launch(random, legs, launch, home, kind, waits=waits) for legs in flights]
    return flights


def _around(random: np.random.Generator, edge: Edge, effects: set[str]) -> list[plans.Legs]:
    """Return the legs of every flight from where it meets the edge until it leaves it."""
    ring = edge.rings[0]
    if special := _impossible(random, edge, effects):
        return special
    joint = "overlap" if "flights_overlap" in effects else "gap" if "flights_gap" in effects else ""
    if "waist" in effects:
        flights = [plans.figure_eight(random, edge)]
    elif joint:
        flights = plans.in_batteries(random, ring, 0, int(random.integers(2, 5)), joint)
    else:
        flights = [plans.once_around(random, ring, 0, _share(random, ring.length, effects, edge))]
    for number, other in enumerate(edge.rings[1:], start=1):
        legs = plans.once_around(random, other, number, 1.0 + random.uniform(0.0, 0.1))
        if "own_flight" in effects:
            flights.append(legs)
        else:
            last = flights[-1]
            flights[-1] = [*last, straight(last[-1].places[-1], legs[0].places[0]), *legs]
    return flights


def _share(random: np.random.Generator, length: float, effects: set[str], edge: Edge) -> float:
    if "gap" in effects:
        return plans.gap_share(random, edge.rings[0])
    share = random.uniform(1.05, 1.30) if "overlap" in effects else 1.0 + random.uniform(0.0, 5.0) / length
    return share + (random.integers(1, 4) if "laps" in effects else 0)


def _impossible(random: np.random.Generator, edge: Edge, effects: set[str]) -> list[plans.Legs]:
    ring = edge.rings[0]
    if "half_ring" in effects:
        return [plans.once_around(random, ring, 0, random.uniform(0.35, 0.6))]
    if "long_bridge" in effects:
        return [plans.once_around(random, ring, 0, 1.0 - random.uniform(0.13, 0.25))]
    if "missing_flight" in effects:
        return plans.in_batteries(random, ring, 0, 3, "overlap")[:2]
    if "transit_only" in effects:
        there, middle = ring.at(random.uniform(0, ring.length, 2))
        return [[straight(there + random.uniform(-300, 300, 2), middle), straight(middle, there)]]
    if "hover_only" in effects:
        return [[stand(ring.corners[0], random.uniform(60.0, 400.0), "hover")]]
    if "survey_lanes" in effects:
        return [_lanes(random, edge)]
    if "too_few" in effects:
        return [plans.once_around(random, ring, 0, 1.0)]
    return []


def _lanes(random: np.random.Generator, edge: Edge) -> plans.Legs:
    """Fly the burn up and down in parallel lanes."""
    west, south, east, north = edge.area.bounds
    spacing = max(8.0, (east - west) / random.integers(5, 25))
    lanes = np.arange(west, east, spacing)
    turns = np.array([[x, y] for n, x in enumerate(lanes) for y in ((south, north) if n % 2 else (north, south))])
    return [straight(a, b, 10.0, doing="lane") for a, b in itertools.pairwise(turns)]


def _look(
    random: np.random.Generator, flights: list[Flight], effects: set[str], hertz: float, offset: float
) -> tuple[list[Flight], dict[str, Any]]:
    """Return the flights with what the log says of the camera, and what the user states of it."""
    if "camera_log" in effects:
        height, side = random.uniform(25.0, 70.0), float(random.choice([-1.0, 1.0]))
        return [camera.looks_aside(random, flight, hertz, side, height) for flight in flights], {}
    if "camera_side" not in effects:
        return [camera.straight_down(random, flight) for flight in flights], {}
    wobbly = [camera.wobbles(random, flight, hertz, abs(offset)) for flight in flights]
    if "side_unknown" in effects:
        if random.random() < 0.5:
            return wobbly, {"camera_angle_degrees": 45.0}
        return [replace(flight, camera_pitch=np.full(len(flight), -45.0)) for flight in wobbly], {}
    is_left = (np.nanmean(np.diff(flights[0].along_m)) > 0) == (offset > 0)
    return wobbly, {"edge_side": "left" if is_left else "right", "camera_angle_degrees": 45.0}


def _spoil(random: np.random.Generator, flight: Flight, effects: set[str], hertz: float) -> Flight:
    """Return a flight with the receiver's noise and the log's faults."""
    sigma = random.uniform(0.5, 1.5)
    if "noise_3" in effects:
        sigma = random.uniform(2.5, 3.0)
    if "noise_huge" in effects:
        sigma = random.uniform(12.0, 20.0)
    memory = random.uniform(0.3, 2.0) if "quick_noise" in effects else random.uniform(4.0, 20.0)
    flight = faults.receiver_noise(random, flight, hertz, sigma, memory)
    if "too_few" in effects:
        flight = flight.take(np.linspace(0, len(flight) - 1, random.integers(3, 7)).astype(np.int64))
    if "jitter" in effects or "hover_only" in effects:
        flight = faults.jitter(random, flight)
    if "frozen" in effects:
        flight = faults.frozen(random, flight, hertz)
    if "spikes" in effects:
        flight = faults.spikes(random, flight)
    if "bursts" in effects:
        flight = faults.bursts(random, flight)
    if "dropouts" in effects:
        flight = faults.dropouts(random, flight, hertz)
    if "repeats" in effects:
        flight = faults.repeats(random, flight)
    if "shuffled" in effects:
        flight = faults.shuffled(random, flight)
    if "clock" in effects:
        flight = faults.clock_jumps(random, flight)
    return faults.timeless(flight) if "timeless" in effects else flight


def _place(random: np.random.Generator, effects: set[str]) -> Place:
    if "meridian" in effects:
        return Place(float(random.uniform(179.9995, 180.0005)), float(random.uniform(-60, 60)))
    if "arctic" in effects:
        return Place(float(random.uniform(-180, 180)), float(random.uniform(68, 88)))
    return Place(float(random.uniform(-124, -104)), float(random.uniform(32, 49)))

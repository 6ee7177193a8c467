"""One simulated fire: the sightings as a reader would hand them over, and the truth beside them."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from exchange.geo.frame import LocalFrame
from exchange.model import Detections, Sources
from tests.merge.simulator.flights import HOURS_BETWEEN, SECONDS, Flight, Whole, fly
from tests.merge.simulator.regimes import REGIMES, Regime
from tests.merge.simulator.scene import Floats, Spots, draw_spots

FRAME = LocalFrame(-114.0, 44.5)
BEGIN = np.datetime64("2026-08-13T04:00:00.000", "ms")


@dataclass(frozen=True)
class Simulated:
    """Hold a simulated fire.

    Parameters
    ----------
    regime, spots, flights
        What is true.
    sightings
        All sorties end to end; ``image`` is a foreign column.
    truth
        What each sighting is: the row of its spot, or a negative number of its own for a false alarm.
    flight
        Row of ``flights`` for each sighting.
    """

    regime: Regime
    spots: Spots
    flights: list[Flight]
    sightings: Detections
    truth: Whole
    flight: Whole

    def sightings_of(self, flights: int) -> Detections:
        """Return the sightings of the first so many sorties."""
        return self.sightings.take(np.flatnonzero(self.flight < flights))

    def unshifted_places(self) -> Floats:
        """Return the measured places, metres, each sortie's true shift taken off."""
        return np.vstack([flight.places - flight.shift for flight in self.flights])


def simulate(name: str, seed: int) -> Simulated:
    """Return the fire of a regime and a seed; the same for the same."""
    regime = REGIMES[name]
    random = np.random.default_rng([seed, zlib.crc32(name.encode())])
    spots = draw_spots(random, regime)
    flights = fly(random, regime, spots)
    sightings = Detections.join([_write_down(regime, flight, number) for number, flight in enumerate(flights)])
    truth = np.concatenate([flight.spot for flight in flights])
    false = np.flatnonzero(truth < 0)
    truth[false] = -1 - np.arange(len(false))
    number = np.repeat(np.arange(len(flights)), [len(flight.spot) for flight in flights])
    return Simulated(regime, spots, flights, sightings, truth, number)


def _write_down(regime: Regime, flight: Flight, number: int) -> Detections:
    longitude, latitude = FRAME.to_degrees(*flight.places.T)
    name = f"S-{number + 1}"
    shown = np.unique(flight.image, return_inverse=True)[1]
    seconds = number * HOURS_BETWEEN * 3600.0 + SECONDS * shown
    times = BEGIN + np.round(seconds * 1000.0).astype("timedelta64[ms]")
    images = [f"{name.lower()}_{image:05d}.jpg" for image in flight.image.tolist()]
    return Detections(
        longitude=longitude,
        latitude=latitude,
        time=times if regime.has_times else None,
        temperature=flight.temperature,
        sortie=name,
        aircraft=f"aircraft {number % 3 + 1}",
        extra={"image": images} if regime.has_images else {},
        source=Sources.of(f"{name}.csv", "", np.arange(1, len(images) + 1)),
    )

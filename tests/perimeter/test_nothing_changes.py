from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.model import Track
from exchange.perimeter import TraceOptions, trace_perimeter
from tests.perimeter.simulator.case import Case, make_case
from tests.perimeter.simulator.place import Place
from tests.perimeter.simulator.scoring import farthest_m

# Logs keep seven decimals of a degree, one centimetre: what is nearer together is rounding.
ROUNDING_M = 0.02
CASES = (
    ("transit", 504), ("spikes", 510), ("laps", 512), ("island", 513), ("flights_overlap", 518),
    ("drawn_line", 505), ("drawn_line_transit", 511), ("two_fires", 506), ("everything", 508),
    ("shuffled", 509), ("duplicates", 516),
)  # fmt: skip


def area_of(tracks: Sequence[Track], case: Case, place: Place | None = None) -> shapely.Geometry:
    """Return what the tracks of a case give, in metres."""
    traced = trace_perimeter(tracks, options=TraceOptions(**case.options))
    assert traced.perimeter is not None
    return (place or case.place).area_to_metres(traced.perimeter.geometry)


@pytest.fixture(params=CASES, ids=lambda value: value[0])
def case(request: pytest.FixtureRequest) -> Case:
    """Make a case."""
    return make_case(*request.param)


def test_flown_the_other_way_round(case: Case) -> None:
    """A log played backwards gives the same perimeter."""
    backwards = [_reversed(track) for track in case.tracks]
    assert farthest_m(area_of(case.tracks, case), area_of(backwards, case)) <= ROUNDING_M


def test_flown_at_another_time(case: Case) -> None:
    """Shifting all times changes nothing."""
    later = [track.replace(time=track.time + np.timedelta64(12_345_678, "ms")) for track in case.tracks]
    assert farthest_m(area_of(case.tracks, case), area_of(later, case)) <= ROUNDING_M


def test_split_into_files_in_any_order(case: Case) -> None:
    """A log cut into several files, named in any order, gives the same perimeter."""
    random = np.random.default_rng(case.seed)
    pieces = [piece for track in case.tracks for piece in _split(random, track)]
    shuffled = [pieces[index] for index in random.permutation(len(pieces))]
    assert farthest_m(area_of(case.tracks, case), area_of(shuffled, case)) <= ROUNDING_M


def test_over_the_180th_meridian(case: Case) -> None:
    """The same flight over the 180th meridian gives the same perimeter there."""
    place = Place(180.0, case.place.latitude)
    moved = [
        track.replace(longitude=(track.longitude - case.place.longitude + 180.0 + 180.0) % 360.0 - 180.0)
        for track in case.tracks
    ]
    assert farthest_m(area_of(case.tracks, case), area_of(moved, case, place)) <= ROUNDING_M


@settings(max_examples=6)
@given(st.integers(0, 2**32 - 1))
@pytest.mark.parametrize("name", ["clean", "transit", "laps", "noise_3"])
def test_one_spike_more(name: str, seed: int) -> None:
    """A fix thrown 50-500 m off, anywhere in a log, changes nothing."""
    case, random = make_case(name, 515), np.random.default_rng(seed)
    (track,) = case.tracks
    assert farthest_m(area_of([track], case), area_of([_with_spike(random, case, track)], case)) <= ROUNDING_M


def _reversed(track: Track) -> Track:
    backwards = track.take(np.arange(len(track))[::-1])
    known = ~np.isnat(track.time)
    if not known.any():
        return backwards
    return backwards.replace(time=track.time[known].min() + (track.time[known].max() - backwards.time))


def _split(random: np.random.Generator, track: Track) -> list[Track]:
    cuts = [0, *sorted(random.integers(5, len(track) - 5, 2).tolist()), len(track)]
    return [track.take(slice(a, b)) for a, b in itertools.pairwise(cuts) if b > a]


def _with_spike(random: np.random.Generator, case: Case, track: Track) -> Track:
    row = int(random.integers(1, len(track) - 1))
    reach, turn = 10 ** random.uniform(np.log10(50), np.log10(500)), random.uniform(0, 2 * np.pi)
    place = case.flights[0].places[row] + reach * np.array([np.cos(turn), np.sin(turn)])
    (longitude,), (latitude,) = case.place.to_degrees(place[None])
    order = np.insert(np.arange(len(track)), row, row)
    spiked = track.take(order)
    columns = {name: getattr(spiked, name).copy() for name in ("longitude", "latitude", "time")}
    columns["longitude"][row], columns["latitude"][row] = longitude, latitude
    columns["time"][row] = track.time[row - 1] + (track.time[row] - track.time[row - 1]) / 2
    return spiked.replace(**columns)

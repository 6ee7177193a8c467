from __future__ import annotations

import math

import numpy as np
import orjson
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.model import Track
from exchange.perimeter import Traced, TraceOptions, trace_perimeter

NUMBERS = st.floats(allow_nan=True, allow_infinity=False, width=32)
ANGLES = st.one_of(st.just(math.nan), st.floats(-400, 400))
SECONDS = st.one_of(st.none(), st.integers(-(10**6), 10**6))


def assert_valid_or_refused(traced: Traced) -> None:
    """Hold a trace to its promise: a valid polygon on the earth, or a reason."""
    assert b"NaN" not in orjson.dumps(traced.report.as_dict())
    for finding in (*traced.refusals, *traced.flags):
        assert finding.code
        assert finding.words
        assert np.isfinite(np.array(finding.places, dtype=float)).all()
        assert all(math.isfinite(value) for value in finding.figures.values())
    if traced.perimeter is None:
        assert traced.refusals
        return
    area = traced.perimeter.geometry
    corners = shapely.get_coordinates(area)
    assert area.is_valid
    assert not area.is_empty
    assert np.isfinite(corners).all()
    assert (np.abs(corners) <= [180.0, 90.0]).all()
    assert traced.perimeter.area > 0
    assert traced.perimeter.length > 0
    assert all(ring.is_simple for part in shapely.get_parts(area) for ring in shapely.get_rings(part))
    # RFC 7946 §3.1.6: the exterior runs counter-clockwise, islands clockwise.
    assert all(part.exterior.is_ccw for part in shapely.get_parts(area))
    assert not any(ring.is_ccw for part in shapely.get_parts(area) for ring in part.interiors)


@st.composite
def wild_tracks(draw: st.DrawFn) -> Track:
    """Make a track of anything: positions near each other or anywhere, or missing; any times, any camera."""
    count = draw(st.integers(0, 40))
    middle = draw(st.sampled_from([(0.0, 0.0), (-114.0, 44.5), (180.0, 10.0), (30.0, 89.9999), (30.0, -90.0)]))
    reach = draw(st.sampled_from([0.0, 1e-6, 1e-4, 1e-2, 1.0, 90.0]))
    places = [
        draw(st.one_of(st.tuples(st.floats(-1, 1), st.floats(-1, 1)), st.just((math.nan, math.nan))))
        for _ in range(count)
    ]
    moved = np.array(places, dtype=float).reshape(-1, 2) * reach + middle
    longitude = (moved[:, 0] + 180.0) % 360.0 - 180.0
    latitude = np.clip(moved[:, 1], -90.0, 90.0)
    seconds = draw(st.lists(SECONDS, min_size=count, max_size=count))
    return Track(
        longitude=longitude,
        latitude=latitude,
        time=np.array(
            [np.datetime64("NaT") if s is None else np.datetime64(s, "s") for s in seconds], "datetime64[ms]"
        ),
        height=draw(st.lists(NUMBERS, min_size=count, max_size=count)),
        altitude=draw(st.lists(NUMBERS, min_size=count, max_size=count)),
        camera_heading=draw(st.lists(ANGLES, min_size=count, max_size=count)),
        camera_pitch=draw(st.lists(ANGLES, min_size=count, max_size=count)),
    )


@st.composite
def ring_tracks(draw: st.DrawFn) -> Track:
    """Make a round or starry ring, flown in part, once or more, with noise from nothing to more than its size."""
    count = draw(st.integers(4, 120))
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    turn = np.linspace(0.0, 2 * np.pi * draw(st.sampled_from([0.4, 0.9, 1.0, 1.1, 2.5])), count)
    radius = draw(st.sampled_from([2.0, 30.0, 500.0]))
    reach = radius * (1.0 + draw(st.sampled_from([0.0, 0.5, 1.2])) * np.cos(draw(st.integers(2, 6)) * turn))
    noise = radius * draw(st.sampled_from([0.0, 0.001, 0.05, 1.0])) * random.normal(size=(2, count))
    north, east = reach * np.cos(turn) + noise[0], reach * np.sin(turn) + noise[1]
    latitude = draw(st.sampled_from([0.0, 44.5, -78.0]))
    longitude = draw(st.sampled_from([-114.0, 179.9999, -180.0])) + east / 111_000 / math.cos(math.radians(latitude))
    begin = np.datetime64("2026-08-13T12:00:00", "ms")
    timed = draw(st.booleans())
    return Track(
        longitude=(longitude + 180.0) % 360.0 - 180.0,
        latitude=latitude + north / 111_000,
        time=begin + np.arange(count) * np.timedelta64(1000, "ms") if timed else None,
    )


OPTIONS = st.builds(
    TraceOptions,
    edge_side=st.sampled_from(["", "left", "right"]),
    camera_angle_degrees=st.sampled_from([math.nan, 0.0, 45.0, 85.0]),
    height_m=st.sampled_from([math.nan, 1.0, 50.0]),
    simplify_m=st.sampled_from([0.0, 0.3, 50.0]),
    max_vertices=st.sampled_from([None, 4, 10, 100]),
    allow_open=st.booleans(),
)


@settings(max_examples=20)
@given(st.lists(wild_tracks(), max_size=3), OPTIONS)
def test_wild_logs_give_a_valid_perimeter_or_a_refusal(tracks: list[Track], options: TraceOptions) -> None:
    """Whatever a file holds, a valid polygon or a refusal comes out, never a traceback and never NaN."""
    assert_valid_or_refused(trace_perimeter(tracks, options=options))


@settings(max_examples=20)
@given(st.lists(ring_tracks(), min_size=1, max_size=2), OPTIONS)
def test_rings_of_any_kind_give_a_valid_perimeter_or_a_refusal(tracks: list[Track], options: TraceOptions) -> None:
    """The same of what looks like rings: stars, several laps, parts, noise as large as the ring, at any place."""
    assert_valid_or_refused(trace_perimeter(tracks, options=options))


def test_an_arc_drawn_twice_encloses_nothing_and_is_refused() -> None:
    """Five places of an arc beside the 180th meridian, given twice, make no area: a refusal in words."""
    arc = Track(
        longitude=[179.9999001, -179.99991624, -179.99994668, -179.99994712, -179.99991694],
        latitude=[4.05439387e-04, 2.52401321e-04, 4.99074100e-05, -4.97059714e-05, -2.52581801e-04],
    )
    traced = trace_perimeter([arc, arc], options=TraceOptions(simplify_m=0.0))
    assert traced.perimeter is None
    assert traced.refusals[0].words

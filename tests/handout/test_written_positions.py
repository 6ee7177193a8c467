from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.errors import OptionError
from exchange.geo.coordinates import parse_position
from exchange.geo.coordinates.formatting import OUTPUT_FORMS
from exchange.geo.geodesy import distances_m
from exchange.handout.written_positions import write_positions

FORMS = st.sampled_from(OUTPUT_FORMS)
NAN = math.nan


def _write(longitude: float, latitude: float, form: str, accuracy_m: float = NAN, **options: object) -> str:
    columns = (np.array([value]) for value in (longitude, latitude, accuracy_m))
    return str(write_positions(*columns, form, **options)[0])


@pytest.mark.parametrize(
    ("latitude", "longitude", "form", "accuracy_m", "text"),
    [
        # FGDC-STD-011-2001, Annex B: the Washington Monument, cut off at 1, 10 and 100 m.
        (38.88946731, -77.03524022, "USNG", 1.0, "18S UJ 23483 06479"),
        (38.88946731, -77.03524022, "USNG", 10.0, "18S UJ 2348 0647"),
        (38.88946731, -77.03524022, "USNG", 250.0, "18S UJ 234 064"),
        # test/utm-mgrs-tests.js of chrisveness/geodesy.
        (48.8583, 2.2945, "MGRS", NAN, "31UDQ4825111943"),
        (60.39135, 5.3249, "MGRS", 1.0, "32VKN9750800645"),
        (48.8583, 2.2945, "UTM", NAN, "31 North 0448252mE 5411944mN"),
        (-33.857, 151.215, "UTM", 0.5, "56 South 0334873mE 6252266mN"),
        # BLM National Aviation Plan, App. 4: one place in three forms.
        (64.84052, -147.60437, "DDM", NAN, "N 64\u00b050.431' W 147\u00b036.262'"),
        (64.84052, -147.60437, "DMS", NAN, "N 64\u00b050'25.9\" W 147\u00b036'15.7\""),
        # Computed from the length of a degree: 0.0001 degrees are 11 m, 0.01' are 19 m, 1" is 31 m.
        (64.84052, -147.60437, "DD", 12.0, "N 64.8405\u00b0 W 147.6044\u00b0"),
        (64.84052, -147.60437, "DDM", 20.0, "N 64\u00b050.43' W 147\u00b036.26'"),
        (64.84052, -147.60437, "DMS", 35.0, "N 64\u00b050'26\" W 147\u00b036'16\""),
    ],
)
def test_positions_agree_with_published_ones(
    latitude: float, longitude: float, form: str, accuracy_m: float, text: str
) -> None:
    """Each form is written as its standard or a handbook writes it, as fine as the accuracy, the datum behind it."""
    assert _write(longitude, latitude, form, accuracy_m) == f"{text} WGS84"


@given(
    longitude=st.floats(-180.0, 180.0),
    latitude=st.floats(-79.9, 83.9),
    accuracy_m=st.floats(0.01, 5_000.0) | st.just(NAN),
    form=FORMS,
    with_marks=st.booleans(),
)
def test_what_is_written_is_read_back_within_its_own_resolution(
    longitude: float, latitude: float, accuracy_m: float, form: str, with_marks: bool
) -> None:
    """Read back, a position is no farther away than the last digit's step, which is not larger than the accuracy."""
    text = _write(longitude, latitude, form, accuracy_m, with_marks=with_marks).removesuffix(" WGS84")
    place = parse_position(text, form=form)  # type: ignore[arg-type]
    away = float(distances_m(longitude, latitude, place.longitude, place.latitude))
    assert away <= place.resolution_m + 1e-3
    if not math.isnan(accuracy_m):
        usual = {"DD": 0.12, "DDM": 1.9, "DMS": 3.2}.get(form, 1.0)
        assert place.resolution_m <= max(accuracy_m * 1.01, usual)


@given(accuracy_m=st.floats(0.2, 3_000.0), form=FORMS)
def test_no_digit_is_finer_than_the_accuracy_calls_for(accuracy_m: float, form: str) -> None:
    """One digit fewer would be coarser than the accuracy, so there is none too many."""
    text = _write(-114.0, 44.5, form, accuracy_m).removesuffix(" WGS84")
    step_m = parse_position(text, form=form).resolution_m  # type: ignore[arg-type]
    # Where no digit can be taken away any more: whole degrees, minutes, seconds, 10 km.
    coarsest = {"DD": 111_000.0, "DDM": 1_800.0, "DMS": 30.0, "UTM": 1.0}.get(form, 10_000.0)
    assert step_m * 10 > accuracy_m * 0.99 or step_m >= coarsest


def test_a_step_asked_for_is_taken_whatever_the_accuracy() -> None:
    """Who asks for centimetres gets them, and hundred-metre squares where those are asked for."""
    assert _write(-114.0, 44.5, "DD", 30.0, resolution_m=0.02) == "N 44.5000000\u00b0 W 114.0000000\u00b0 WGS84"
    assert _write(-77.03524022, 38.88946731, "USNG", 1.0, resolution_m=100.0) == "18S UJ 234 064 WGS84"
    with pytest.raises(OptionError, match="is no resolution"):
        _write(-114.0, 44.5, "DD", resolution_m=0.0)


def test_where_a_form_does_not_reach_nothing_is_written() -> None:
    """UTM and USNG end at 84 north, and a spot without a position has no text; MGRS goes on to the pole."""
    assert _write(10.0, 85.0, "UTM") == _write(10.0, 85.0, "USNG") == _write(NAN, NAN, "DDM") == ""
    assert _write(10.0, 85.0, "MGRS").startswith("Z")
    assert _write(NAN, 44.5, "MGRS") == ""

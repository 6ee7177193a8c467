from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from exchange.formats.formulas import unescape_formula
from exchange.formats.manifest_file import read_manifest
from exchange.geo.coordinates.formatting import OUTPUT_FORMS
from exchange.handout import HandoutOptions, Profile
from exchange.handout.letters import Letters
from exchange.handout.order import ORDERS
from exchange.handout.profile import FIELDS
from exchange.model import Detections
from tests.handout.device_kit import HOSTILE, Point, read_elsewhere, write_out

LETTERS = st.sampled_from(["", "A-Z0-9", "a-z0-9", " -~", "A-Z0-9 .-", "ABCDEFGH", "0-9a-f_"]).map(Letters)
PROFILES = st.builds(
    Profile,
    name=st.sampled_from(["small", "a-device-of-a-long-name"]),
    format=st.sampled_from(["gpx", "kml", "csv", "geojson"]),
    name_length=st.integers(4, 20) | st.just(0),
    name_letters=LETTERS,
    layout=st.sampled_from(["comment", "columns"]),
    comment_length=st.integers(0, 60) | st.none(),
    comment_letters=LETTERS,
    most_points=st.integers(1, 9) | st.just(0),
    keeps_extensions=st.booleans(),
    fields=st.permutations(FIELDS).map(tuple),
    coordinate_forms=st.lists(st.sampled_from(OUTPUT_FORMS), max_size=2, unique=True).map(tuple),
    file_name_length=st.integers(14, 30),
    file_name_letters=st.sampled_from(["A-Z0-9", "a-z0-9_-"]).map(Letters),
)
TEXTS = st.text(st.characters(exclude_categories=("Cs",)), max_size=8) | st.sampled_from(
    [text.replace("\ud800", "") for text in HOSTILE]
)


@st.composite
def lists(draw: st.DrawFn) -> Detections:
    """Draw a list of up to 20 spots, each in a place of its own."""
    numbers = draw(st.lists(TEXTS.filter(lambda text: bool(text.strip())), max_size=20, unique=True))
    count = len(numbers)
    west = draw(st.sampled_from([-114.0, 179.999, -180.0]))
    columns = {name: draw(st.lists(TEXTS, min_size=count, max_size=count)) for name in ("name", "note", "sortie")}
    numbers_of = {
        name: draw(st.lists(st.floats(-50.0, 900.0) | st.just(np.nan), min_size=count, max_size=count))
        for name in ("temperature", "altitude")
    }
    return Detections(
        id=numbers,
        longitude=np.minimum(west + np.arange(count) * 1e-4, 180.0),
        latitude=44.5 + np.arange(count) * 1e-3,
        accuracy=[0.5 + row for row in range(count)],
        status=draw(st.lists(st.sampled_from(["", "hot", "out"]), min_size=count, max_size=count)),
        **columns,
        **numbers_of,
    )


@given(spots=lists(), profile=PROFILES, order=st.sampled_from(ORDERS))
@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_the_device_and_the_list_limits_hold_and_names_lead_back(
    tmp_path_factory: pytest.TempPathFactory, spots: Detections, profile: Profile, order: str
) -> None:
    """Each spot is once in the files, within every limit, and its short name is that of one row of the manifest."""
    folder = tmp_path_factory.mktemp("device")
    handout, _ = write_out(spots, folder, profile, options=HandoutOptions(order=order))  # type: ignore[arg-type]
    found: list[Point] = []
    for file in handout.files:
        points = read_elsewhere(folder / file.name)
        assert not profile.most_points or len(points) <= profile.most_points
        assert len(file.name) <= profile.file_name_length
        assert profile.file_name_letters.allow(file.name.partition(".")[0])
        found += [_show(point) for point in points] if profile.format == "csv" else points
    assert all(profile.name_letters.allow(point.name) for point in found)
    assert all(not profile.name_length or len(point.name) <= profile.name_length for point in found)
    assert all(profile.comment_length is None or len(point.comment) <= profile.comment_length for point in found)
    assert all(profile.comment_letters.allow(point.comment) for point in found)
    manifest = read_manifest(folder / "manifest.csv")
    place = dict(zip(spots.id, spots.latitude, strict=True))
    of_name = dict(zip(manifest.short_name, manifest.number, strict=True))
    assert sorted(of_name[point.name] for point in found) == sorted(spots.id)
    assert all(abs(place[of_name[point.name]] - point.latitude) < 1e-6 for point in found)


def _show(point: Point) -> Point:
    return point._replace(name=unescape_formula(point.name), comment=unescape_formula(point.comment))

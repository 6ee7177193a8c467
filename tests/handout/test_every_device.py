from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from exchange.formats.formulas import unescape_formula
from exchange.formats.manifest_file import read_manifest
from exchange.formats.options import ReadOptions
from exchange.formats.reading import read
from exchange.handout import Handout
from exchange.model import Manifest
from tests.handout.device_kit import SHIPPED, Point, host, make_list, profile, read_elsewhere, write_out
from tests.plugins.gpx.gpx_kit import check_schema

COUNT = 5_000
CASES = [*((name, "hostile") for name in SHIPPED), ("six-capitals", "house"), ("ten-letters", "house")]


@pytest.fixture(scope="module", params=CASES, ids=["-".join(case) for case in CASES])
def handed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Handout]:
    """Hand 5,000 spots with hostile names out to one device."""
    name, numbers = request.param
    folder = tmp_path_factory.mktemp(name)
    handout, problems = write_out(make_list(COUNT, numbers=numbers), folder, profile(name))
    assert not [problem for problem in problems if problem.needs_person]
    return folder, handout


def _texts(name: str, path: Path, points: list[Point]) -> list[Point]:
    """Return the points as a spreadsheet shows them, which takes the mark off what would be a formula."""
    if path.suffix != ".csv":
        return points
    return [p._replace(name=unescape_formula(p.name), comment=unescape_formula(p.comment)) for p in points]


def test_every_limit_is_held_and_every_spot_is_found_once(handed: tuple[Path, Handout]) -> None:
    """Another program finds each spot once where it is, under its short name, in files within every limit."""
    folder, handout = handed
    limits = handout.files[0].profile
    found: list[Point] = []
    for file in handout.files:
        points = _texts(file.name, folder / file.name, read_elsewhere(folder / file.name))
        assert not limits.most_points or 0 < len(points) <= limits.most_points
        assert len(file.name) <= limits.file_name_length
        assert limits.file_name_letters.allow(file.name.partition(".")[0])
        found += points
    assert len(found) == COUNT
    assert all(not limits.name_length or len(point.name) <= limits.name_length for point in found)
    assert all(limits.name_letters.allow(point.name) for point in found)
    assert all(limits.comment_length is None or len(point.comment) <= limits.comment_length for point in found)
    assert all(limits.comment_letters.allow(point.comment) for point in found)
    _check_that_names_lead_back(read_manifest(folder / "manifest.csv"), found)


def _check_that_names_lead_back(manifest: Manifest, found: list[Point]) -> None:
    listed = {name: row for row, name in enumerate(manifest.short_name)}
    assert len(listed) == len(manifest) == COUNT
    rows = [listed[point.name] for point in found]
    assert sorted(rows) == list(range(COUNT))
    assert np.abs(manifest.longitude[rows] - [point.longitude for point in found]).max() < 1e-6
    assert np.abs(manifest.latitude[rows] - [point.latitude for point in found]).max() < 1e-6
    assert manifest.comment[rows].tolist() == [point.comment for point in found]
    spots = make_list(COUNT, numbers="house" if manifest.number[0].startswith("H-") else "hostile")
    place = {number: (spots.longitude[row], spots.latitude[row]) for row, number in enumerate(spots.id)}
    at = zip(manifest.longitude, manifest.latitude, strict=True)
    assert [place[number] for number in manifest.number] == list(at)


def test_the_exchange_reads_its_files_back(handed: tuple[Path, Handout]) -> None:
    """What was written is read back by the house as it was limited, file by file.

    Without extensions a file is a stranger's: what its points are is told on reading, and the rest is as it was.
    """
    folder, handout = handed
    for file in handout.files[:3]:
        packet = read(folder / file.name, host=host(), options=ReadOptions(points_as="detections"))
        expected = file.packet.detections
        kept = ("id", "status", "temperature") if file.profile.keeps_extensions else ()
        for column in ("name", "note", "longitude", "latitude", *kept):
            got, given = getattr(packet.detections, column), getattr(expected, column)
            assert np.array_equal(got, given, equal_nan=given.dtype.kind == "f"), column
        assert len(packet.notes) == len(packet.places) == 0


def test_gpx_is_valid(handed: tuple[Path, Handout]) -> None:
    """Each GPX file keeps the order and the ranges of the schema of its version (topografix.com)."""
    folder, handout = handed
    for file in handout.files[:2]:
        if file.name.endswith(".gpx"):
            check_schema(folder / file.name, file.profile.format_version)

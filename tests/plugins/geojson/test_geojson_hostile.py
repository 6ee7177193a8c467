"""Input that means harm, or is as large as if it did; and text that tempts a writer into no JSON."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Polygon

from exchange.errors import (
    AmbiguityError,
    ExchangeError,
    MalformedError,
    NotThisFormatError,
    UnknownFormatError,
    UnsafeInputError,
    WriteError,
)
from exchange.formats.writing import write
from exchange.model import Detections, Packet, Perimeter, Track
from tests.plugins.geojson.geojson_kit import FIXTURES, HOST, feature, point, read_file, read_text, write_value


@pytest.mark.parametrize("mark", ["[", '{"a":'])
@pytest.mark.parametrize("where", ["top", "features", "properties", "coordinates"])
def test_a_million_nested_elements_are_refused(mark: str, where: str, tmp_path: Path) -> None:
    """However deep and wherever, it is a clear error, never a crash."""
    deep = mark * 1_000_000
    texts = {
        "top": f'{{"type":"Feature","deep":{deep}',
        "features": f'{{"type":"FeatureCollection","features":[{deep}',
        "properties": f'{{"type":"FeatureCollection","features":[{{"type":"Feature","properties":{{"x":{deep}',
        "coordinates": f'{{"type":"Feature","properties":null,"geometry":{{"type":"Polygon","coordinates":{deep}',
    }
    with pytest.raises(UnsafeInputError, match="nested too deeply"):
        read_text(tmp_path, texts[where])


def test_geometry_collections_inside_each_other_end_somewhere(tmp_path: Path) -> None:
    """A few hundred collections inside each other are kept as they are, and told."""
    inner: Any = point(1, 2)
    for _ in range(200):
        inner = {"type": "GeometryCollection", "geometries": [inner]}
    packet = read_text(tmp_path, json.dumps(feature(inner)))
    assert [problem.severity for problem in packet.problems if "cannot be used" in problem.message] == ["skipped"]


def test_a_number_of_a_million_digits_is_refused(tmp_path: Path) -> None:
    """It would take minutes to read; it is an error instead."""
    with pytest.raises(MalformedError, match="too many digits"):
        read_text(tmp_path, f'{{"type":"Feature","geometry":null,"properties":{{"x":{"9" * 1_000_000}}}}}')


def test_a_file_cut_at_any_place_is_an_error(tmp_path: Path) -> None:
    """No cut, however placed, gives part of the data without an error."""
    whole = (FIXTURES / "valid" / "every_geometry.geojson").read_bytes().rstrip()
    for end in range(1, len(whole), 7):
        with pytest.raises(ExchangeError):  # which error differs from place to place
            read_text(tmp_path, whole[:end])


def test_damaged_bytes_never_break_the_reader(tmp_path: Path) -> None:
    """Whatever bytes are changed, what comes is a packet or one of the exchange's own errors, no plugin failure."""
    whole = (FIXTURES / "valid" / "every_geometry.geojson").read_bytes()
    chance = random.Random(7)  # noqa: S311  # no secret
    for _ in range(300):
        damaged = bytearray(whole)
        for _ in range(chance.randint(1, 4)):
            damaged[chance.randrange(len(damaged))] = chance.choice(b'"[]{}:,\\\x00\xff-9eEn tf')
        with suppress(MalformedError, UnsafeInputError, NotThisFormatError, UnknownFormatError, AmbiguityError):
            packet = read_text(tmp_path, bytes(damaged))
            assert packet.counts()


def test_text_of_any_kind_gives_json(tmp_path: Path) -> None:
    """Control characters, quotes, backslashes and line separators are escaped, in values and in names."""
    texts = [
        "".join(map(chr, range(32))),
        '"',
        "\\",
        "\\u0041",
        "\u2028\u2029",
        "\x7f",
        "</script>",
        "=1+1",
        "]]>",
        "🔥",
    ]
    spots = Detections(
        longitude=np.arange(float(len(texts))),
        latitude=np.zeros(len(texts)),
        name=texts,
        extra=dict.fromkeys(texts, texts),
    )
    written = write_value(tmp_path, Packet(detections=spots))
    assert [f["properties"]["name"] for f in written["features"]] == texts
    assert read_file(tmp_path / "written.geojson").detections == spots


def test_half_a_surrogate_pair_is_replaced_and_counted(tmp_path: Path) -> None:
    """No encoding holds it: U+FFFD stands in its place, and each is told."""
    spots = Detections(
        longitude=[1.0, 2.0], latitude=[1.0, 2.0], name=["a\ud83d", "b"], extra={"deep": [["\udc00"], 1]}
    )
    path = tmp_path / "written.geojson"
    problems = write(Packet(detections=spots), path, host=HOST)
    assert {problem.field: problem.count for problem in problems} == {"name": 1, "deep": 1}
    assert json.loads(path.read_bytes())["features"][0]["properties"]["name"] == "a\ufffd"


def test_numbers_that_json_lacks_are_left_out_and_counted(tmp_path: Path) -> None:
    """NaN is missing, infinity is told; neither is ever written."""
    inf = float("inf")
    spots = Detections(
        longitude=[1.0, 2.0, inf],
        latitude=[1.0, 2.0, 3.0],
        altitude=[inf, 5.0, 6.0],
        temperature=[float("nan"), -inf, 1e300],
        extra={"mixed": ["a", inf, float("nan")]},
    )
    path = tmp_path / "written.geojson"
    problems = write(Packet(detections=spots), path, host=HOST)
    text = path.read_text(encoding="utf-8")
    assert "NaN" not in text
    assert "Infinity" not in text
    assert {problem.field: problem.count for problem in problems} == {
        "altitude": 1,
        "longitude": 1,
        "temperature": 1,
        "mixed": 1,
    }
    assert [f["properties"]["temperature"] for f in json.loads(text)["features"]] == [None, None, 1e300]


def test_a_perimeter_that_is_not_finite_is_not_written(tmp_path: Path) -> None:
    """It is refused by name, and no file is left behind."""
    with np.errstate(invalid="ignore"):
        area = Perimeter(name="odd", geometry=Polygon([(0, 0), (1, float("nan")), (1, 1), (0, 0)]))
    with pytest.raises(WriteError, match="the perimeter 'odd' has a position that is not finite"):
        write(Packet(perimeters=(area,)), tmp_path / "written.geojson", host=HOST)
    assert list(tmp_path.iterdir()) == []


def test_a_fix_without_a_position_never_moves_the_others(tmp_path: Path) -> None:
    """The line leaves it out, the per-fix columns keep it, and all comes back."""
    nan = float("nan")
    track = Track(longitude=[1.0, nan, 3.0, 4.0], latitude=[1.0, nan, 3.0, 4.0], heading=[10.0, 20.0, 30.0, 40.0])
    written = write_value(tmp_path, Packet(tracks=(track,)))
    assert written["features"][0]["geometry"]["coordinates"] == [[1, 1], [3, 3], [4, 4]]
    assert read_file(tmp_path / "written.geojson").tracks == (track,)


_READ_A_BATCH_AT_A_TIME = """
import resource, sys
from exchange.formats.reading import as_input, read_packets
from exchange.testing import host_with
from exchange_geojson.format import GeoJson
rows = 0
for packet in read_packets(as_input(sys.argv[1]), host=host_with(GeoJson())):
    rows += len(packet.detections)
print(rows, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def test_reading_in_batches_does_not_hold_the_file(tmp_path: Path) -> None:
    """Four times the rows take less than half as much again of memory, where the batches are let go."""
    peaks = []
    for rows in (100_000, 400_000):
        path = tmp_path / f"{rows}.geojson"
        spots = Detections(
            longitude=np.full(rows, 1.25), latitude=np.full(rows, 2.5), name=[f"spot {n}" for n in range(rows)]
        )
        write(Packet(detections=spots), path, host=HOST)
        done = subprocess.run(  # noqa: S603  # our own interpreter and script
            [sys.executable, "-c", _READ_A_BATCH_AT_A_TIME, str(path)], capture_output=True, text=True, check=True
        )
        read, peak = map(int, done.stdout.split())
        assert read == rows
        peaks.append(peak)
    assert peaks[1] < 1.5 * peaks[0]

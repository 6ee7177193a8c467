"""The three ways of reading (regular, ordinary, careful) give one model."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import Mock, patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.errors import ExchangeError
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Detections, Packet
from exchange.testing import host_with
from exchange_geojson import reading, regular
from exchange_geojson.features import FeatureGatherer
from exchange_geojson.format import GeoJson, GeoJsonSequence
from exchange_geojson.ordinary import has_all_names, is_safe
from exchange_geojson.regular import RegularReader
from exchange_geojson.rows import Rows

ODD_TOKENS = [
    *("1.e5", "1e5", "1E-7", "01", "-0", "-0.0", "+5", ".5", "5.", "1_0", "0x10", "NaN", "Infinity", "-Infinity"),
    *("1e400", "18446744073709551616", "9223372036854775808", "123456789012345678901", "true", "null", "nul", "-"),
    *(
        '"text"',
        '"\\u00e9"',
        '"\\ud800"',
        '"a\\"b"',
        '"a\tb"',
        '"\x01\x01"',
        '"null"',
        '":null"',
        '"a":1',
        "[1,2]",
        "{}",
    ),
    *('{"a":1,"a":2}', '{"temperature": 1}', "1 ", " 1", "1,", "41.5", "7", '""', '"2026-08-14T19:03:05Z"'),
]


def outcome(fmt: GeoJson | GeoJsonSequence, path: Path, *, fast: bool) -> Any:
    """Return the packet and what was told of it, or the kind of error, of one way of reading."""
    with patch.object(reading, "LARGE_BYTES", 0 if fast else 1 << 60), patch.object(regular, "FEWEST_ROWS", 2):
        try:
            packet = read(path, host=host_with(fmt), format_name=fmt.name)
        except ExchangeError as error:
            return type(error)
    told = sorted((p.message, p.field, p.count, p.record) for p in packet.problems)
    return packet, told


def assert_ways_agree(text: bytes, fmt: GeoJson | GeoJsonSequence) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"any{fmt.suffixes[0]}"
        path.write_bytes(text)
        fast, careful = outcome(fmt, path, fast=True), outcome(fmt, path, fast=False)
    if isinstance(fast, tuple) and isinstance(careful, tuple):
        assert fast[0].differences(careful[0]) == []
        assert fast[1] == careful[1]
    else:
        assert fast == careful


def feature_texts(draw: st.DrawFn) -> list[str]:
    """Draw features that are alike but for some, with one odd token in one of them now and then."""
    style = draw(st.sampled_from([(",", ":"), (", ", ": "), (", ", " : "), (",\t", ":  ")]))
    names = draw(st.lists(st.sampled_from(["name", "note", "temperature", "count", "ok", "deep"]), unique=True))
    marked = draw(st.sampled_from([{}, {"exchange": "detection"}, {"exchange": "place"}, {"exchange": "other"}]))
    texts = []
    for index in range(draw(st.integers(3, 14))):
        values: dict[str, Any] = {"name": f"spot {index}", "note": "é", "temperature": index + 0.5, "count": index}
        values |= {"ok": index % 2 == 0, "deep": [index]}
        properties = marked | {name: values[name] for name in names}
        position = [-114.5 + index, 44.25] + ([1200.5] if draw(st.booleans()) or "count" in names else [])
        geometry = {"type": "Point", "coordinates": position}
        feature = {"type": "Feature", "properties": properties, "geometry": geometry}
        texts.append(json.dumps(feature, separators=style, ensure_ascii=draw(st.sampled_from([False, False, True]))))
    return [_make_odd(draw, text) for text in texts]


def _make_odd(draw: st.DrawFn, text: str) -> str:
    if draw(st.integers(0, 5)):
        return text
    token = draw(st.sampled_from(ODD_TOKENS))
    victims = ["44.25", "1200.5", '"é"', "true", '"spot 2"', "3.5", "[1]", "}", '"count"', "Point"]
    return text.replace(draw(st.sampled_from(victims)), token, 1)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_ways_agree_on_a_collection(data: st.DataObject) -> None:
    """Whatever is odd about a feature, all ways give the same model, the same problems or the same error."""
    separator = data.draw(st.sampled_from([",", ",\n", " ,\r\n  "]))
    texts = st.composite(feature_texts)
    head, tail = '{"type": "FeatureCollection",\n"features": [\n', "\n]}\n"
    assert_ways_agree((head + separator.join(data.draw(texts())) + tail).encode(), GeoJson())


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_ways_agree_on_a_sequence(data: st.DataObject) -> None:
    """The same holds for one feature a line, with record separators and without."""
    mark = data.draw(st.sampled_from(["", "\x1e"]))
    texts = st.composite(feature_texts)
    lines = "".join(f"{mark}{text}\n" for text in data.draw(texts()))
    assert_ways_agree(lines.encode(), GeoJsonSequence())


@pytest.mark.parametrize("token", ODD_TOKENS)
def test_every_odd_token_is_met_by_all_ways_alike(token: str) -> None:
    """No odd token slips through the regular way, as a property, a coordinate or a text."""
    plain = [
        f'{{"type":"Feature","properties":{{"name":"spot {n}","temperature":{n}.5,"count":{n}}},'
        f'"geometry":{{"type":"Point","coordinates":[-114.5,44.25]}}}}'
        for n in range(12)
    ]
    for victim in ("7.5", '"spot 7"', '"count":7', "44.25"):
        odd = victim.replace("7", token) if victim.startswith('"count') else token
        changed = [*plain[:7], plain[7].replace(victim, odd, 1), *plain[8:]]
        text = '{"type":"FeatureCollection","features":[\n' + ",\n".join(changed) + "\n]}"
        assert_ways_agree(text.encode(), GeoJson())


def test_the_regular_way_is_taken_by_the_house_own_files(tmp_path: Path) -> None:
    """A large file of ours is read by the regular way but for a few features, though some names are missing."""
    count = 4000
    names = [f"spot {n}" if n % 3 else "" for n in range(count)]
    table = Detections(longitude=[-114.5] * count, latitude=[44.5] * count, name=names, temperature=[1.5] * count)
    path = tmp_path / "own.geojson"
    write(Packet(detections=table), path, host=host_with(GeoJson()))
    taken: list[int] = []

    def count_rows(self: FeatureGatherer, kind: str, rows: Rows) -> None:
        taken.append(len(rows))
        add_rows(self, kind, rows)

    add_rows = FeatureGatherer.add_rows
    with patch.object(FeatureGatherer, "add_rows", count_rows):
        packet = read(path, host=host_with(GeoJson()))
    assert packet.detections == table
    assert sum(taken) > 0.9 * count


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("9" * 18, True),
        ("9" * 19, False),
        ("x" + "9" * 19 + "x", False),
        ("2026-08-14T19:03:05.123456789Z 45.123456789012345", True),
        ("", True),
        ("1" * 17 + "." + "1" * 17, True),
    ],
)
def test_long_whole_numbers_are_noticed(text: str, safe: bool) -> None:
    """Nineteen digits in a row anywhere send a block to the careful way, eighteen do not."""
    assert is_safe(text.encode()) is safe


@pytest.mark.parametrize(
    ("text", "complete"),
    [
        ('{"a":1,"b":{"c":[{"d":2}]}}', True),
        ('{"a":1,"a":2}', False),
        ('{"a":1,"b":{"c":[{"d":2,"d":3}]}}', False),
        ('{"a" :1}', False),
        ('{"a":":"}', True),
    ],
)
def test_names_given_twice_are_noticed(text: str, complete: bool) -> None:
    """A name that orjson drops leaves fewer names than were written; when in doubt the answer is no."""
    assert has_all_names(text.encode(), [json.loads(text)]) is complete


def test_a_file_that_is_never_regular_is_not_asked_again_and_again() -> None:
    """After the second failure the regular way pauses, longer each time."""
    reader = RegularReader(",")
    window = Mock(data=b'{"no": "feature"}', position=0)
    with patch.object(RegularReader, "_try", return_value=None) as tried:
        for _ in range(100):
            assert reader.take(window, first_record=1) is None
    assert 2 < tried.call_count < 12

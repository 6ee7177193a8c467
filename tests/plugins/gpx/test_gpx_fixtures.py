from __future__ import annotations

from pathlib import Path

import pytest

from exchange.errors import ExchangeError, MalformedError, NotThisFormatError, UnsafeInputError
from tests.plugins.gpx.gpx_kit import FIXTURES, check_schema, read_both_ways, read_file, write_file

VALID = sorted((FIXTURES / "valid").iterdir())
REFUSED: dict[str, tuple[type[ExchangeError], str]] = {
    "doctype_entity_bomb.gpx": (UnsafeInputError, "has a DOCTYPE"),
    "doctype_external_entity.gpx": (UnsafeInputError, "has a DOCTYPE"),
    "truncated.gpx": (MalformedError, r"not well-formed XML: .*\(line 8\)"),
    "truncated_between_points.gpx": (MalformedError, r"Premature end of data in tag trkseg"),
    "not_utf_8.gpx": (MalformedError, r"Invalid bytes in character encoding \(line 2\)"),
    "control_character.gpx": (MalformedError, "invalid Char value 1"),
    "undeclared_prefix.gpx": (MalformedError, r"prefix m on a is not defined(?s:.*)add xmlns:PREFIX"),
    "unknown_encoding.gpx": (MalformedError, "'no-such-encoding' is not known"),
    "nested_5000_deep.gpx": (UnsafeInputError, "nested too deeply"),
    "html_named_gpx.gpx": (NotThisFormatError, "root element is|not GPX"),
    "own_number_damaged.gpx": (MalformedError, "record 1, field temperature: 'hot' is no number"),
    "own_rings_missing.gpx": (MalformedError, "2 rings are announced, 1 found"),
}


@pytest.mark.parametrize("path", VALID, ids=lambda path: path.stem)
def test_valid_files_read_the_same_both_ways(path: Path) -> None:
    """Every odd but valid file is read, and the scanner and the parser make the same of it."""
    fast, careful = read_both_ways(path)
    assert fast.differences(careful) == []
    assert [str(p) for p in fast.problems] == [str(p) for p in careful.problems]
    assert sum(fast.counts().values()) > 0 or path.stem == "nothing_in_it"


@pytest.mark.parametrize("version", ["1.1", "1.0"])
@pytest.mark.parametrize("path", VALID, ids=lambda path: path.stem)
def test_valid_files_go_out_and_come_back(path: Path, version: str, tmp_path: Path) -> None:
    """What was read of a stranger's file is the same after it was written and read again."""
    packet = read_file(path)
    write_file(packet, tmp_path / "out.gpx", version=version)
    assert packet.differences(read_file(tmp_path / "out.gpx")) == []
    if version == "1.1":
        check_schema(tmp_path / "out.gpx")


@pytest.mark.parametrize("name", REFUSED)
def test_invalid_files_are_refused(name: str) -> None:
    """Every invalid file raises its own error, with the file's name and what to do."""
    error, reason = REFUSED[name]
    with pytest.raises(error, match=reason) as raised:
        read_file(FIXTURES / "invalid" / name)
    assert raised.value.path is not None
    assert raised.value.path.endswith(name)
    assert raised.value.remedy


def test_no_fixture_is_forgotten() -> None:
    """Each file is listed in the README, and each invalid one in the table above."""
    readme = (FIXTURES / "README.md").read_text()
    named = [path for path in FIXTURES.rglob("*.gpx") if f"{path.parent.name}/{path.name}" in readme]
    assert sorted(named) == sorted(FIXTURES.rglob("*.gpx"))
    assert {path.name for path in (FIXTURES / "invalid").iterdir()} == set(REFUSED)

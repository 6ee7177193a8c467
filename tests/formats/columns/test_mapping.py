from __future__ import annotations

from pathlib import Path

import pytest

from exchange.errors import OptionError
from exchange.formats.columns.mapping import ColumnMapping, ColumnMeaning, PositionMeaning

WHOLE = """
points_as = "detections"
timezone = "America/Boise"
names = ["code", "y", "x", "tmpMax", "seen"]

[columns]
code = "id"
tmpMax = { is = "temperature", unit = "F" }
seen = { is = "time", timezone = "-07:00", format = "%d.%m.%Y %H:%M" }
clock = { is = "time", unit = "ms" }
battery = "extra"

[fixed]
sortie = "N-14"
aircraft = "A-2"
height_reference = "ground"

[status]
"still smoking" = "working"

[position]
longitude = "x"
latitude = "y"
form = "dd"
order = "lat-lon"
"""

REFUSED = {
    "colums = {}": "colums.*no key of a column mapping",
    'columns.a = "heat"': "field columns.a.is.*'heat' is not allowed here",
    "columns.a = 7": "columns.a.*not allowed",
    'columns.a = { is = "temperature", unit = "ft" }': "columns.a.unit.*'ft'",
    'columns.a = { is = "name", unit = "F" }': "columns.a.unit",
    'columns.a = { is = "time", unit = "h" }': "columns.a.unit",
    'columns.a = { is = "confidence", unit = "dozen" }': "columns.a.unit",
    'columns.a = { is = "time", timezone = "Mars" }': "columns.a.timezone.*'Mars'",
    'columns.a = { is = "time", zone = "UTC" }': "columns.a.zone.*no key",
    'columns.a = { unit = "F" }': "columns.a.is.*''",
    "columns = 3": "columns.*not allowed",
    'fixed.pilot = "R. Vole"': "fixed.pilot.*no key",
    'fixed.height_reference = "sea"': "fixed.height_reference.*'sea'",
    'status.warm = "warmish"': "status.warm.*'warmish'",
    'position.form = "grads"': "position.form.*'grads'",
    'position.order = "yx"': "position.order.*'yx'",
    'position.datum = "x"': "position.datum.*no key",
    'points_as = "trees"': "points_as.*'trees'",
    'timezone = "Nowhere"': "timezone.*'Nowhere'",
    'names = ["a", "a"]': "names",
    "names = [1]": "names",
    "fixed.sortie = 7": "fixed.sortie.*7",
    "a = [": "no TOML",
    "a = 1\na = 2": "no TOML",
}


def test_a_whole_mapping_is_read(tmp_path: Path) -> None:
    """Every key of the file arrives where the readers look for it."""
    path = tmp_path / "source.toml"
    path.write_text(WHOLE, encoding="utf-8-sig")
    mapping = ColumnMapping.from_file(path)
    assert mapping.columns == {
        "code": ColumnMeaning(column="id"),
        "tmpMax": ColumnMeaning(column="temperature", unit="F"),
        "seen": ColumnMeaning(column="time", timezone="-07:00", time_format="%d.%m.%Y %H:%M"),
        "clock": ColumnMeaning(column="time", unit="ms"),
        "battery": ColumnMeaning(column="extra"),
    }
    assert mapping.fixed == {"sortie": "N-14", "aircraft": "A-2", "height_reference": "ground"}
    assert mapping.status == {"still smoking": "working"}
    assert mapping.position == PositionMeaning(longitude="x", latitude="y", form="dd", order="lat-lon")
    assert (mapping.points_as, mapping.timezone) == ("detections", "America/Boise")
    assert mapping.names == ("code", "y", "x", "tmpMax", "seen")


@pytest.mark.parametrize("text", REFUSED)
def test_what_a_mapping_may_not_hold_is_refused_by_name(text: str) -> None:
    """An unknown key or an impossible value is named, with what is allowed."""
    with pytest.raises(OptionError, match=REFUSED[text]):
        ColumnMapping.from_text(text, path="source.toml")


def test_an_unknown_key_is_told_with_the_allowed_ones() -> None:
    """The message of an unknown key lists those that would do."""
    with pytest.raises(
        OptionError, match=r"Allowed here: columns, fixed, names, points_as, position, status, timezone"
    ):
        ColumnMapping.from_text("column = 1")


def test_a_mapping_that_is_not_there_is_told(tmp_path: Path) -> None:
    """A file that cannot be opened is named with the option that gave it."""
    with pytest.raises(OptionError, match=r"nothing\.toml.*--columns.*cannot be read"):
        ColumnMapping.from_file(tmp_path / "nothing.toml")

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.formats.columns.header import read_header
from exchange.formats.columns.mapping import ColumnMapping
from exchange.formats.columns.suggest import describe_meaning, suggest_meaning

NEAR = {
    "tmpMax": "temperature",
    "tmp_max": "temperature",
    "temprature": "temperature",
    "Temperatuur2": "temperature",
    "statuss": "status",
    "confidense": "confidence",
    "acc": "accuracy",
    "sorties": "sortie",
}


@pytest.mark.parametrize("name", NEAR)
def test_a_near_word_is_suggested_and_never_applied(name: str) -> None:
    """What is near a plain word is offered, but the header itself stays unknown."""
    assert suggest_meaning(name) == NEAR[name]
    assert read_header(name) is None


@pytest.mark.parametrize("name", ["wind", "battery", "satellites", "q", "", "x" * 200, "hdop", "🔥"])
def test_what_is_near_nothing_is_left_alone(name: str) -> None:
    """A word that is near none brings no suggestion."""
    assert suggest_meaning(name) == ""


@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20))
def test_the_offered_line_is_toml_for_any_name(name: str) -> None:
    """Whatever a column is called, the line that is offered can be pasted into a mapping as it is."""
    line = describe_meaning(name, "temperature")
    assert tomllib.loads(line) == {name: {"is": "temperature", "unit": "F"}}
    assert ColumnMapping.from_text(f"[columns]\n{line}").columns[name].column == "temperature"

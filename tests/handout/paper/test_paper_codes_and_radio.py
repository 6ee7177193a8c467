from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.errors import CoordinateError
from exchange.geo.coordinates import format_position, parse_position
from exchange.handout.paper import write_radio_script
from exchange.handout.paper.geo_codes import format_geo_uri
from exchange.handout.paper.radio import DIGITS, LETTERS, spell, spell_position
from exchange.model import Detections

GEO_URI = re.compile(r"geo:-?[0-9]+(\.[0-9]+)?,-?[0-9]+(\.[0-9]+)?(;u=[0-9]+(\.[0-9]+)?)?")
"""The grammar of RFC 5870 §3.3, without a height, a reference system and other parameters."""


@given(st.floats(-180, 180), st.floats(-90, 90), st.floats(0, 10_000) | st.just(np.nan))
def test_a_geo_uri_follows_the_grammar_and_keeps_the_position(
    longitude: float, latitude: float, accuracy: float
) -> None:
    """Every position on the earth becomes a URI of RFC 5870's grammar, within half of its last digit."""
    uri = format_geo_uri(longitude, latitude, accuracy)
    assert GEO_URI.fullmatch(uri)
    assert "-0.000000" not in uri
    north, east = map(float, uri[4:].partition(";")[0].split(","))
    assert north == pytest.approx(latitude, abs=5.1e-7)
    assert abs(latitude) == 90 or east == pytest.approx(longitude, abs=5.1e-7)


def test_a_position_off_the_earth_has_no_uri() -> None:
    """Latitude 120 is refused."""
    with pytest.raises(CoordinateError, match="no position"):
        format_geo_uri(0.0, 120.0)


def test_the_letters_are_those_of_the_radio_regulations() -> None:
    """Each letter has the code word that begins with it, 26 in all (ITU Radio Regulations, Appendix 14)."""
    assert "".join(LETTERS) == "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    assert [LETTERS[letter] for letter in "AHJX"] == ["Alfa", "Hotel", "Juliett", "X-ray"]


@given(st.floats(-179.9, 179.9), st.floats(-79.9, 79.9), st.sampled_from(["DDM", "DMS"]))
def test_what_is_read_out_can_be_written_down_again(longitude: float, latitude: float, form: str) -> None:
    """The words, turned back into signs by a listener, are the position that was written."""
    text = format_position(longitude, latitude, form)  # type: ignore[arg-type]  # both are forms
    heard = spell_position(text, form)  # type: ignore[arg-type]
    signs = {
        **{word: str(digit) for digit, word in DIGITS.items()},
        "decimal": ".",
        "degrees": "° ",
        "minutes": "' ",
        "seconds": '" ',
    }
    signs |= {"north": "N", "south": "S", "east": "E", "west": "W"}
    written = "".join(signs[word] for word in heard.replace(",", "").replace(";", "").split())
    assert parse_position(written).longitude == parse_position(text).longitude
    assert parse_position(written).latitude == parse_position(text).latitude


def test_digits_are_read_one_by_one() -> None:
    """No number is read as a whole, so that none is misheard."""
    assert spell("H-1014") == "Hotel dash one zero one four"
    assert spell("") == ""


def test_the_script_has_every_spot_and_the_caution(tmp_path: Path) -> None:
    """Number by number in the order given; what is not known is said so."""
    spots = Detections(
        id=["H-014", ""],
        name=["", "stump"],
        longitude=[-114.00359, np.nan],
        latitude=[44.5202, np.nan],
        temperature=[212.4, np.nan],
    )
    write_radio_script(spots, tmp_path / "a.txt", title="Marrow Flat (invented)")
    text = (tmp_path / "a.txt").read_text(encoding="utf-8")
    assert text.startswith("Marrow Flat (invented): 2 spots, positions in WGS 84.")
    assert "incident's command" in text
    assert "Spot Hotel dash zero one four." in text
    assert "north, four four degrees three one decimal two one two minutes" in text
    assert "Heat: two one two degrees Celsius." in text
    assert text.index("H-014") < text.index("stump")
    assert "Position not known." in text

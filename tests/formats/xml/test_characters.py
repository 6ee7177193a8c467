from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from exchange.formats.xml.characters import clean_text, restore_text

BACKSLASHED = st.text(alphabet="\\u05c01\x01d8fe\r\n\ud800\uffff", max_size=30)


@given(st.one_of(st.text(alphabet=st.characters(exclude_categories=())), BACKSLASHED))
def test_every_text_comes_back(text: str) -> None:
    """Cleaning is undone exactly, for any text and for texts that look like escapes."""
    assert restore_text(clean_text(text)) == text


@given(BACKSLASHED)
def test_a_cleaned_text_is_lawful_xml(text: str) -> None:
    """A parser takes the cleaned text."""
    from lxml import etree

    element = etree.Element("r")
    element.text = clean_text(text)
    assert element.text == clean_text(text)


def test_usual_texts_are_left_alone() -> None:
    """Backslashes that spell no forbidden character stay as they are."""
    assert clean_text("C:\\users\\u00e9 \\u0041") == "C:\\users\\u00e9 \\u0041"

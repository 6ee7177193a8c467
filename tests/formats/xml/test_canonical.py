from __future__ import annotations

from lxml import etree

from exchange.formats.xml.canonical import canonicalise


def test_a_subtree_stands_in_any_document() -> None:
    """The canonical text of a foreign subtree, put under other prefixes, is canonically the same again."""
    first = etree.fromstring(
        '<r xmlns:a="urn:one" xmlns:xsi="urn:xsi"><a:x k="1" xsi:type="a:Kind"><a:y>v &lt;</a:y>'
        '<z xmlns="urn:z"/></a:x> tail</r>'
    )
    text = canonicalise(first[0])
    second = etree.fromstring(f'<r xmlns:a="urn:two">{text}</r>')
    assert canonicalise(second[0]) == text
    assert second[0].tag == "{urn:one}x"
    assert second[0].nsmap["a"] == "urn:one"
    assert "tail" not in text


def test_the_tree_is_left_as_it_was() -> None:
    """Making the canonical text changes nothing in the document."""
    root = etree.fromstring("<r><x/>tail</r>")
    before = etree.tostring(root)
    canonicalise(root[0])
    assert etree.tostring(root) == before


def test_relative_namespace_names_are_kept() -> None:
    """A namespace that is no absolute URI, as real files have, is written and read back the same."""
    root = etree.fromstring('<r><a:x xmlns:a="name/1" k="2"><a:y>v</a:y></a:x></r>')
    text = canonicalise(root[0])
    assert etree.fromstring(text).tag == "{name/1}x"
    assert canonicalise(etree.fromstring(text)) == text

"""Foreign elements as canonical XML: text that means the same in any document, whatever its prefixes."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lxml.etree import _Element

_PREFIXED = re.compile(r"(?<![\w.-])([A-Za-z_][\w.-]*):[A-Za-z_]")


def canonicalise(element: _Element) -> str:
    """Return an element and all in it as exclusive canonical XML, with every namespace it needs declared in it.

    Prefixes that only values use (``xsi:type="p:Kind"``) are declared too. The text that follows the element is
    left out. Source: W3C Exclusive XML Canonicalization 1.0; for relative namespace names Canonical XML 2.0.
    """
    from lxml import etree

    prefixes = sorted(_prefixes_in_values(element))
    tail, element.tail = element.tail, None
    try:
        data: bytes = etree.tostring(
            element, method="c14n", exclusive=True, with_comments=False, inclusive_ns_prefixes=prefixes or None
        )
    except etree.C14NError:
        # Version 1.0 refuses relative namespace names, which real files have; version 2.0 takes them.
        return str(etree.canonicalize(etree.tostring(element, with_tail=False, encoding="unicode")))
    finally:
        element.tail = tail
    return data.decode()


def _prefixes_in_values(element: _Element) -> set[str]:
    known = {prefix for prefix in element.nsmap if prefix}
    found: set[str] = set()
    for each in element.iter():
        known |= {prefix for prefix in each.nsmap if prefix}
        # A text is not looked at: it may stand for those of many records (see ``exchange.formats.xml.shapes``).
        for value in each.attrib.values():
            found.update(_PREFIXED.findall(str(value)) if ":" in value else ())
    return found & known

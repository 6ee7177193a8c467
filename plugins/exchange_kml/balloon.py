"""Descriptions that are HTML: what their tables say, field by field."""

from __future__ import annotations

import html as html_module
import re
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.model.columns import ForeignColumn, TextColumn

_TAG = re.compile(r"<(?:[A-Za-z][A-Za-z0-9]*[\s/>]|!--|!doctype)", re.IGNORECASE)
_BLANKS = re.compile(r"\s+")
_ANY_TAG = re.compile(r"(<[^>]*>)")
_NO_TEXT_TAG = re.compile(r"<(?:!|\?|/?(?:script|style|textarea|title|xmp|plaintext|noscript|iframe)\b)", re.IGNORECASE)
# Entities that every reader of HTML takes for the same character.
_ENTITY = re.compile("&(?:amp|lt|gt|quot|nbsp|deg|#39);")
_MOST_TAGS = 2048
_OPEN, _CLOSE = "\ue000", "\ue001"
_MARK = re.compile(f"{_OPEN}([0-9]+){_CLOSE}")
_LONGEST = 1 << 20
"""Characters beyond which a description is not taken apart."""


def is_html(text: str) -> bool:
    """Tell whether a description holds markup rather than plain text.

    >>> is_html("<b>hot</b>"), is_html("a < b and c > d"), is_html("x <y@z> 3<4")
    (True, False, False)
    """
    return "<" in text and _TAG.search(text) is not None


def read_balloons(descriptions: TextColumn) -> dict[str, ForeignColumn]:
    """Return the cells of the tables in HTML descriptions as columns of text by the names in their first cells.

    A row of two cells is a name and its value; a table with a row of headings and one of values gives the
    values by their headings. Anything else is left in the description.
    """
    columns: dict[str, Any] = {}
    for row, text in enumerate(descriptions.tolist()):
        if "<" not in text:
            continue
        pairs = read_like_others(text)
        for name, value in read_tables(text) if pairs is None else pairs:
            if name not in columns:
                columns[name] = np.full(len(descriptions), "", dtype=object)
            columns[name][row] = columns[name][row] or value
    return columns


def read_like_others(text: str) -> list[tuple[str, str]] | None:
    """Return what ``read_tables`` does, much quicker where other texts have had the same tags; ``None`` to ask it."""
    if "&" in text and _ENTITY.sub("", text).count("&"):
        return None
    pieces = _ANY_TAG.split(text)
    texts, tags = pieces[0::2], pieces[1::2]
    if "<" in texts[-1]:
        return None
    template = _learn(tuple(tags), tuple(["mark" if piece.strip() else " "[: len(piece)] for piece in texts]))
    if template is None:
        return None
    pairs = [(_fill(name, texts).rstrip(":").rstrip(), _fill(value, texts)) for name, value in template]
    return [(name, value) for name, value in pairs if name and value]


@lru_cache(maxsize=1024)
def _learn(tags: tuple[str, ...], gaps: tuple[str, ...]) -> tuple[tuple[str, str], ...] | None:
    """Return names and values of the tables made of these tags, with marks for texts; what is blank stays.

    ``None`` where a text would be read in another way than as text, or where there are none.
    """
    if any(_NO_TEXT_TAG.match(tag) for tag in tags) or len(tags) > _MOST_TAGS:
        return None
    marks = [f"{_OPEN}{number}{_CLOSE}" if gap == "mark" else gap for number, gap in enumerate(gaps)]
    return read_tables("".join(piece for pair in zip(marks, (*tags, ""), strict=True) for piece in pair))


def _fill(pattern: str, texts: list[str]) -> str:
    filled = _MARK.sub(lambda match: html_module.unescape(texts[int(match[1])]), pattern)
    return _BLANKS.sub(" ", filled).strip()


@lru_cache(maxsize=256)
def read_tables(text: str) -> tuple[tuple[str, str], ...]:
    """Return the (name, value) pairs that the tables of one HTML text hold, in order."""
    if len(text) > _LONGEST or "<t" not in text.lower() or not is_html(text):
        return ()
    root = _parse(text)
    if root is None:
        return ()
    pairs: list[tuple[str, str]] = []
    for table in root.iter("table"):
        rows = [row for row in table.iter("tr") if next(row.iterancestors("table"), None) is table]
        pairs += _read_rows([[_cell_text(cell) for cell in row if cell.tag in ("td", "th")] for row in rows], rows)
    return tuple((name, value) for name, value in pairs if name and value)


def _read_rows(cells: list[list[str]], rows: list[Any]) -> list[tuple[str, str]]:
    headed = len(cells) == 2 and len(cells[0]) == len(cells[1]) and all(c.tag == "th" for c in rows[0])
    if headed:
        return list(zip(cells[0], cells[1], strict=True))
    return [(row[0].rstrip(":").rstrip(), row[1]) for row in cells if len(row) == 2]


def _parse(text: str) -> Any:
    from lxml import etree, html

    # A parser of its own: no network, no entities of its own, and no nesting that could exhaust the stack.
    parser = html.HTMLParser(no_network=True, remove_comments=True, remove_pis=True, encoding="utf-8", huge_tree=False)
    try:
        return html.document_fromstring(text.encode(), parser=parser)
    except (etree.ParserError, etree.XMLSyntaxError, ValueError):
        return None


def _cell_text(cell: Any) -> str:
    if any(inner.tag == "table" for inner in cell.iter("table")):
        return ""
    return _BLANKS.sub(" ", "".join(cell.itertext())).strip()


def find_html(descriptions: TextColumn) -> NDArray[np.bool_]:
    """Return which descriptions are HTML."""
    return np.fromiter((is_html(text) for text in descriptions.tolist()), dtype=bool, count=len(descriptions))

"""Texts of cells made harmless where a spreadsheet would take them for a formula, and restored."""

from __future__ import annotations

import re

# A spreadsheet runs a cell that begins with one of these (OWASP ASVS 5.0, 1.2.10, and its page on CSV injection;
# the full-width forms count where the keyboard makes them).
STARTS = r"=+\-@\t\r\n\x00\uff1d\uff0b\uff0d\uff20"
_RISKY = re.compile(f"'*[{STARTS}]")
_ESCAPED = re.compile(f"'+[{STARTS}]")
_FIRST = frozenset("=+-@\t\r\n\x00\uff1d\uff0b\uff0d\uff20'")
_PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?")


def escape_formula(text: str) -> str:
    """Return a cell's text so that no spreadsheet takes it for a formula; a plain number stays as it is.

    >>> escape_formula("=1+1"), escape_formula("-120.5"), escape_formula("'=1"), escape_formula("it's")
    ("'=1+1", '-120.5', "''=1", "it's")
    """
    if text[:1] not in _FIRST:
        return text
    return "'" + text if _RISKY.match(text) and not _PLAIN_NUMBER.fullmatch(text) else text


def unescape_formula(text: str) -> str:
    """Return the text that ``escape_formula`` was given."""
    return text[1:] if text[:1] == "'" and _ESCAPED.match(text) else text

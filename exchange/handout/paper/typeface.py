"""The typeface of the sheet, and what to do with a letter that it lacks."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from fpdf import FPDF

FAMILY: Final = "sheet"
SUBSTITUTE: Final = "\N{REPLACEMENT CHARACTER}"
"""Printed for a character that the typeface lacks; it is counted and told."""


@dataclass
class Typeface:
    """Know which characters can be printed, and count those that cannot.

    Attributes
    ----------
    known
        Code points the typeface holds.
    lacking
        How often each character was asked for that it does not hold.
    """

    known: frozenset[int]
    lacking: dict[str, int] = field(default_factory=dict)

    def to_printable(self, text: str) -> str:
        """Return the text on one line, with ``SUBSTITUTE`` for what the typeface lacks."""
        return "".join(map(self._to_printable, " ".join(text.split())))

    def _to_printable(self, character: str) -> str:
        if ord(character) in self.known and not unicodedata.category(character).startswith("C"):
            return character
        if unicodedata.category(character) in ("Cf", "Cc"):
            return ""
        self.lacking[character] = self.lacking.get(character, 0) + 1
        return SUBSTITUTE


@contextmanager
def use_typeface(pdf: FPDF) -> Iterator[Typeface]:
    """Give a document the free DejaVu Sans that matplotlib carries, regular and bold, until it is written."""
    import matplotlib
    from fpdf.fonts import TTFFont

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    known = []
    for style, file in (("", "DejaVuSans.ttf"), ("B", "DejaVuSans-Bold.ttf")):
        pdf.add_font(FAMILY, style, folder / file)
        known.append(_read_code_points(folder / file))
    try:
        yield Typeface(frozenset.intersection(*known))
    finally:
        for font in pdf.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()


def _read_code_points(file: Path) -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(str(file)).get_charmap())

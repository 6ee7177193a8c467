"""Text in boxes: as large as it may be, on as many lines as there are, cut where it has to be, and counted."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from exchange.handout.paper.typeface import FAMILY, Typeface

if TYPE_CHECKING:
    from fpdf import FPDF

LINE_HEIGHT: Final = 1.18
"""Line height as a multiple of the type's size."""

POINT_MM: Final = 25.4 / 72
ELLIPSIS: Final = "\N{HORIZONTAL ELLIPSIS}"


@dataclass(frozen=True)
class Box:
    """A rectangle on the page in millimetres from its upper left corner."""

    x: float
    y: float
    width: float
    height: float

    def inset(self, by_mm: float) -> Box:
        """Return the box without a margin on every side."""
        return Box(self.x + by_mm, self.y + by_mm, self.width - 2 * by_mm, self.height - 2 * by_mm)


@dataclass
class Writer:
    """Write text into boxes of a document; ``cut`` counts the texts that had to be cut."""

    pdf: FPDF
    typeface: Typeface
    cut: int = 0

    def write(self, box: Box, text: str, *, size_pt: float, is_bold: bool = False, smallest_pt: float = 6.0) -> None:
        """Write a text from the top of a box, smaller before it is cut.

        Parameters
        ----------
        size_pt, smallest_pt
            Size of the type wanted, and the smallest that is still legible in the field.
        """
        printable = self.typeface.to_printable(text)
        size_pt = self._shrink(printable, box, size_pt, smallest_pt, is_bold=is_bold)
        lines = self._break(printable, box, size_pt)
        line_mm = size_pt * POINT_MM * LINE_HEIGHT
        for index, line in enumerate(lines):
            self.pdf.set_xy(box.x, box.y + index * line_mm)
            self.pdf.cell(box.width, line_mm, line)

    def draw_png(self, box: Box, png: bytes) -> None:
        """Draw a picture over the whole of a box."""
        self.pdf.image(io.BytesIO(png), x=box.x, y=box.y, w=box.width, h=box.height)

    def _shrink(self, text: str, box: Box, size_pt: float, smallest_pt: float, *, is_bold: bool) -> float:
        style = "B" if is_bold else ""
        self.pdf.set_font(FAMILY, style, size_pt)
        while size_pt > smallest_pt and self._lines_needed(text, box.width) > _lines_in(box, size_pt):
            size_pt = max(smallest_pt, size_pt - 0.5)
            self.pdf.set_font(FAMILY, style, size_pt)
        return size_pt

    def _lines_needed(self, text: str, width_mm: float) -> int:
        # Breaking between words may need one line more than the bare length; `_break` looks exactly.
        length_mm = self.pdf.get_string_width(text)
        return 1 if length_mm <= width_mm else len(self._wrap(text, width_mm))

    def _break(self, text: str, box: Box, size_pt: float) -> list[str]:
        most = _lines_in(box, size_pt)
        lines = [text] if self.pdf.get_string_width(text) <= box.width else self._wrap(text, box.width)
        if len(lines) <= most:
            return lines
        self.cut += 1
        return [*lines[: most - 1], self._end_with_ellipsis(lines[most - 1], box.width)]

    def _end_with_ellipsis(self, line: str, width_mm: float) -> str:
        while line and self.pdf.get_string_width(line + ELLIPSIS) > width_mm:
            line = line[:-1]
        return line + ELLIPSIS

    def _wrap(self, text: str, width_mm: float) -> list[str]:
        lines = [""]
        for word in text.split(" "):
            for piece in self._split_to_width(word, width_mm):
                joined = f"{lines[-1]} {piece}" if lines[-1] else piece
                if self.pdf.get_string_width(joined) <= width_mm:
                    lines[-1] = joined
                else:
                    lines.append(piece)
        return lines

    def _split_to_width(self, word: str, width_mm: float) -> list[str]:
        pieces = [""]
        if self.pdf.get_string_width(word) <= width_mm:
            return [word]
        for letter in word:
            if self.pdf.get_string_width(pieces[-1] + letter) > width_mm:
                pieces.append("")
            pieces[-1] += letter
        return pieces


def _lines_in(box: Box, size_pt: float) -> int:
    return max(1, int(box.height / (size_pt * POINT_MM * LINE_HEIGHT) + 1e-6))

"""One spot's row on the sheet."""

from __future__ import annotations

from typing import Final

from exchange.handout.paper.boxes import Box, Writer
from exchange.handout.paper.geo_codes import draw_code
from exchange.handout.paper.row_texts import RowTexts
from exchange.handout.paper.typeface import FAMILY
from exchange.model.status import HOT, NO_HEAT, OUT, RECHECK, WORKING

HEIGHT_MM: Final = 24.0
CODE_MM: Final = 20.0
NUMBER_MM, POSITION_MM, BOXES_MM = 30.0, 60.0, 44.0
TICKED: Final = (HOT, WORKING, RECHECK, OUT, NO_HEAT)
"""The words a person on the ground can tick; ``unchecked`` is what nobody ticked."""


def draw_row(writer: Writer, row: RowTexts, box: Box) -> None:
    """Draw one spot: what is known on the left, what a person adds in the middle, its code on the right."""
    pdf = writer.pdf
    pdf.set_line_width(0.2)
    pdf.line(box.x, box.y + box.height, box.x + box.width, box.y + box.height)
    x, y = box.x, box.y + 1.0
    _draw_number(writer, row, Box(x, y, NUMBER_MM - 2.0, HEIGHT_MM - 2.0))
    _draw_position(writer, row, Box(x + NUMBER_MM, y, POSITION_MM - 2.0, HEIGHT_MM - 2.0))
    _draw_ticks(writer, Box(x + NUMBER_MM + POSITION_MM, y, BOXES_MM - 2.0, HEIGHT_MM - 2.0))
    written_x = x + NUMBER_MM + POSITION_MM + BOXES_MM
    written = Box(written_x, y, box.x + box.width - CODE_MM - 2.0 - written_x, HEIGHT_MM - 2.0)
    _draw_written(writer, written)
    if row.geo_uri:
        writer.draw_png(Box(box.x + box.width - CODE_MM, y, CODE_MM, CODE_MM), draw_code(row.geo_uri))


def _draw_number(writer: Writer, row: RowTexts, box: Box) -> None:
    writer.write(Box(box.x, box.y, box.width, 7.5), row.number, size_pt=16, is_bold=True, smallest_pt=7)
    on_devices = f"on devices {row.short_name}" if row.short_name else ""
    writer.write(Box(box.x, box.y + 7.5, box.width, 3.5), on_devices, size_pt=7)
    writer.write(Box(box.x, box.y + 11.0, box.width, 4.5), f"was: {row.status}", size_pt=8)
    writer.write(Box(box.x, box.y + 15.2, box.width, 4.5), row.heat[0] or "no temperature", size_pt=8)


def _draw_position(writer: Writer, row: RowTexts, box: Box) -> None:
    first, second = row.positions
    writer.write(Box(box.x, box.y, box.width, 4.6), first or "no position", size_pt=9)
    writer.write(Box(box.x, box.y + 4.6, box.width, 4.6), second, size_pt=9)
    about = ", ".join(text for text in (row.heat[1], row.seen) if text)
    writer.write(Box(box.x, box.y + 9.2, box.width, 3.0), about, size_pt=7)
    writer.write(Box(box.x, box.y + 12.2, box.width, 3.0), row.edge, size_pt=7)
    writer.write(Box(box.x, box.y + 15.4, box.width, 6.4), row.note, size_pt=8)


def _draw_ticks(writer: Writer, box: Box) -> None:
    pdf = writer.pdf
    pdf.set_font(FAMILY, "", 9)
    for index, word in enumerate(TICKED):
        x, y = box.x + (index % 2) * box.width / 2, box.y + (index // 2) * 6.6
        pdf.rect(x, y + 0.6, 4.4, 4.4)
        pdf.set_xy(x + 5.4, y)
        pdf.cell(box.width / 2 - 5.4, 5.6, word)


def _draw_written(writer: Writer, box: Box) -> None:
    half = box.width / 2
    for x, words in ((box.x, "time"), (box.x + half, "initials")):
        writer.write(Box(x, box.y, half - 1.0, 3.0), words, size_pt=6)
        writer.pdf.line(x, box.y + 8.6, x + half - 1.5, box.y + 8.6)
    writer.write(Box(box.x, box.y + 9.4, box.width, 3.0), "note", size_pt=6)
    for y in (box.y + 15.4, box.y + 21.0):
        writer.pdf.line(box.x, y, box.x + box.width - 1.5, y)

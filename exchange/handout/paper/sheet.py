"""The list as a PDF sheet to carry, tick and write on."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from exchange.handout.paper import overview, rows, summary
from exchange.handout.paper.boxes import Box, Writer
from exchange.handout.paper.page import SheetPage
from exchange.handout.paper.row_texts import RowTexts, describe_rows
from exchange.handout.paper.sheet_options import SheetOptions
from exchange.handout.paper.typeface import Typeface, use_typeface
from exchange.model.problem import Problem

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry.base import BaseGeometry

    from exchange.model.detections import Detections

OVERVIEW_MM = 92.0
"""Height of the map on the first page."""


def write_sheet(
    spots: Detections,
    target: Path,
    *,
    area: BaseGeometry | None = None,
    short_names: Mapping[str, str] | None = None,
    options: SheetOptions | None = None,
) -> list[Problem]:
    """Write spots, in the order they are given, as a PDF sheet; return what had to be cut or left out.

    Each row has the number, the position in two forms, temperatures, boxes to tick, a line to write on, room for
    time and initials, and a QR code with the position's ``geo:`` URI. The first page has a map and, where it fits,
    a code with the whole list. Everything is black on white.

    Parameters
    ----------
    spots
        The list; a spot without a position has an empty code and stands on no map.
    target
        The file to write.
    area
        The perimeter, WGS 84 longitude and latitude in degrees.
    short_names
        By number, the name a spot has on the devices; printed where it differs from the number.
    options
        Title, source, paper, forms and unit.
    """
    options = options or SheetOptions()
    pdf = SheetPage(options)
    with use_typeface(pdf) as typeface:
        pdf.writer = Writer(pdf, typeface)
        unlabelled = _draw_pages(pdf, spots, area, short_names or {})
        pdf.output(str(target))
    return _tell(typeface, pdf.writer.cut, unlabelled, target.name)


def _draw_pages(pdf: SheetPage, spots: Detections, area: BaseGeometry | None, short_names: Mapping[str, str]) -> int:
    """Draw all; return how many numbers found no room on the map."""
    texts = describe_rows(spots, short_names, area, pdf.options)
    pdf.add_page()
    unlabelled = _draw_first_block(pdf, pdf.writer, spots, area, texts)
    for row in texts:
        pdf.reserve(rows.HEIGHT_MM)
        rows.draw_row(pdf.writer, row, pdf.take(rows.HEIGHT_MM))
    return unlabelled


def _draw_first_block(
    pdf: SheetPage, writer: Writer, spots: Detections, area: BaseGeometry | None, texts: list[RowTexts]
) -> int:
    """Draw the map and, beside it, what is on the sheet; return how many numbers found no room on the map."""
    block = pdf.take(OVERVIEW_MM)
    height = block.height - 2.0
    map_box = Box(block.x, block.y, block.width - summary.WIDTH_MM - 3.0, height)
    unlabelled = overview.draw_overview(writer, map_box, spots, area)
    side = Box(block.x + block.width - summary.WIDTH_MM, block.y, summary.WIDTH_MM, height)
    summary.draw_summary(writer, side, spots, texts, unlabelled)
    return unlabelled


def _tell(typeface: Typeface, cut: int, unlabelled: int, path: str) -> list[Problem]:
    told = []
    if cut:
        message = "a text is longer than its box on paper and ends with an ellipsis"
        told.append(Problem(message=message, severity="changed", path=path, count=cut))
    if typeface.lacking:
        some = "".join(sorted(typeface.lacking)[:10])
        message = "the typeface lacks a character; a mark stands in its place"
        told.append(
            Problem(message=message, severity="changed", path=path, value=some, count=sum(typeface.lacking.values()))
        )
    if unlabelled:
        message = "a spot has no room for its number on the small map; its row has it"
        told.append(Problem(message=message, severity="note", path=path, count=unlabelled))
    return told

"""What is on the sheet, beside the map: how many of what, and one code of the whole list where it fits."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from exchange.handout.paper.boxes import Box, Writer
from exchange.handout.paper.geo_codes import draw_sheet_code
from exchange.handout.paper.row_texts import DATUM, RowTexts
from exchange.model.status import STATUS_WORDS

if TYPE_CHECKING:
    from exchange.model.detections import Detections

WIDTH_MM: Final = 45.0
LINE_MM: Final = 4.2


def draw_summary(writer: Writer, box: Box, spots: Detections, texts: list[RowTexts], unlabelled: int) -> None:
    """Draw the counts, how the codes are used, and the code of the whole list, from top to bottom."""
    y = box.y
    for line, is_bold in _count(spots):
        writer.write(Box(box.x, y, box.width, LINE_MM), line, size_pt=9, is_bold=is_bold)
        y += LINE_MM
    located = [row for row in texts if row.geo_uri]
    code = _draw_code(located)
    words = " ".join(_explain(len(located), unlabelled, has_code=code is not None))
    code_mm = box.width if code else 0.0
    writer.write(Box(box.x, y + 1.0, box.width, box.y + box.height - code_mm - y - 1.0), words, size_pt=8)
    if code:
        writer.draw_png(Box(box.x, box.y + box.height - code_mm, code_mm, code_mm), code)


def _count(spots: Detections) -> list[tuple[str, bool]]:
    words = [word or "no status" for word in spots.status.tolist()]
    known = [word for word in (*STATUS_WORDS, "no status") if word in words]
    others = sum(word not in known for word in words)
    lines = [(f"{words.count(word)} {word}", False) for word in known]
    return [(f"{len(spots)} spots", True), *lines, *([(f"{others} of another status", False)] if others else [])]


def _draw_code(located: list[RowTexts]) -> bytes | None:
    if not located:
        return None
    return draw_sheet_code(
        [row.number for row in located], [row.longitude for row in located], [row.latitude for row in located]
    )


def _explain(located: int, unlabelled: int, *, has_code: bool) -> list[str]:
    words = [
        f"All positions are {DATUM}.",
        "On the map numbers stand without their letter.",
        "The code of a row is its position for any phone.",
    ]
    if unlabelled:
        words.append(f"{unlabelled} numbers had no room on the map.")
    if has_code:
        words.append(f"This code has all {located} positions as text:")
    elif located:
        words.append(f"{located} positions are too many for one code.")
    return words

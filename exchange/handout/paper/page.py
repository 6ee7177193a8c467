"""A page of the sheet: what stands above and below the rows, and where the next row goes."""

from __future__ import annotations

from typing import Final

from fpdf import FPDF

from exchange.handout.paper.boxes import Box, Writer
from exchange.handout.paper.sheet_options import CAUTION, SheetOptions
from exchange.handout.paper.typeface import FAMILY

MARGIN_MM: Final = 10.0
HEADER_MM: Final = 15.0
FOOTER_MM: Final = 12.0


class SheetPage(FPDF):
    """A document whose every page carries the title, the data's time and source, the caution and its number."""

    def __init__(self, options: SheetOptions) -> None:
        super().__init__(orientation="portrait", unit="mm", format=options.paper)
        self.options = options
        self.writer: Writer
        self.next_y = 0.0
        self.set_auto_page_break(False)
        self.set_title(options.title or "Hotspots")
        self.c_margin = 0.0

    @property
    def usable_width(self) -> float:
        """Return the width between the margins in millimetres."""
        return float(self.w) - 2 * MARGIN_MM

    @property
    def bottom(self) -> float:
        """Return where the footer begins, millimetres from the top."""
        return float(self.h) - MARGIN_MM - FOOTER_MM

    def reserve(self, height_mm: float) -> None:
        """Turn the page if what is left of it is lower than this."""
        if self.next_y + height_mm > self.bottom:
            self.add_page()

    def take(self, height_mm: float) -> Box:
        """Return the next box of this height, as wide as the page."""
        box = Box(MARGIN_MM, self.next_y, self.usable_width, height_mm)
        self.next_y += height_mm
        return box

    def header(self) -> None:
        """Write what the sheet is, when its data was true and where it comes from."""
        self.set_draw_color(0)
        self.set_text_color(0)
        title = self.options.title or "Hotspots"
        about = [f"data as of {self.options.data_time}" if self.options.data_time else "time of the data not stated"]
        about += [f"from {self.options.source}"] if self.options.source else []
        self.writer.write(
            Box(MARGIN_MM, MARGIN_MM, self.usable_width, 7.0), title, size_pt=14, is_bold=True, smallest_pt=9
        )
        self.writer.write(Box(MARGIN_MM, MARGIN_MM + 6.5, self.usable_width, 6.5), " · ".join(about), size_pt=8)
        self.set_line_width(0.4)
        self.line(MARGIN_MM, MARGIN_MM + HEADER_MM - 1, MARGIN_MM + self.usable_width, MARGIN_MM + HEADER_MM - 1)
        self.next_y = MARGIN_MM + HEADER_MM

    def footer(self) -> None:
        """Write the caution and the page's number."""
        self.writer.write(Box(MARGIN_MM, self.bottom + 2.0, self.usable_width - 30.0, 9.0), CAUTION, size_pt=7)
        self.set_font(FAMILY, "B", 9)
        self.set_xy(MARGIN_MM + self.usable_width - 28.0, self.bottom + 3.0)
        self.cell(28.0, 5.0, f"page {self.page_no()} of {{nb}}", align="R")

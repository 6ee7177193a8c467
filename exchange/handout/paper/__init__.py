"""The list on paper and over the radio: a PDF sheet to write on, and a script to read out."""

from exchange.handout.paper.radio import write_radio_script
from exchange.handout.paper.sheet import write_sheet
from exchange.handout.paper.sheet_options import SheetOptions

__all__ = ["SheetOptions", "write_radio_script", "write_sheet"]

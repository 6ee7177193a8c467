"""What ``exchange handout`` writes for people: the sheet to carry, the script to read out, and the workbook."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from exchange.model import Problem

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.handout import Handout, HandoutOptions

SHEET_NAME, RADIO_NAME, WORKBOOK_NAME = "sheet.pdf", "radio.txt", "workbook.xlsx"
WORKBOOK_PROFILE = "spreadsheet"
"""The workbook has the columns of this profile."""


def write_paper(
    handout: Handout,
    folder: Path,
    *,
    names: tuple[str, ...],
    options: HandoutOptions,
    source: str,
    area: BaseGeometry | None,
    overwrite: bool,
) -> list[Problem]:
    """Write the sheet, the script and the workbook, those that are named, into the folder; return what was cut.

    Parameters
    ----------
    handout
        Its spots are printed in their order, with the short names of its first profile.
    folder
        Made where it does not exist.
    names
        Of ``SHEET_NAME``, ``RADIO_NAME`` and ``WORKBOOK_NAME``.
    options
        Units.
    source
        The file that the list comes from.
    area
        The perimeter.
    overwrite
        Whether existing files may be replaced.

    Raises
    ------
    WriteError
        When a file exists and ``overwrite`` is not set, or cannot be written.
    """
    from exchange.formats.writing import write_whole
    from exchange.handout.paper import SheetOptions, write_radio_script, write_sheet
    from exchange.handout.writing import make_folder

    problems: list[Problem] = []
    if names:
        make_folder(folder)
    if SHEET_NAME in names:
        sheet = SheetOptions(
            title=handout.title or "Hotspots",
            source=Path(source).name,
            data_time=_find_data_time(handout),
            temperature_unit="C" if options.units == "metric" else "F",
        )
        short_names = handout.short_names(handout.files[0].profile.name) if handout.files else {}
        problems += write_whole(
            folder / SHEET_NAME,
            lambda path: write_sheet(handout.spots, path, area=area, short_names=short_names, options=sheet),
            overwrite=overwrite,
        )
    if RADIO_NAME in names:
        write_whole(
            folder / RADIO_NAME,
            lambda path: write_radio_script(handout.spots, path, title=handout.title),
            overwrite=overwrite,
        )
    if WORKBOOK_NAME in names:
        problems += _write_workbook(handout, folder / WORKBOOK_NAME, options, area, overwrite=overwrite)
    return problems


def _write_workbook(
    handout: Handout, target: Path, options: HandoutOptions, area: BaseGeometry | None, *, overwrite: bool
) -> list[Problem]:
    from exchange.formats.writing import write_whole
    from exchange.geo.edge import measure_to_edge
    from exchange.handout import load_profiles
    from exchange.handout.limiting import limit_spots
    from exchange.handout.workbook import write_workbook

    spots = handout.spots
    (profile,) = load_profiles().choose([WORKBOOK_PROFILE])
    edge = None if area is None else measure_to_edge(spots.longitude, spots.latitude, area)
    limited = limit_spots(spots, profile, spots.id, edge=edge, resolution_m=options.resolution_m).spots
    return write_whole(target, lambda path: write_workbook(limited, path, title=handout.title), overwrite=overwrite)


def _find_data_time(handout: Handout) -> str:
    """Return when the newest of what is printed was seen, in words; empty where nobody said."""
    spots = handout.spots
    seen = np.where(np.isnat(spots.last_seen), spots.time, spots.last_seen)
    if np.isnat(seen).all():
        return ""
    return f"{np.datetime_as_string(np.nanmax(seen), 'm').replace('T', ' ')} UTC"

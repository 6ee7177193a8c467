"""The index beside the files: what is in which, for a person who has the folder and nothing else."""

from __future__ import annotations

from typing import Final

import numpy as np

from exchange.formats.manifest_file import MANIFEST_NAME
from exchange.geo.coordinates.formatting import format_position
from exchange.handout.hand_out import Handout, HandoutFile
from exchange.model import Detections

CAUTION: Final = """\
An aid, not an order. The incident's command, licensed practice and local rules decide on flying, on entering burned
ground and on calling a spot out. Check one known point on the device before going by these files. Ways are measured
straight from spot to spot: no ground, cliff, river or fire was looked at."""


def write_index(handout: Handout) -> str:
    """Return the index as plain text."""
    head = [handout.title or "Hotspots", "", f"{len(handout.spots)} of the list's {handout.listed} spots."]
    if not np.isnat(handout.manifest.handed_out).all():
        head.append(f"Handed out {np.datetime_as_string(np.nanmax(handout.manifest.handed_out), 'm')}Z.")
    head += ["Positions are WGS 84.", f"{MANIFEST_NAME} says which short name is which spot: keep it for the return."]
    files = [line for file in handout.files for line in _describe(file)]
    told = [f"  {problem}" for problem in handout.problems]
    return "\n".join([*head, "", *files, *(["What to know:", *told, ""] if told else []), CAUTION, ""])


def _describe(file: HandoutFile) -> list[str]:
    numbers = file.numbers
    span = f"{_shorten(numbers[0])} to {_shorten(numbers[-1])}" if len(numbers) > 1 else _shorten(numbers[0])
    division = f", division {_shorten(file.division)}" if file.division else ""
    corners = _find_corners(file.packet.detections)
    return [
        file.name,
        f"  {file.profile.title or file.profile.name}",
        f"  {len(numbers)} spots{division}: {span}",
        f"  from {corners[0]}",
        f"  to   {corners[1]}",
        "",
    ]


def _find_corners(spots: Detections) -> tuple[str, str]:
    """Return the south-western and the north-eastern corner, the short way across the 180th meridian."""
    longitude = spots.longitude
    if np.ptp(longitude) > 180.0:
        longitude = np.where(longitude < 0.0, longitude + 360.0, longitude)
    west, east = ((end + 180.0) % 360.0 - 180.0 for end in (longitude.min(), longitude.max()))
    south, north = spots.latitude.min(), spots.latitude.max()
    return format_position(west, south, "DDM", decimals=1), format_position(east, north, "DDM", decimals=1)


def _shorten(text: str) -> str:
    shown = " ".join(text.split())
    return shown if len(shown) <= 40 else f"{shown[:37]}..."

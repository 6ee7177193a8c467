"""The invented fire's list and returns, and small lists made by hand."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from exchange.formats.host import Host
from exchange.formats.options import ReadOptions
from exchange.formats.reading import read
from exchange.model import Detections, Packet

FOLDER = Path(__file__).parents[2] / "fixtures" / "marrow_flat"
RETURNS = ("returns/alder.gpx", "returns/juniper.csv", "returns/office.kml")


@cache
def host() -> Host:
    """Return the bundled formats, loaded once."""
    return Host.with_installed_plugins()


@cache
def read_list() -> Detections:
    """Return the numbered list; its features carry the number twice, as the feature's id and as a property."""
    return read(FOLDER / "lists/after_period_1.geojson", host=host()).detections


@cache
def read_return(name: str) -> Packet:
    """Return what came back in one file; the sheet's clock is the fire's."""
    return read(FOLDER / name, host=host(), options=ReadOptions(assume_timezone="America/Boise"))


def read_truth() -> dict[str, list[dict[str, Any]]]:
    """Return what each report meant, by file."""
    truth: dict[str, list[dict[str, Any]]] = json.loads((FOLDER / "truth/truth.json").read_text(encoding="utf-8"))[
        "returns"
    ]
    return truth


def at(*texts: str) -> Any:
    """Return instants of 14 August 2026, ``HH:MM`` each, the empty text for none."""
    return np.array([f"2026-08-14T{text}" if text else "NaT" for text in texts], "datetime64[ms]")


def spots(*numbers: str, **columns: Any) -> Detections:
    """Return a list of spots 100 m apart along a parallel, all unchecked unless told otherwise."""
    places = np.arange(len(numbers), dtype=np.float64)
    given: dict[str, Any] = {"status": "unchecked", "longitude": -114.0 + places * 0.00126, "latitude": 44.5}
    return Detections(id=list(numbers), **(given | columns))

"""What a foreign column can be: the model's columns with the kind and quantity of their values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from exchange.geo.units import Quantity

Kind = Literal["text", "number", "status", "time", "date", "epoch"]


@dataclass(frozen=True)
class Target:
    """What the values of a column must become.

    Attributes
    ----------
    kind
        How they are read.
    quantity
        What a number measures; ``share`` is a part of one. ``None`` for a plain count.
    lowest
        No value below this is possible, in the model's unit.
    """

    kind: Kind
    quantity: Quantity | Literal["share"] | None = None
    lowest: float = float("-inf")


_LENGTH: Final = Target("number", "length")
_ANGLE: Final = Target("number", "angle")

TARGETS: Final[dict[str, Target]] = {
    **dict.fromkeys(("id", "name", "note", "sortie", "aircraft", "kind", "symbol", "author"), Target("text")),
    "status": Target("status"),
    **dict.fromkeys(("time", "first_seen", "last_seen"), Target("time")),
    "date": Target("date"),
    "epoch": Target("epoch"),
    # Absolute zero: BIPM SI brochure, 9th edition, 2.3.1.
    "temperature": Target("number", "temperature", -273.15),
    "area": Target("number", "area", 0.0),
    "accuracy": Target("number", "length", 0.0),
    "confidence": Target("number", "share", 0.0),
    "sightings": Target("number", None, 0.0),
    **dict.fromkeys(("altitude", "height", "height_above_ground", "height_above_take_off"), _LENGTH),
    **dict.fromkeys(("heading", "camera_heading", "camera_pitch"), _ANGLE),
}
"""Every thing that a column of values can be claimed for."""

POSITION_TARGETS: Final = (
    *("longitude", "latitude", "easting", "northing", "utm_zone", "usng", "mgrs", "wkt", "position"),
)
"""Words for the ways a position is written; only tables of text have columns for them."""

POINT_TARGETS: Final = frozenset(TARGETS) - {
    "author",
    *("height", "height_above_ground", "height_above_take_off", "heading", "camera_heading", "camera_pitch"),
}
FIX_TARGETS: Final = frozenset(
    {
        *("altitude", "height", "height_above_ground", "height_above_take_off", "time", "date", "epoch"),
        *("heading", "camera_heading", "camera_pitch", "sortie", "aircraft"),
    }
)
NOTE_TARGETS: Final = frozenset({"id", "status", "time", "date", "epoch", "author", "note", "temperature"})
HEIGHT_REFERENCES: Final = {"height_above_ground": "ground", "height_above_take_off": "take-off", "height": ""}
SHARE_RATIOS: Final = {
    "fraction": 1.0,
    "share": 1.0,
    "0-1": 1.0,
    "percent": 0.01,
    "%": 0.01,
    "pct": 0.01,
    "0-100": 0.01,
}
"""Words for the unit of a share, and how much of one they are."""

EPOCH_STEPS: Final = {
    **dict.fromkeys(("", "s", "sec", "second", "seconds"), 1000.0),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), 1.0),
}
"""Words for the unit of a count since 1970-01-01T00:00Z, in milliseconds; seconds is what POSIX counts."""

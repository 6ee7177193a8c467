"""The status words of a spot, with the colour and the shape each is drawn in.

The colours are the palette of Okabe and Ito for colour-vision deficiency (Wong, Nature Methods 8:441, 2011);
each word also has a shape of its own, so that colour alone never carries it.
"""

from __future__ import annotations

from dataclasses import dataclass

UNCHECKED = "unchecked"
HOT = "hot"
WORKING = "working"
RECHECK = "recheck"
OUT = "out"
NO_HEAT = "no heat"


@dataclass(frozen=True)
class StatusStyle:
    """How a status is drawn: ``color`` as ``#rrggbb``, ``shape`` by its plain geometric name."""

    color: str
    shape: str


STATUS_STYLES: dict[str, StatusStyle] = {
    UNCHECKED: StatusStyle("#F0E442", "circle"),
    HOT: StatusStyle("#D55E00", "triangle"),
    WORKING: StatusStyle("#E69F00", "square"),
    RECHECK: StatusStyle("#CC79A7", "diamond"),
    OUT: StatusStyle("#009E73", "cross"),
    NO_HEAT: StatusStyle("#56B4E9", "bar"),
}
"""Every status word, in the order of work, with its style. ``unchecked`` is seen from the air only;
``out`` is a person's word, never a computation's."""

STATUS_WORDS: tuple[str, ...] = tuple(STATUS_STYLES)

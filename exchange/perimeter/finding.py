"""What stands against a perimeter, in a short word and in a sentence that tells what to fly again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from exchange.geo.frame import LocalFrame

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """Tell one reason to refuse or to doubt a perimeter.

    Attributes
    ----------
    code
        A short stable word, such as ``half-ring``.
    words
        A sentence or two for a person: what is wrong, and what to fly again.
    places
        (longitude, latitude) in degrees of what the words speak of, such as the open ends.
    figures
        The numbers the finding rests on, units in their names.
    """

    code: str
    words: str
    places: tuple[tuple[float, float], ...] = ()
    figures: Mapping[str, float] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """Return the fields by name, for reports."""
        return {
            "code": self.code,
            "words": self.words,
            "places": [list(place) for place in self.places],
            "figures": dict(self.figures),
        }


def to_places(frame: LocalFrame, xy: Floats) -> tuple[tuple[float, float], ...]:
    """Return metres, shape (n, 2), as the places of a finding."""
    longitude, latitude = frame.to_degrees(xy[:, 0], xy[:, 1])
    return tuple(zip(longitude.tolist(), latitude.tolist(), strict=True))

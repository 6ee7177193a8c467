"""What a person may decide about a merge."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np

from exchange.errors import OptionError
from exchange.model.detections import Detections
from exchange.model.spot_number import SERIES


@dataclass(frozen=True, kw_only=True, eq=False)
class MergeOptions:
    """Say how sightings are compared and numbered.

    Parameters
    ----------
    within_m
        Sightings farther apart than this, metres, are never one spot. NaN: judged by the accuracies of both.
    accuracy_m
        Radius in metres that holds the true place 95 times in 100, for sightings that state none. NaN: estimated from
        the sightings themselves.
    shift
        ``estimate`` finds each sortie's shift and takes it out where the evidence carries it; ``none`` leaves all be.
    control
        Surveyed points, or the sightings of a trusted sortie; they fix the shifts absolutely and become no spots.
    series
        Letters before the count of a number.
    after_count
        New numbers begin after this count: a ledger knows numbers that no list shows any more, and none is used twice.

    Raises
    ------
    OptionError
        When a distance is not positive, the word for ``shift`` is unknown or the series is no run of capitals.
    """

    within_m: float = np.nan
    accuracy_m: float = np.nan
    shift: Literal["estimate", "none"] = "estimate"
    control: Detections | None = None
    series: str = SERIES
    after_count: int = 0

    def __post_init__(self) -> None:
        """Refuse what cannot be meant."""
        for field in ("within_m", "accuracy_m"):
            value = getattr(self, field)
            if not np.isnan(value) and not 0 < value < np.inf:
                raise OptionError(f"{value!r} is no distance to judge by", field=field, remedy="Give metres above 0.")
        if self.shift not in ("estimate", "none"):
            raise OptionError(f"{self.shift!r} is not known", field="shift", remedy="Use 'estimate' or 'none'.")
        if not re.fullmatch(r"[A-Z]{1,8}", self.series):
            raise OptionError(
                f"{self.series!r} is no series", field="series", remedy="Use one to eight capital letters, such as H."
            )

"""What a person states about returns and about the order of reports."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from exchange.errors import OptionError

REACH_M = 15.0
"""About three times what a handheld's position is good to under trees, 5 m (common practice, from memory)."""

FARTHEST_REACH_M = 1000.0
"""Beyond this a mark is no report on a spot, whatever device it comes from."""

SAME_TIME_MINUTES = 15.0

LONGEST_SAME_TIME_MINUTES = 24 * 60.0

_NOT_STATED = np.datetime64("NaT", "ms")


@dataclass(frozen=True, kw_only=True)
class PlaceOptions:
    """State how reports are put to their spots.

    Attributes
    ----------
    reach_m
        Within how many metres of a spot a mark may be meant for it.
    far_m
        How many metres a mark may lie from the spot that its name says.
    color_limit
        The greatest difference (CIEDE2000) at which a colour still counts as a known one.
    color_margin
        How much nearer it must be to that one than to a colour of another meaning.
    observed
        When the reports were made that carry no time of their own, UTC; NaT where nobody said.
    received
        When the returns came in, UTC; a report cannot be later. NaT where unknown.
    author
        Who made the reports that name nobody.
    signs_are_meant
        Whether a symbol, colour or time counts that nearly all marks of a file carry; else it may be the device's own.
    """

    reach_m: float = REACH_M
    far_m: float = 50.0
    color_limit: float = 12.0
    color_margin: float = 4.0
    observed: np.datetime64 = _NOT_STATED
    received: np.datetime64 = _NOT_STATED
    author: str = ""
    signs_are_meant: bool = False

    def __post_init__(self) -> None:
        """Refuse distances that are none.

        Raises
        ------
        OptionError
            When ``reach_m`` is not above zero, or beyond ``FARTHEST_REACH_M``.
        """
        if not 0 < self.reach_m <= FARTHEST_REACH_M:
            remedy = f"Give metres above zero, up to {FARTHEST_REACH_M:g}."
            raise OptionError(f"{self.reach_m:g} m is no reach", field="--reach", remedy=remedy)


@dataclass(frozen=True, kw_only=True)
class SettleOptions:
    """State how reports are put in order.

    Attributes
    ----------
    same_time_minutes
        Reports this near to each other are taken as of the same time, since clocks and memories differ.
    """

    same_time_minutes: float = SAME_TIME_MINUTES

    def __post_init__(self) -> None:
        """Refuse spans that are none.

        Raises
        ------
        OptionError
            When ``same_time_minutes`` is below zero or longer than a day.
        """
        if not 0 <= self.same_time_minutes <= LONGEST_SAME_TIME_MINUTES:
            remedy = f"Give minutes from 0 to {LONGEST_SAME_TIME_MINUTES:g}."
            raise OptionError(f"{self.same_time_minutes:g} minutes is no span", field="--same-time", remedy=remedy)

    @property
    def same_time(self) -> np.timedelta64:
        """The span as milliseconds."""
        return np.timedelta64(round(self.same_time_minutes * 60_000), "ms")

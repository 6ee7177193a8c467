"""What the third value of a position means: it depends on the altitude mode (OGC 12-007r2, 9.20)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from exchange.model.columns import NumberColumn, TextColumn

HEIGHT_COLUMN = "height_above_ground_m"
SEA_FLOOR_COLUMN = "height_above_sea_floor_m"
IGNORED = "heights without an altitude mode, which maps pass over, are taken as above mean sea level"


@dataclass(frozen=True)
class Heights:
    """Third values by what they are measured from, each of shape (n,); NaN where there is none.

    Attributes
    ----------
    altitude
        Above mean sea level.
    ground, sea_floor
        Above the ground, above the sea floor.
    assumed
        How many altitudes were taken though the mode says to pass over them.
    """

    altitude: NumberColumn
    ground: NumberColumn
    sea_floor: NumberColumn
    assumed: int


def split_heights(third: NumberColumn, mode: TextColumn | str) -> Heights:
    """Tell apart altitudes above the sea and heights above the ground.

    Where the mode is ``clampToGround`` or absent, 0 is a filler and means nothing.

    Parameters
    ----------
    third
        Third values of positions, metres, shape (n,).
    mode
        Altitude mode of each, or of all.
    """
    modes = np.full(len(third), mode, dtype=object) if isinstance(mode, str) else mode
    absolute, ground, sea_floor = (
        np.asarray(modes == name, dtype=bool) for name in ("absolute", "relativeToGround", "relativeToSeaFloor")
    )
    assumed = ~(absolute | ground | sea_floor) & ~np.isnan(third) & (third != 0)
    return Heights(
        np.where(absolute | assumed, third, np.nan),
        np.where(ground, third, np.nan),
        np.where(sea_floor, third, np.nan),
        int(assumed.sum()),
    )

"""Positions written out as text, the datum behind them, no finer than their accuracy calls for."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError
from exchange.geo.coordinates import format_positions
from exchange.geo.coordinates.formatting import DEFAULT_DECIMALS, MOST_DECIMALS, OutputForm

Floats = NDArray[np.float64]

DATUM: Final = "WGS84"
UTM_LATITUDES: Final = (-80.0, 84.0)
"""UTM and USNG end there (NGA.STND.0037; FGDC-STD-011-2001)."""

# A degree of latitude at the pole, where it is longest, on the WGS 84 ellipsoid: pi a^2 / (180 b) metres.
_DEGREE_M: Final = 111_694.0
_STEP_M: Final[dict[str, float]] = {"DD": _DEGREE_M, "DDM": _DEGREE_M / 60, "DMS": _DEGREE_M / 3600, "UTM": 1.0}
_CELLS_M: Final = (1, 10, 100, 1_000, 10_000)


def write_positions(
    longitude: Floats,
    latitude: Floats,
    accuracy_m: Floats,
    form: OutputForm,
    *,
    resolution_m: float | None = None,
    with_marks: bool = True,
) -> NDArray[np.object_]:
    """Return each position as text with its datum; empty without a position or where the form does not reach.

    The last digit's step is the coarsest that is not larger than the accuracy, and never finer than is usual for
    the form (``DEFAULT_DECIMALS``, 1 m for USNG and MGRS); where the accuracy is not known it is the usual one.

    Parameters
    ----------
    longitude, latitude
        Degrees.
    accuracy_m
        Radius that holds the true place 95 times in 100; NaN is not known.
    form
        ``DD``, ``DDM``, ``DMS``, ``UTM``, ``USNG`` or ``MGRS``.
    resolution_m
        A step asked for, the same for every position and as fine as it says, whatever the accuracy.
    with_marks
        Whether degrees, minutes and seconds have their marks.

    Raises
    ------
    OptionError
        When the resolution is no positive number.
    """
    if resolution_m is not None and not 0.0 < resolution_m < np.inf:
        raise OptionError(f"{resolution_m!r} m is no resolution", field="--resolution", remedy="Give 0.01 to 10000 m.")
    is_written = _is_reached(latitude, form) & np.isfinite(longitude)
    steps = _choose_steps(accuracy_m, form, resolution_m)
    texts = np.full(len(longitude), "", dtype=object)
    for step in np.unique(steps[is_written]).tolist():
        rows = is_written & (steps == step)
        precision = {"precision_m": step} if form in ("USNG", "MGRS") else {"decimals": step}
        written = format_positions(longitude[rows], latitude[rows], form, with_marks=with_marks, **precision)
        texts[rows] = np.char.add(written, f" {DATUM}")
    return texts


def _is_reached(latitude: Floats, form: OutputForm) -> NDArray[np.bool_]:
    if form in ("UTM", "USNG"):
        return (latitude >= UTM_LATITUDES[0]) & (latitude <= UTM_LATITUDES[1])
    return np.isfinite(latitude)


def _choose_steps(accuracy_m: Floats, form: OutputForm, resolution_m: float | None) -> NDArray[np.int64]:
    """Return decimals, or the cell's width for the grids."""
    wanted = np.full(len(accuracy_m), np.nan if resolution_m is None else resolution_m)
    wanted = accuracy_m if resolution_m is None else wanted
    if form in ("USNG", "MGRS"):
        cell = np.searchsorted(_CELLS_M, np.where(wanted > 0.0, wanted, 1.0), side="right") - 1
        return np.array(_CELLS_M, np.int64)[np.maximum(cell, 0)]
    usual = DEFAULT_DECIMALS[form]
    finest = usual if resolution_m is None else MOST_DECIMALS
    with np.errstate(divide="ignore", invalid="ignore"):
        # A thousandth of slack, since the step of a length in metres is never a round one.
        decimals = np.ceil(np.log10(_STEP_M[form] / wanted) - 1e-3)
    decimals = np.where(wanted > 0.0, decimals, usual)
    return np.asarray(np.clip(decimals, 0, finest), np.int64)

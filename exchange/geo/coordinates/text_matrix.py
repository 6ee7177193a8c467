"""Texts of one width, made for a whole column at once: a matrix of code points seen as an array of strings."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Integers = NDArray[np.int64]
Codes = NDArray[np.uint32]
_ZERO = ord("0")


def digits(values: ArrayLike, width: int) -> Codes:
    """Return whole numbers from 0 as (n, width) code points of their decimal digits, zeros in front.

    Examples
    --------
    >>> assemble(2, "N", digits([7, 1234], 4)).tolist()
    ['N0007', 'N1234']
    """
    rest = np.array(values, np.int64)
    codes = np.empty((len(rest), width), np.uint32)
    for place in range(width - 1, -1, -1):
        quotient = rest // 10
        codes[:, place] = rest - quotient * 10 + _ZERO
        rest = quotient
    return codes


def letters(flags: NDArray[np.bool_], when_true: str, when_false: str) -> Codes:
    """Return one of two letters a row, as (n, 1) code points."""
    return np.where(flags, np.uint32(ord(when_true)), np.uint32(ord(when_false)))[:, np.newaxis]


def assemble(count: int, *parts: str | Codes) -> NDArray[np.str_]:
    """Return `count` strings made of parts side by side: a text is the same in every row, a matrix has a row each."""
    widths = [len(part) if isinstance(part, str) else part.shape[1] for part in parts]
    matrix = np.empty((count, sum(widths)), np.uint32)
    start = 0
    for part, width in zip(parts, widths, strict=True):
        matrix[:, start : start + width] = [ord(letter) for letter in part] if isinstance(part, str) else part
        start += width
    return matrix.view(f"U{matrix.shape[1]}").reshape(count)


def fill(target: NDArray[np.str_], rows: NDArray[np.bool_], texts: NDArray[np.str_]) -> NDArray[np.str_]:
    """Return the target, widened where needed, with the texts in the given rows."""
    if texts.dtype.itemsize > target.dtype.itemsize:
        target = target.astype(texts.dtype)
    target[rows] = texts
    return target

"""Weigh the signs of a returned row against each other and against what was handed out."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.model.columns import TextColumn
from exchange.model.status import OUT, UNCHECKED
from exchange.status.returned import Returned
from exchange.status.signs import BIT, COLD, HEAT, PICTURES, Bits, Sign, to_words

_OPEN = HEAT | BIT[UNCHECKED]


class Weighed(NamedTuple):
    """Hold what each row says, each column of shape (n,).

    Attributes
    ----------
    bits
        The status words it says, 0 is none.
    is_unclear
        Whether they disagree, or its words may mean more than is taken.
    words
        Why, for a person.
    """

    bits: Bits
    is_unclear: NDArray[np.bool_]
    words: TextColumn


def weigh(rows: Returned, written: list[Sign], handed_out: Bits, has_time: NDArray[np.bool_]) -> Weighed:
    """Return what each row says of its spot.

    What is drawn speaks only where it differs from what was handed out; where it is the same, a mark with a time of
    its own still says that there is heat, but never that there is none. What a person wrote or ticked speaks always.
    ``unchecked`` says nothing, unless it stands against a word that there is no heat.

    Parameters
    ----------
    rows
        The signs of each row.
    written
        What people wrote: comments, and what else stood in the names.
    handed_out
        The status bit that each mark was handed out with, 0 is none.
    has_time
        Which rows carry a time of their own.
    """
    drawn = _weigh_drawn(rows, handed_out, has_time)
    said, may_mean = _weigh_said([*rows.said, *written], len(rows))
    bits = (drawn | said) & ~np.uint8(BIT[UNCHECKED])
    bits |= np.where(bits & COLD, said & BIT[UNCHECKED], 0).astype(np.uint8)
    # Who says that a spot is out has found no heat.
    is_out = (bits & COLD == COLD) & (bits & _OPEN == 0)
    bits = np.where(is_out, BIT[OUT], bits).astype(np.uint8)
    disagrees = (bits & COLD != 0) & (bits & _OPEN != 0)
    may_be_hot = (bits & COLD != 0) & ~disagrees & (may_mean & HEAT != 0)
    is_open = (bits == 0) & (may_mean & ~np.uint8(BIT[UNCHECKED]) != 0)
    is_unclear = disagrees | may_be_hot | is_open
    return Weighed(bits, is_unclear, _tell(bits, may_mean, disagrees, is_unclear))


def read_words(rows: Returned, written: list[Sign]) -> Bits:
    """Return the status bits that the words of each row say: what was written or ticked, folders and a status column.

    Parameters
    ----------
    rows, written
        As in ``weigh``.
    """
    words = [sign for sign in rows.drawn if sign.name not in PICTURES]
    return _weigh_said([*words, *rows.said, *written], len(rows))[0]


def _weigh_drawn(rows: Returned, handed_out: Bits, has_time: NDArray[np.bool_]) -> Bits:
    drawn = np.zeros(len(rows), np.uint8)
    for sign in rows.drawn:
        drawn |= sign.says
    new = drawn & ~handed_out & ~np.uint8(BIT[UNCHECKED])
    for sign in rows.shapes:
        new |= np.where(new == 0, sign.says & ~handed_out & ~np.uint8(BIT[UNCHECKED]), 0).astype(np.uint8)
    repeated = np.where(has_time & (new == 0), drawn & handed_out & HEAT, 0).astype(np.uint8)
    return np.asarray(new | repeated)


def _weigh_said(signs: list[Sign], length: int) -> tuple[Bits, Bits]:
    says, may_mean = (np.zeros(length, np.uint8) for _ in range(2))
    for sign in signs:
        says |= sign.says
        may_mean |= sign.may_mean
    return says, may_mean


def _tell(bits: Bits, may_mean: Bits, disagrees: NDArray[np.bool_], is_unclear: NDArray[np.bool_]) -> TextColumn:
    words = np.full(len(bits), "", dtype=object)
    for row in np.flatnonzero(is_unclear).tolist():
        said, meant = to_words(int(bits[row])), to_words(int(may_mean[row]))
        if disagrees[row]:
            words[row] = f"says {' and '.join(map(repr, said))}; {said[0]!r}, the more cautious, is entered"
        elif said:
            words[row] = f"says {said[0]!r}, and its words may mean {' or '.join(map(repr, meant))}"
        else:
            words[row] = f"its words may mean {' or '.join(map(repr, meant))}; no status is entered"
    return words

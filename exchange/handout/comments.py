"""The one line of text that travels with a spot: what fits of what is known, the most important first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.formats.text_columns import to_cells
from exchange.handout.letters import Letters

Texts = NDArray[np.object_]

LEAST_CUT = 8
"""A note is cut only where so many letters of it remain; else it is left out."""

_JOINERS = ("; ", " ", "-", "_", ".", ",")
_TERSE_JOINERS = (" ", "-", "_", ".", ",")


@dataclass
class Comments:
    """Comments while they are put together.

    Parameters
    ----------
    count
        How many spots there are.
    letters
        Which letters the device has.
    limit
        Most letters of a comment; ``None`` without limit.
    is_terse
        Whether the pieces are joined by as few letters as possible.
    """

    count: int
    letters: Letters
    limit: int | None
    is_terse: bool = False
    trimmed: dict[str, int] = field(default_factory=dict)
    """How many spots something of a field had to be left out of."""

    def __post_init__(self) -> None:
        """Begin with empty comments."""
        joiners = _TERSE_JOINERS if self.is_terse else _JOINERS
        self.joiner = next((joiner for joiner in joiners if self.letters.allow_letters(joiner)), "")
        self.texts: Any = to_cells([""] * self.count)

    def add(self, name: str, pieces: Texts) -> None:
        """Add a field's texts where they fit whole; a letter that the device lacks would change what they say."""
        fitted = _replace_letters(pieces, self.letters)
        lost = int(((pieces != "") & (fitted == "")).sum())
        self._count(name, lost + int((~self._append(fitted)).sum()))

    def add_note(self, name: str, notes: Texts) -> None:
        """Add free text, in the device's letters and cut where it is too long."""
        fitted = np.fromiter(map(self.letters.fit, notes), dtype=object, count=len(notes))
        squeezed = np.fromiter((" ".join(note.split()) for note in notes), dtype=object, count=len(notes))
        has_lost = np.fromiter(
            (len(fit) < len(note) for fit, note in zip(fitted, squeezed, strict=True)), np.bool_, len(notes)
        )
        has_fitted = self._append(fitted)
        for row in np.flatnonzero(~has_fitted).tolist():
            fitted[row] = self._cut(fitted[row], len(self.texts[row].as_py()))
        cut = np.where(has_fitted, "", fitted)
        self._append(np.asarray(cut, dtype=object))
        self._count(name, int((has_lost | ~has_fitted).sum()))

    def finish(self) -> Texts:
        """Return the comments."""
        return np.fromiter(self.texts.to_pylist(), dtype=object, count=self.count)

    def _append(self, pieces: Texts) -> NDArray[np.bool_]:
        """Append what fits; return which rows had nothing to add or had it added."""
        import pyarrow.compute as pc

        added = to_cells(pieces.tolist())
        used, more = _lengths(self.texts), _lengths(added)
        total = used + more + np.where(used > 0, len(self.joiner), 0)
        fits = np.full(self.count, True) if self.limit is None else total <= self.limit
        # Without a letter to put between, a second piece would run into the first.
        fits &= (used == 0) | bool(self.joiner)
        takes = fits & (more > 0)
        if takes.any():
            joiner = pc.if_else(to_arrow_mask(used > 0), self.joiner, "")
            joined = pc.binary_join_element_wise(self.texts, joiner, added, "")
            self.texts = pc.if_else(to_arrow_mask(takes), joined, self.texts)
        return np.asarray(fits | (more == 0), np.bool_)

    def _cut(self, note: str, used: int) -> str:
        room = (self.limit or 0) - used - (len(self.joiner) if used else 0)
        return self.letters.fit(note[:room]) if room >= LEAST_CUT else ""

    def _count(self, name: str, left_out: int) -> None:
        if left_out:
            self.trimmed[name] = self.trimmed.get(name, 0) + left_out


def to_arrow_mask(rows: NDArray[np.bool_]) -> Any:
    """Return a numpy mask as an Arrow one."""
    import pyarrow as pa

    bits = np.packbits(rows, bitorder="little").tobytes()
    return pa.Array.from_buffers(pa.bool_(), len(rows), [None, pa.py_buffer(bits)])


def _lengths(cells: Any) -> NDArray[np.int64]:
    import pyarrow.compute as pc

    return np.asarray(pc.utf8_length(cells).to_numpy(zero_copy_only=False), np.int64)


def _replace_letters(pieces: Texts, letters: Letters) -> Texts:
    """Return texts in the device's letters; one that has a letter it lacks in every spelling becomes empty."""
    items: Sequence[str] = pieces.tolist()
    joined = "\0".join(["", *items, ""])
    if "  " in joined or " \0" in joined or "\0 " in joined:
        items = [" ".join(item.split()) for item in items]
    used = set("".join(items))
    fitted = {letter: letter if letters.allow_letters(letter) else letters.fit_letter(letter) for letter in used}
    changed = {letter: spelling for letter, spelling in fitted.items() if spelling != letter}
    if not changed:
        return np.fromiter(items, dtype=object, count=len(items))
    lacking = {letter for letter, spelling in changed.items() if not spelling}
    table = str.maketrans(changed)
    texts = ("" if lacking and not lacking.isdisjoint(item) else item.translate(table) for item in items)
    return np.fromiter(texts, dtype=object, count=len(items))

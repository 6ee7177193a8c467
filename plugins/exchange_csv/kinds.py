"""What the cells of a foreign column are: numbers where every one is written as that number would be, else text."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any, Literal

import numpy as np

from exchange.formats.arrow_columns import to_numbers, to_texts
from exchange.model.columns import ForeignColumn
from exchange_csv.cells import empty_to_null, to_cells

CellKind = Literal["int", "float", "text"]
_SAMPLE = 64


def find_kinds(blocks: Iterable[Mapping[str, Any]], names: Collection[str]) -> dict[str, CellKind]:
    """Return what the cells of each column of a whole table are.

    A column is of whole numbers, or of decimal ones, when each text is exactly what the number would be written
    as: ``007``, ``+7``, ``7.50`` and ``1e5`` make it one of text, and so does a mixture of ``7`` and ``7.5``.
    A column without any value is text.

    Parameters
    ----------
    blocks
        The table's columns of text, Arrow arrays by name, block by block.
    names
        The columns that are asked for.
    """
    possible: dict[str, set[CellKind]] = {}
    has_values: set[str] = set()
    for columns in blocks:
        for name in names:
            cells = columns[name]
            kinds = possible.setdefault(name, {"int", "float"})
            if kinds:
                given = _drop_empty(cells)
                has_values |= {name} if len(given) else set()
                kinds &= {kind for kind in kinds if _is_exact(given, kind)}
    return {name: _choose(kinds, name in has_values) for name, kinds in possible.items()}


def _choose(kinds: set[CellKind], has_values: bool) -> CellKind:
    if not has_values or not kinds:
        return "text"
    return "int" if "int" in kinds else "float"


def _is_exact(given: Any, kind: CellKind) -> bool:
    sample = given.slice(0, _SAMPLE)
    return _reads_back(sample, kind) and (len(given) <= _SAMPLE or _reads_back(given, kind))


def _reads_back(given: Any, kind: CellKind) -> bool:
    import pyarrow as pa
    import pyarrow.compute as pc

    try:
        values = given.cast(pa.int64() if kind == "int" else pa.float64())
    except pa.ArrowInvalid:
        return False
    written = values.cast(pa.string())
    if kind == "float":
        if not np.isfinite(to_numbers(values)).all():
            return False
        # Arrow writes 3.0 as 3, the exchange as 3.0.
        with_point = pc.binary_join_element_wise(written, to_cells([".0"])[0], to_cells([""])[0])
        written = pc.if_else(pc.match_substring(written, "."), written, with_point)
    return pc.all(pc.equal(written, given)).as_py() is not False


def to_foreign(cells: Any, kind: CellKind) -> ForeignColumn:
    """Return a column of cells as values of a kind that ``find_kinds`` found; an empty cell is missing."""
    import pyarrow as pa

    if kind == "text":
        return to_texts(cells)
    given = empty_to_null(cells)
    if kind == "float":
        return to_numbers(given.cast(pa.float64()))
    whole = given.cast(pa.int64())
    if whole.null_count:
        return np.fromiter(whole.to_pylist(), dtype=object, count=len(whole))
    return to_numbers(whole)


def _drop_empty(cells: Any) -> Any:
    return empty_to_null(cells).drop_null()

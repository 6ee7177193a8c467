"""A column of text is looked at once; what is known of it is never wrong afterwards."""

from __future__ import annotations

import gc
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.errors import ModelError
from exchange.model import Detections
from exchange.model.columns import has_any_value, has_value, is_text, mark_text, take_rows, to_foreign_column

TEXTS = st.lists(st.text(max_size=3), min_size=1, max_size=8)


def known_columns(table: Detections) -> list[Any]:
    """Return the columns of a table that are known to be text, foreign ones included."""
    return [c for c in (*(getattr(table, n) for n in table.column_names()), *table.extra.values()) if is_text(c)]


@given(names=TEXTS, foreign=TEXTS, data=st.data())
def test_whatever_becomes_of_a_table_its_known_texts_are_texts(
    names: list[str], foreign: list[str], data: st.DataObject
) -> None:
    """Taking, replacing and joining keep what is known, and what is known holds ``str`` only and is read-only."""
    first = Detections(name=names, extra={"crew": ["", *names[1:]], "mixed": [1, *names[1:]]})
    second = Detections(name=foreign, extra={"mixed": foreign})
    rows = data.draw(st.lists(st.integers(0, len(names) - 1), max_size=4))
    joined = Detections.join([first, second])
    for table in (first, second, first.take(rows), joined, joined.replace(note="seen"), joined.take(slice(0, 1))):
        assert is_text(table.name)
        for column in known_columns(table):
            assert set(map(type, column.tolist())) <= {str}
            assert not column.flags.writeable
    assert joined.name.tolist() == names + foreign
    assert joined == Detections(
        name=names + foreign,
        extra={
            "crew": ["", *names[1:], *[""] * len(foreign)],
            "mixed": [1, *names[1:], *foreign],
        },
    )


def test_a_copy_of_a_known_column_is_not_known() -> None:
    """What may be changed, or was made from a known column by anything but the model, is looked at again."""
    column = Detections(name=["a", "b"]).name
    copy = column.copy()
    assert is_text(column)
    assert not is_text(copy)
    assert not is_text(column[:1])
    copy[0] = 7
    with pytest.raises(ModelError, match="7 is no text"):
        Detections(name=copy)


def test_a_column_made_writeable_again_is_not_known() -> None:
    """Whoever lifts the lock of a column has it looked at again."""
    column = mark_text(np.array(["a", "b"], dtype=object))
    column.flags.writeable = True
    column[1] = 7
    assert not is_text(column)
    with pytest.raises(ModelError, match="7 is no text"):
        Detections(name=column)


def test_a_known_column_is_forgotten_when_it_is_gone() -> None:
    """Another array in the same place of memory is not taken for one that was known."""
    for _ in range(200):
        mark_text(np.array(["a"], dtype=object))
        gc.collect(0)
        assert not is_text(np.array([7], dtype=object))


@pytest.mark.parametrize("values", [["", ""], ["", "a"], ["a", "b"]])
def test_known_and_unknown_texts_have_the_same_values(values: list[str]) -> None:
    """Which rows hold a value does not depend on whether the column is known."""
    plain = np.array(values, dtype=object)
    column = mark_text(plain.copy())
    assert has_value(column).tolist() == has_value(plain).tolist()
    assert has_any_value(column) is has_any_value(plain)
    assert to_foreign_column(column) is column
    assert take_rows(column, [0]).tolist() == values[:1]

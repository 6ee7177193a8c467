from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.status import text_codes
from exchange.status.text_codes import code_texts, find_texts, rank_texts

# Lone surrogates stand for bytes that are not in UTF-8.
WORDS = st.lists(st.text(st.characters(codec=None), max_size=3), max_size=12)


def _both(monkeypatch: pytest.MonkeyPatch, compute: Callable[[], list[int]]) -> list[int]:
    """Return what short columns give, once long ones were seen to give the same."""
    short = compute()
    with monkeypatch.context() as patch:
        patch.setattr(text_codes._to_arrow, "__defaults__", (0,))
        assert compute() == short
    return short


@given(texts=WORDS, known=WORDS)
def test_texts_are_found_coded_and_ranked_alike_in_short_and_long_columns(texts: list[str], known: list[str]) -> None:
    """Each text finds its place, comes back from its code, and ranks as Python sorts it."""
    places = {text: 3 * row for row, text in enumerate(known)}
    column = np.fromiter(texts, dtype=object, count=len(texts))
    with pytest.MonkeyPatch.context() as patch:
        assert _both(patch, lambda: find_texts(column, places).tolist()) == [places.get(text, -1) for text in texts]
        codes = _both(patch, lambda: code_texts(column)[0].tolist())
        ranks = _both(patch, lambda: rank_texts(column).tolist())
    assert [code_texts(column)[1][code] for code in codes] == texts
    assert ranks == [sorted(set(texts)).index(text) for text in texts]

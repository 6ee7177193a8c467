from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange_kml.balloon import find_html, is_html, read_balloons, read_like_others, read_tables

_PIECES = st.sampled_from(
    [
        *(
            "<table>",
            "</table>",
            "<tr>",
            "</tr>",
            "<td>",
            "</td>",
            "<th>",
            "</th>",
            "<b>",
            "</b>",
            "<br/>",
            "<img src='a'>",
        ),
        *(
            "<TABLE border='1'>",
            "<td colspan=2>",
            "<script>",
            "</script>",
            "<!-- c -->",
            "<p>",
            "</p>",
            "< ",
            "<x",
            ">",
        ),
        *(
            "Crew",
            "7",
            " ",
            "\n",
            ":",
            "Temp:",
            "a &amp; b",
            "&lt;",
            "&nbsp;",
            "&deg;C",
            "&eacute;",
            "&",
            "&#39;",
            "é",
            "\xa0",
        ),
    ]
)
_ROW = st.tuples(st.sampled_from(["Crew", "A:", " T ", "&lt;"]), st.sampled_from(["7", "", "x &amp; y", " 3 &deg;C\n"]))


@settings(max_examples=300, deadline=None)
@given(pieces=st.lists(_PIECES, max_size=14), rows=st.lists(_ROW, max_size=4))
def test_the_quick_way_gives_what_the_parser_gives(pieces: list[str], rows: list[tuple[str, str]]) -> None:
    """Whatever stands in a description, both ways find the same names and values."""
    table = "".join(f"<tr><td>{name}</td><td>{value}</td></tr>" for name, value in rows)
    for text in ("".join(pieces), f"<table>{table}</table>", f"<table>{table}{''.join(pieces)}</table>"):
        quick = read_like_others(text)
        assert quick is None or quick == list(read_tables(text))


@pytest.mark.parametrize(
    "text",
    [
        "<table><tr><td>a</td><td>b</td></tr>",
        "<table><tr><td>a<td>b</table>",
        "<div><table><tr><th>a</th><td><font color='red'>b</font></td></tr></table></div>",
        "<html><body><table><tbody><tr><td> a : </td><td>\n b</td></tr></tbody></table></body></html>",
        "<table><tr><th>a</th></tr><tr><td>b</td></tr></table>",
        "<table><tr><td><table><tr><td>a</td><td>b</td></tr></table></td></tr></table>",
    ],
)
def test_tables_of_many_makes_are_read(text: str) -> None:
    """Unclosed cells, nested tables, headings and decoration hold the same pair."""
    assert read_tables(text) == (("a", "b"),)


def test_rows_of_one_column_are_told_apart() -> None:
    """Each description gives its own row's values; one without a table gives none."""
    texts = np.array(
        [f"<table><tr><td>Crew</td><td>{n}</td></tr></table>" for n in range(3)] + ["dry", ""], dtype=object
    )
    assert read_balloons(texts)["Crew"].tolist() == ["0", "1", "2", "", ""]
    assert find_html(texts).tolist() == [True, True, True, False, False]


def test_scripts_and_hostile_markup_do_no_harm() -> None:
    """Nothing in a description is run or fetched; what is no table is left alone, deep nesting included."""
    assert read_tables("<script>document.write('<table>')</script>") == ()
    assert read_tables("<table>" * 5000 + "<tr><td>a</td><td>b</td></tr>") == ()
    assert not is_html("height < 3 m and > 1 m")

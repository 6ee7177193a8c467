from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from fpdf import FPDF
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

from exchange.errors import OptionError
from exchange.handout.paper import SheetOptions, write_sheet
from exchange.handout.paper.boxes import LINE_HEIGHT, POINT_MM, Box, Writer
from exchange.handout.paper.page import MARGIN_MM
from exchange.handout.paper.rows import BOXES_MM, CODE_MM, NUMBER_MM, POSITION_MM
from exchange.handout.paper.typeface import SUBSTITUTE, use_typeface
from exchange.model import Detections

PIXELS_PER_MM = 6.0
"""Near 150 dots an inch, as a cheap printer has."""

LONGEST = "Wide Mountainside " * 20
SQUARE = box(-114.02, 44.51, -113.99, 44.53)


def make_spots(count: int, **columns: object) -> Detections:
    """Return invented spots on a grid of 100 m or so."""
    rows = np.arange(count)
    given_columns = {
        "id": [f"H-{row + 1:03d}" for row in rows],
        "longitude": -114.01 + (rows % 7) * 0.0013,
        "latitude": 44.515 + (rows // 7) * 0.0009,
        "accuracy": 2.6,
        "temperature": 212.4,
        "status": "unchecked",
        **columns,
    }
    return Detections(**given_columns)  # type: ignore[arg-type]  # columns of any kind


def render(path: Path) -> list[np.ndarray]:
    """Return every page as grey levels, shape (height, width)."""
    document = pypdfium2.PdfDocument(path)
    scale = PIXELS_PER_MM * 25.4 / 72
    return [np.asarray(page.render(scale=scale).to_pil().convert("L")) for page in document]


def read_text(path: Path) -> list[str]:
    """Return the text of every page, a space for every break."""
    return [" ".join(page.get_textpage().get_text_bounded().split()) for page in pypdfium2.PdfDocument(path)]


def test_each_row_has_what_a_crew_needs(tmp_path: Path) -> None:
    """Number, both forms, heat, edge, status, boxes, page, time, source and caution stand on the page as text."""
    spots = make_spots(1, note="under the big root", last_seen=np.datetime64("2026-08-14T10:00:00"))
    options = SheetOptions(title="Marrow Flat (invented)", source="list 3", data_time="14 August, 10:00 UTC")
    assert write_sheet(spots, tmp_path / "a.pdf", area=SQUARE, short_names={"H-001": "H1"}, options=options) == []
    (text,) = read_text(tmp_path / "a.pdf")
    # The grid reference is what the mgrs library gives for the position.
    for expected in (
        "H-001",
        "on devices H1",
        "N 44°30.900' W 114°00.600' (DDM)",
        "11T QK 37639 33424 (USNG)",
        "highest 212 °C",
        "was: unchecked",
        "seen 2026-08-14 10:00 UTC",
        "inside, edge 556 m at 180° true",
        "under the big root",
        "page 1 of 1",
        "data as of 14 August, 10:00 UTC",
        "from list 3",
        "incident's command",
    ):
        assert expected in text
    for word in ("hot", "working", "recheck", "out", "no heat", "time", "initials", "note"):
        assert word in text


def test_the_code_of_each_row_is_its_position(tmp_path: Path) -> None:
    """An independent reader (ZXing) finds every spot's geo: URI on the rendered pages, and the whole list's code."""
    spots = make_spots(12)
    write_sheet(spots, tmp_path / "a.pdf")
    found = [code.text for page in render(tmp_path / "a.pdf") for code in zxingcpp.read_barcodes(page)]
    rows = zip(spots.latitude.tolist(), spots.longitude.tolist(), strict=True)
    uris = [f"geo:{latitude:.6f},{longitude:.6f};u=3" for latitude, longitude in rows]
    assert sorted(text for text in found if text.startswith("geo:")) == sorted(uris)
    (whole,) = (text for text in found if not text.startswith("geo:"))
    lines = whole.splitlines()
    assert lines[0] == "WGS 84"
    assert lines[1:] == [f"{n} {u[4:].partition(';')[0]}" for n, u in zip(spots.id.tolist(), uris, strict=True)]


def test_a_list_too_long_for_one_code_says_so(tmp_path: Path) -> None:
    """Where the whole list's code would be too fine to read there is none, in words; the rows keep theirs."""
    write_sheet(make_spots(60), tmp_path / "a.pdf")
    assert "60 positions are too many for one code" in read_text(tmp_path / "a.pdf")[0]


def test_no_text_runs_out_of_its_box(tmp_path: Path) -> None:
    """With the longest values every gutter between two columns, and every margin, stays white."""
    columns = dict.fromkeys(("name", "note", "status"), LONGEST)
    spots = make_spots(3, **columns, id=[f"H-{'9' * 9}{row}" for row in range(3)])
    options = SheetOptions(title=LONGEST, source=LONGEST, data_time=LONGEST)
    problems = write_sheet(
        spots, tmp_path / "a.pdf", area=SQUARE, short_names=dict.fromkeys(spots.id, LONGEST), options=options
    )
    assert [problem.severity for problem in problems if "ellipsis" in problem.message] == ["changed"]
    (page,) = render(tmp_path / "a.pdf")
    top = round((MARGIN_MM + 15 + 92) * PIXELS_PER_MM)
    rows = page[top + 6 : top + round(3 * 24 * PIXELS_PER_MM)]
    is_line = (rows < 128).mean(axis=1) > 0.5
    gutters = np.cumsum([NUMBER_MM, POSITION_MM, BOXES_MM]) + MARGIN_MM
    for gutter_mm in (*gutters, page.shape[1] / PIXELS_PER_MM - MARGIN_MM - CODE_MM):
        middle = (gutter_mm - 1.0) * PIXELS_PER_MM
        assert rows[~is_line, round(middle - 4) : round(middle + 4)].min() > 128, f"gutter at {gutter_mm} mm"
    margin = round(MARGIN_MM * PIXELS_PER_MM) - 2
    for edge in (page[:margin], page[-margin:], page[:, :margin], page[:, -margin:]):
        assert edge.min() > 128


class _Recorder(FPDF):
    """A document that notes each line instead of printing it."""

    def __init__(self) -> None:
        super().__init__(unit="mm")
        self.lines: list[tuple[str, float]] = []

    def cell(self, w: float, h: float, text: str = "", **_: object) -> bool:  # type: ignore[override]
        self.lines.append((text, self.get_string_width(text)))
        return False


@pytest.fixture(scope="module")
def recorder() -> Iterator[Writer]:
    pdf = _Recorder()
    with use_typeface(pdf) as typeface:
        pdf.add_page()
        yield Writer(pdf, typeface)


@given(st.text(max_size=200), st.floats(5.0, 80.0), st.floats(3.0, 20.0), st.sampled_from([6.0, 8.0, 16.0]))
def test_any_text_stays_in_any_box(recorder: Writer, text: str, width: float, height: float, size_pt: float) -> None:
    """Each line is no wider than its box, all lines together no higher, and what is cut is counted."""
    pdf = recorder.pdf
    assert isinstance(pdf, _Recorder)
    pdf.lines.clear()
    recorder.cut = 0
    recorder.write(Box(10.0, 10.0, width, height), text, size_pt=size_pt)
    assert all(length <= width + 1e-6 for _, length in pdf.lines)
    assert len(pdf.lines) == 1 or len(pdf.lines) * pdf.font_size_pt * POINT_MM * LINE_HEIGHT <= height + 1e-6
    written = "".join(line for line, _ in pdf.lines).replace(" ", "")
    wanted = recorder.typeface.to_printable(text).replace(" ", "")
    assert (written == wanted) is (recorder.cut == 0)


def test_a_character_the_typeface_lacks_is_told(tmp_path: Path) -> None:
    """A mark stands in its place, and how many were replaced is told; control characters leave nothing."""
    (problem,) = write_sheet(make_spots(1, note="fire \N{FIRE}\N{FIRE} by the \x07creek"), tmp_path / "a.pdf")
    assert (problem.severity, problem.count, problem.value) == ("changed", 2, "\N{FIRE}")
    assert f"fire {SUBSTITUTE * 2} by the creek" in read_text(tmp_path / "a.pdf")[0]


def test_a_spot_without_a_position_has_a_row_and_no_code(tmp_path: Path) -> None:
    """Nothing is made up: no position, no code, no dot on the map; a pole has no grid form and does have a code."""
    spots = make_spots(2, longitude=[np.nan, 12.0], latitude=[np.nan, 90.0])
    write_sheet(spots, tmp_path / "a.pdf")
    (page,) = render(tmp_path / "a.pdf")
    found = [code.text for code in zxingcpp.read_barcodes(page)]
    assert [text for text in found if text.startswith("geo:")] == ["geo:90.000000,0.000000;u=3"]
    assert "no position" in read_text(tmp_path / "a.pdf")[0]


def test_an_empty_list_is_a_page_that_says_so(tmp_path: Path) -> None:
    """A sheet of nothing says 0 spots."""
    assert write_sheet(Detections(), tmp_path / "a.pdf") == []
    assert "0 spots" in read_text(tmp_path / "a.pdf")[0]


def test_rows_go_on_over_the_pages(tmp_path: Path) -> None:
    """Every number stands on the sheet once as a row, each page with its number of all pages."""
    spots = make_spots(40)
    write_sheet(spots, tmp_path / "a.pdf", options=SheetOptions(paper="letter"))
    pages = read_text(tmp_path / "a.pdf")
    assert all(f"page {n} of {len(pages)}" in text for n, text in enumerate(pages, 1))
    assert [" ".join(pages).count(f" {number} was:") for number in spots.id.tolist()] == [1] * 40


@pytest.mark.parametrize(
    ("wrong", "named"),
    [
        ({"paper": "b7"}, "'b7'"),
        ({"forms": ("DDM",)}, "1 forms"),
        ({"forms": ("DDM", "QTH")}, "'QTH'"),
        ({"temperature_unit": "R"}, "'R'"),
    ],
)
def test_what_the_sheet_has_no_layout_for_is_refused(wrong: dict[str, object], named: str) -> None:
    """A wrong option is named, with what is allowed."""
    with pytest.raises(OptionError, match=named):
        SheetOptions(**wrong)  # type: ignore[arg-type]  # wrong on purpose

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.errors import MalformedError, NotThisFormatError, ReadError, WriteError
from exchange.formats.manifest_file import COLUMNS, check_manifest, read_manifest, write_manifest
from exchange.model import Manifest

TEXT = st.text(max_size=12) | st.sampled_from(["\ud800", "\x00", r"\ud800", "=1", "'=1", "a\r\nb"])
ROW = st.tuples(
    st.floats(-180.0, 180.0), st.floats(-90.0, 90.0), TEXT, TEXT, TEXT, st.none() | st.integers(0, 4_000_000_000_000)
)


def _manifest(rows: list[tuple[float, float, str, str, str, int | None]]) -> Manifest:
    times = [np.datetime64("NaT" if row[5] is None else row[5], "ms") for row in rows]
    return Manifest(
        number=[f"=H-{index:03d}{row[2]}" for index, row in enumerate(rows)],
        short_name=[f"{row[3]}{index}" for index, row in enumerate(rows)],
        profile=[row[4] for row in rows],
        file=[row[2] for row in rows],
        longitude=[row[0] for row in rows],
        latitude=[row[1] for row in rows],
        status=[row[4] for row in rows],
        aliases=[row[3] for row in rows],
        handed_out=np.array(times, "M8[ms]"),
        comment=[row[2] for row in rows],
    )


@given(rows=st.lists(ROW, max_size=8))
def test_a_manifest_comes_back_equal(tmp_path_factory: pytest.TempPathFactory, rows: list) -> None:
    """What was handed out is read back as it was, formulas, line breaks and quotes included."""
    path = tmp_path_factory.mktemp("manifest") / "manifest.csv"
    manifest = _manifest(rows)
    write_manifest(manifest, path)
    assert read_manifest(path).differences(manifest) == []


def test_no_cell_is_a_formula_and_a_western_longitude_is_a_number(tmp_path: Path) -> None:
    """A spreadsheet runs nothing of a manifest, and reads its coordinates as numbers."""
    path = tmp_path / "manifest.csv"
    write_manifest(Manifest(number=["=1+1"], short_name=["H1"], longitude=[-120.5], latitude=[40.0]), path)
    line = path.read_text(encoding="utf-8").splitlines()[1]
    assert line == "'=1+1,H1,,,-120.5,40,,,,"


def test_manifests_join_end_to_end() -> None:
    """Two hand-outs are one manifest of all their rows."""
    first, second = Manifest(number=["H-001"], short_name=["H1"]), Manifest(number=["H-002"], short_name=["H2"])
    assert Manifest.join([first, second]) == Manifest(number=["H-001", "H-002"], short_name=["H1", "H2"])
    assert first != second


HEADER = ",".join(COLUMNS)
BAD = {
    "H-001,H1,p,f.gpx,1,2,,,\r\n": "9 cells where the first line names 10",
    "H-001,H1,p,f.gpx,x,2,,,,\r\n": "'x' is no number",
    "H-001,H1,p,f.gpx,181,2,,,,\r\n": "'181' is no longitude",
    "H-001,H1,p,f.gpx,nan,2,,,,\r\n": "'nan' is no longitude",
    "H-001,H1,p,f.gpx,1,2,,,yesterday,\r\n": "'yesterday' is no time with its zone",
    "H-001,H1,p,f.gpx,1,2,,,2026-08-14T19:03:05,\r\n": "is no time with its zone",
    "H-001,,p,f.gpx,1,2,,,,\r\n": "short_name: is missing",
    ",H1,p,f.gpx,1,2,,,,\r\n": "number: is missing",
    "H-001,H1,p,f,1,2,,,,\r\nH-002,H1,p,f,1,2,,,,\r\n": "record 2, field short_name: 'H1' comes twice",
    "H-001,H1,p,f,1,2,,,,\r\nH-001,H2,p,f,1,2,,,,\r\n": "record 2, field number: 'H-001' comes twice",
    '"H-001,H1\r\n': "is no text table in UTF-8",
}


@pytest.mark.parametrize("rows", BAD, ids=BAD.values())
def test_a_damaged_manifest_is_refused(tmp_path: Path, rows: str) -> None:
    """A manifest that does not lead from each short name to one spot is refused with the place."""
    path = tmp_path / "manifest.csv"
    path.write_text(f"{HEADER}\r\n{rows}", encoding="utf-8", newline="")
    with pytest.raises(MalformedError, match=BAD[rows]):
        read_manifest(path)


def test_another_table_is_refused(tmp_path: Path) -> None:
    """A table with other columns is no manifest; nothing of it is guessed."""
    path = tmp_path / "manifest.csv"
    path.write_text("id,name\n1,2\n", encoding="utf-8")
    with pytest.raises(NotThisFormatError, match="is no manifest"):
        read_manifest(path)
    path.write_bytes(b"")
    with pytest.raises(NotThisFormatError, match="is no manifest"):
        read_manifest(path)


def test_what_cannot_be_opened_or_written_is_told(tmp_path: Path) -> None:
    """A missing file and one that is there already are named."""
    with pytest.raises(ReadError, match="cannot be opened"):
        read_manifest(tmp_path / "none.csv")
    write_manifest(Manifest(), tmp_path / "manifest.csv")
    with pytest.raises(WriteError, match="exists already"):
        write_manifest(Manifest(), tmp_path / "manifest.csv")


def test_a_manifest_saved_by_a_spreadsheet_is_read(tmp_path: Path) -> None:
    """A byte order mark and bare line feeds change nothing."""
    path = tmp_path / "manifest.csv"
    path.write_text(
        f"\ufeff{HEADER}\nH-001,H1,p,f.gpx,-120.50,40.0,hot,H-007,2026-08-14T19:03:05Z,hot\n", encoding="utf-8"
    )
    manifest = read_manifest(path)
    assert (manifest.longitude[0], manifest.aliases[0]) == (-120.5, "H-007")
    check_manifest(manifest)

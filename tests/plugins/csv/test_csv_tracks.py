from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from exchange.errors import OptionError
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Packet
from exchange.testing import host_with
from exchange_csv.format import CsvFormat, TsvFormat
from tests.samples import SAMPLES

HOST = host_with(CsvFormat(), TsvFormat())
FLOWN = "Time (UTC),lat,lon,alt_ft,height above ground (m),heading,camera heading,camera pitch\n" + "".join(
    f"2026-08-14T19:03:{s:02d},44.5{s:02d},-114.2{s:02d},{5000 + s},60.5,{s},{s + 90},-45\n" for s in range(7)
)
TWO_SORTIES = (
    "flight,lat,lon,time\n"
    "S1,44.5,-114.2,2026-08-14T19:03:05Z\n"
    "S2,44.6,-114.3,2026-08-14T19:03:05Z\n"
    "S1,44.51,-114.2,2026-08-14T19:03:06Z\n"
)


def take(text: str, folder: Path, **options: Any) -> Packet:
    path = folder / "a.csv"
    path.write_text(text, encoding="utf-8")
    return read(path, host=HOST, options=ReadOptions(**options))


@pytest.mark.parametrize("batch_rows", [1, 3, 65_536])
def test_rows_become_the_fixes_of_one_track_when_told(batch_rows: int, tmp_path: Path) -> None:
    """Every column of a fix is read in the model's units, whatever the batches."""
    (track,) = take(FLOWN, tmp_path, rows_as_track=True, batch_rows=batch_rows).tracks
    assert len(track) == 7
    np.testing.assert_allclose(track.altitude[0], 1524.0, rtol=0, atol=1e-9)
    assert (track.height[0], track.height_reference) == (60.5, "ground")
    assert track.heading.tolist() == [float(second) for second in range(7)]
    assert track.camera_pitch.tolist() == [-45.0] * 7
    assert track.time[6] == np.datetime64("2026-08-14T19:03:06", "ms")


def test_a_flown_track_read_as_points_is_told(tmp_path: Path) -> None:
    """Headings and camera angles make the reader name the option."""
    read_back = take(FLOWN, tmp_path)
    assert len(read_back.detections) == 7
    assert any("--as-track" in problem.remedy for problem in read_back.problems)


@pytest.mark.parametrize("batch_rows", [1, 65_536])
def test_each_sortie_is_a_track_of_its_own(batch_rows: int, tmp_path: Path) -> None:
    """Fixes of two sorties that alternate are kept apart, each in its order."""
    first, second = take(TWO_SORTIES, tmp_path, rows_as_track=True, batch_rows=batch_rows).tracks
    assert (first.sortie, second.sortie) == ("S1", "S2")
    assert first.latitude.tolist() == [44.5, 44.51]
    assert [first.source[1].record, second.source[0].record] == [3, 2]


def test_tsv_is_tabs_and_nothing_else(tmp_path: Path) -> None:
    """The format's own definition is not overruled by an option."""
    with pytest.raises(OptionError, match=r"--separator.*TSV is separated by tabs"):
        write(SAMPLES["one point"], tmp_path / "a.tsv", host=HOST, options=WriteOptions(separator=";"))


UTM = {"position_form": "utm", "longitude_column": "lon", "latitude_column": "lat"}
IMPOSSIBLE = {
    "'ab' is no separator": {"separator": "ab"},
    "'x' is no separator": {"separator": "x"},
    "';' is no decimal mark": {"decimal_mark": ";"},
    "'grads' is no form of coordinates": {"position_form": "grads"},
    "'klingon' is no encoding": {"encoding": "klingon"},
    "only one of the two coordinate columns": {"longitude_column": "lon"},
    "the table has no column 'where'": {"position_column": "where"},
    "'99Q' is no UTM zone": {**UTM, "utm_zone": "99Q"},
}


@pytest.mark.parametrize("message", IMPOSSIBLE)
def test_an_option_that_cannot_be_is_refused(message: str, tmp_path: Path) -> None:
    """Each unusable option is an OptionError that says why, never a guess."""
    with pytest.raises(OptionError, match=message):
        take("id,lat,lon\n1,44.5,-114.2\n", tmp_path, **IMPOSSIBLE[message])


@pytest.mark.parametrize("name", ["some of everything", "every column of a track", "hostile text"])
def test_a_table_that_is_too_large_to_keep_reads_alike(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A large table is gone through twice from the disk instead of being kept in memory."""
    write(SAMPLES[name], tmp_path / "a.csv", host=HOST)
    kept = read(tmp_path / "a.csv", host=HOST)
    monkeypatch.setattr("exchange_csv.table.CACHED_BYTES", 0)
    assert read(tmp_path / "a.csv", host=HOST) == kept == SAMPLES[name]
    assert take(FLOWN, tmp_path).counts()["detections"] == 7


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "utf-32", "cp1252"])
def test_a_house_table_in_another_encoding_is_still_one(encoding: str, tmp_path: Path) -> None:
    """A table that was saved again in another encoding comes back equal."""
    packet = SAMPLES["some of everything"].replace(incident="Fuego de Peñasco")
    write(packet, tmp_path / "a.csv", host=HOST)
    (tmp_path / "a.csv").write_bytes((tmp_path / "a.csv").read_bytes().decode().encode(encoding))
    assert read(tmp_path / "a.csv", host=HOST) == packet


def test_a_table_has_no_layers(tmp_path: Path) -> None:
    """A layer that is asked for is refused, not passed over."""
    with pytest.raises(OptionError, match=r"no layer 'nosuch'\n.*table of text has no layers"):
        take(FLOWN, tmp_path, layers=("nosuch",))

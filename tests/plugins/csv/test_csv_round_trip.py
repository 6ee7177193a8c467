from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from exchange.formats.options import ReadOptions, WriteOptions
from exchange.formats.positions import settle_positions
from exchange.model import Packet
from exchange.testing import check_round_trip
from exchange.testing.strategies import packets
from exchange_csv.format import CsvFormat, TsvFormat
from tests.samples import SAMPLES


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("fmt", [CsvFormat(), TsvFormat()], ids=["csv", "tsv"])
def test_every_sample_comes_back_equal(fmt: CsvFormat | TsvFormat, name: str, tmp_path: Path) -> None:
    """A table of the house holds the whole model exactly, and loses nothing."""
    assert check_round_trip(fmt, SAMPLES[name], tmp_path) == ()


@pytest.mark.parametrize("separator", [",", "semicolon", "tab", "|"])
@pytest.mark.parametrize("decimal_mark", [".", ","])
def test_every_separator_and_decimal_mark_comes_back_without_an_option(
    separator: str, decimal_mark: str, tmp_path: Path
) -> None:
    """How a table of the house is written needs no telling when it is read."""
    options = WriteOptions(separator=separator, decimal_mark=decimal_mark)
    for name in ("some of everything", "foreign fields of every type", "every column of a track", "hostile text"):
        check_round_trip(CsvFormat(), SAMPLES[name], tmp_path, write_options=options)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large], max_examples=60)
@given(packet=packets(), separator=st.sampled_from([",", ";", "tab", "|"]), batch_rows=st.sampled_from([1, 3, 65_536]))
def test_any_packet_comes_back_equal_in_any_batches(packet: Packet, separator: str, batch_rows: int) -> None:
    """Any text, any foreign value and any cut into batches gives the packet that was written."""
    with TemporaryDirectory() as folder:
        check_round_trip(
            CsvFormat(),
            settle_positions(packet),  # half a position is none, whatever the format
            Path(folder),
            write_options=WriteOptions(separator=separator),
            read_options=ReadOptions(batch_rows=batch_rows),
        )

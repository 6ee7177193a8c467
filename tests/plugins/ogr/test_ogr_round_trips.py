from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings

from exchange.formats.format import Format
from exchange.model import Packet
from exchange.testing import check_round_trip
from exchange.testing.strategies import packets
from exchange_ogr.formats import FlatGeobuf, GeoPackage, Shapefile
from tests.samples import SAMPLES

FORMATS: tuple[Format, ...] = (FlatGeobuf(), GeoPackage(), Shapefile())


@pytest.mark.parametrize("fmt", FORMATS, ids=lambda fmt: fmt.name)
@pytest.mark.parametrize("sample", SAMPLES)
def test_every_sample_reads_back_as_it_was_written(fmt: Format, sample: str, tmp_path: Path) -> None:
    """Model to file to model is equal in all that the format says it can hold."""
    check_round_trip(fmt, SAMPLES[sample], tmp_path)


@pytest.mark.parametrize("fmt", FORMATS, ids=lambda fmt: fmt.name)
@settings(max_examples=25, deadline=None)
@given(packet=packets())
def test_any_packet_reads_back_as_it_was_written(fmt: Format, packet: Packet) -> None:
    """Any text, any foreign field, any number goes through and comes back."""
    with tempfile.TemporaryDirectory() as folder:
        check_round_trip(fmt, packet, Path(folder))

"""Whatever the model holds comes back from both formats as it was."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings

from exchange.model import Packet
from exchange.testing import check_round_trip
from exchange.testing.strategies import packets
from exchange_geojson.format import GeoJson, GeoJsonSequence
from tests.samples import SAMPLES

FORMATS = [GeoJson(), GeoJsonSequence()]


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("fmt", FORMATS, ids=lambda fmt: fmt.name)
def test_every_sample_comes_back_whole(fmt: GeoJson | GeoJsonSequence, name: str, tmp_path: Path) -> None:
    """Every awkward case is held wholly, and none of them needs a problem told."""
    check_round_trip(fmt, SAMPLES[name], tmp_path)


@settings(max_examples=25, deadline=None)
@given(packets())
def test_any_packet_comes_back_whole(packet: Packet) -> None:
    """Any text, any kind of foreign value and any gap in the columns survives."""
    with TemporaryDirectory() as folder:
        for fmt in FORMATS:
            check_round_trip(fmt, packet, Path(folder))

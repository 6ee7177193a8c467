from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings

from exchange.formats.format import Format
from exchange.model import Detections, Packet, Sources
from exchange.testing import check_round_trip
from exchange.testing.strategies import packets
from exchange_kml.format import Kml, Kmz
from exchange_kml.names import KIND_FOLDERS
from exchange_kml.writing import MOST_SORTED_ROWS
from tests.plugins.kml.kit import document_of, read_file, write_file
from tests.samples import SAMPLES

BOTH = pytest.mark.parametrize("fmt", [Kml(), Kmz()], ids=lambda fmt: fmt.name)


@BOTH
@pytest.mark.parametrize("name", SAMPLES)
def test_every_sample_comes_back(fmt: Format, name: str, tmp_path: Path) -> None:
    """Every awkward case reads back as it was."""
    check_round_trip(fmt, SAMPLES[name], tmp_path)


@settings(max_examples=60, deadline=None)
@given(packet=packets())
def test_any_packet_comes_back(packet: Packet) -> None:
    """Whatever the model holds, any text included, reads back as it was."""
    with tempfile.TemporaryDirectory() as folder:
        check_round_trip(Kml(), packet, Path(folder))


@settings(max_examples=15, deadline=None)
@given(packet=packets())
def test_any_packet_comes_back_from_an_archive(packet: Packet) -> None:
    """An archive holds what a document holds."""
    with tempfile.TemporaryDirectory() as folder:
        check_round_trip(Kmz(), packet, Path(folder))


def test_rows_in_folders_by_status_come_back_in_their_order(tmp_path: Path) -> None:
    """Spots stand in folders by status, and are read in the order of the table all the same."""
    status = ["out", "hot", "", "out", "recheck", "hot"]
    table = Detections(
        id=[f"H-{n}" for n in range(6)], longitude=np.arange(6.0), latitude=np.arange(6.0), status=status
    )
    path = tmp_path / "list.kml"
    write_file(Packet(detections=table), path)
    text = document_of(path).decode()
    assert text.index("<name>hot</name>") < text.index("<name>H-1</name>") < text.index("<name>out</name>")
    for rows in (1, 2, 100):
        assert read_file(path, batch_rows=rows).detections == table


def test_a_long_list_keeps_its_own_order(tmp_path: Path) -> None:
    """Above the limit no row moves, so that reading needs no memory of the whole file."""
    length = MOST_SORTED_ROWS + 1
    status = np.where(np.arange(length) % 2, "hot", "out").astype(object)
    table = Detections(longitude=np.zeros(length), latitude=np.zeros(length), status=status)
    path = tmp_path / "list.kml"
    write_file(Packet(detections=table), path)
    assert b"<Placemark id=" not in document_of(path)
    assert read_file(path).detections == table


def test_folders_of_the_source_are_written_again(tmp_path: Path) -> None:
    """What came in folders goes out in the same folders, and comes back with the same layers."""
    source = Sources.of_layers("a.kml", ["Division A/Hot", "Division A/Warm", "Division A/Hot", ""], [1, 2, 3, 4])
    table = Detections(name=list("abcd"), longitude=np.arange(4.0), latitude=np.arange(4.0), source=source)
    path = tmp_path / "again.kml"
    write_file(Packet(detections=table), path)
    returned = read_file(path).detections
    assert returned == table
    assert returned.source.layer.tolist() == source.layer.tolist()


def test_small_batches_join_to_the_same(tmp_path: Path) -> None:
    """The size of the batches changes nothing."""
    path = tmp_path / "all.kml"
    packet = SAMPLES["some of everything"]
    write_file(packet, path)
    assert read_file(path, batch_rows=1) == read_file(path) == packet


def test_each_kind_has_its_folder(tmp_path: Path) -> None:
    """Hotspots, notes, places, tracks and perimeters stand apart."""
    path = tmp_path / "all.kml"
    write_file(SAMPLES["some of everything"], path)
    text = document_of(path).decode()
    assert all(f"<name>{name}</name>" in text for name in KIND_FOLDERS.values())


def test_the_title_outweighs_the_incident(tmp_path: Path) -> None:
    """A title that is asked for names the document."""
    path = tmp_path / "all.kml"
    write_file(SAMPLES["some of everything"], path, title="Day 2 <draft>")
    assert "<name>Day 2 &lt;draft&gt;</name>" in document_of(path).decode()

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from exchange.errors import DamagedLedgerError, LedgerError
from exchange.ledger.act import Act, begin_act, start_ledger
from exchange.ledger.contents import read_attachments, read_perimeters, read_points, read_tracks
from exchange.ledger.database import copy_path, is_ledger, open_to_read, open_to_write
from exchange.ledger.history import last_act, read_acts, read_incident
from exchange.ledger.sources import close_source, find_source, write_source
from exchange.model import Detections, Packet, Places, StatusNotes
from exchange.testing.strategies import packets
from tests.ledger.ledger_kit import add


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    """Start a ledger."""
    path = tmp_path / "fire.gpkg"
    start_ledger(path, incident="Marrow Flat", command="exchange ledger start fire.gpkg")
    return path


def _write_half(act: Act) -> None:
    write_source(act, name="a", sha256="a", size_bytes=1, reader="csv")
    raise ZeroDivisionError("halfway")


def read(path: Path) -> Packet:
    with open_to_read(path) as connection:
        act = last_act(connection)
        tables = {
            name: kind.join([table for table, _ in read_points(connection, name, at_act=act)])  # type: ignore[arg-type]  # of one kind
            for name, kind in (("detections", Detections), ("notes", StatusNotes), ("places", Places))
        }
        return Packet(
            **tables,
            perimeters=read_perimeters(connection, at_act=act),
            tracks=tuple(read_tracks(connection, at_act=act)),
            attachments=read_attachments(connection, at_act=act),
        )


def test_a_started_ledger_names_its_incident_and_its_first_act(ledger: Path) -> None:
    """The log begins with the start, its command line and the program's version."""
    with open_to_read(ledger) as connection:
        (act,) = read_acts(connection)
        assert read_incident(connection) == "Marrow Flat"
    assert (act.number, act.kind, act.command) == (1, "start", "exchange ledger start fire.gpkg")
    assert is_ledger(ledger)


def test_a_ledger_is_never_replaced_by_a_new_one(ledger: Path) -> None:
    """Starting over what exists is refused and leaves it as it was."""
    before = ledger.read_bytes()
    with pytest.raises(LedgerError, match="exists already"):
        start_ledger(ledger, incident="another")
    assert ledger.read_bytes() == before
    assert sorted(path.name for path in ledger.parent.iterdir()) == ["fire.gpkg"]


def test_a_ledger_is_started_where_there_are_no_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A memory stick knows no hard links: the ledger gets its name another way, and replaces nothing either."""

    def refuse(source: Path, target: Path) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr("os.link", refuse)
    path = tmp_path / "fire.gpkg"
    start_ledger(path, incident="Marrow Flat")
    assert is_ledger(path)
    with pytest.raises(LedgerError, match="exists already"):
        start_ledger(path, incident="another")
    assert [left.name for left in tmp_path.iterdir()] == ["fire.gpkg"]


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(packet=packets())
def test_what_is_added_comes_back(tmp_path_factory: pytest.TempPathFactory, packet: Packet) -> None:
    """Every column, foreign field, track, perimeter and attached file is read as it was written."""
    path = tmp_path_factory.mktemp("ledger") / "fire.gpkg"
    start_ledger(path, incident=packet.incident)
    add(path, packet)
    returned = read(path).replace(incident=packet.incident)
    assert packet.differences(returned) == []


def test_the_origin_of_each_row_comes_back(ledger: Path) -> None:
    """A row still knows its file, layer and record."""
    from exchange.model import Sources

    source = Sources.of_layers("sortie.csv", ["Hot", "", "Hot"], [4, 5, 9])
    add(ledger, Packet(detections=Detections(longitude=[1.0, 2.0, 3.0], latitude=[4.0, 5.0, 6.0], source=source)))
    returned = read(ledger).detections.source
    assert [(s.file, s.layer, s.record) for s in (returned[0], returned[1], returned[2])] == [
        ("sortie.csv", "Hot", 4),
        ("sortie.csv", "", 5),
        ("sortie.csv", "Hot", 9),
    ]


def test_a_withdrawn_source_is_out_of_force_and_still_there(ledger: Path) -> None:
    """What a withdrawn file held no longer counts now, and still did at the act before."""
    add(ledger, Packet(detections=Detections(longitude=[1.0], latitude=[2.0])))
    with begin_act(ledger, "withdraw") as act:
        close_source(act, find_source(act.connection, "sortie.csv", path=ledger))
    assert len(read(ledger).detections) == 0
    with open_to_read(ledger) as connection:
        ((then, _),) = read_points(connection, "detections", at_act=2)
    assert len(then) == 1


def test_an_act_that_raises_leaves_nothing(ledger: Path) -> None:
    """An error inside an act undoes all of it, the log included."""
    with pytest.raises(ZeroDivisionError, match="halfway"), begin_act(ledger, "add") as act:
        _write_half(act)
    with open_to_read(ledger) as connection:
        assert [act.kind for act in read_acts(connection)] == ["start"]
        assert connection.execute("SELECT count(*) FROM source").fetchone() == (0,)


def test_a_needless_act_is_not_logged(ledger: Path) -> None:
    """An act that finds nothing to change leaves the ledger as it is."""
    before = ledger.read_bytes()
    with begin_act(ledger, "add") as act:
        act.is_needless = True
    assert ledger.read_bytes() == before


@pytest.mark.parametrize("statement", [
    "UPDATE note SET text = 'all out'", "DELETE FROM note", "UPDATE sighting SET longitude = 0", "DELETE FROM act",
    "UPDATE act SET command = ''", "UPDATE source SET name = 'b'", "DELETE FROM seal", "DELETE FROM source",
])  # fmt: skip
def test_what_is_written_cannot_be_changed(ledger: Path, statement: str) -> None:
    """Triggers refuse to change or delete a row, whoever asks."""
    one = {"longitude": [1.0], "latitude": [2.0]}
    add(ledger, Packet(detections=Detections(**one), notes=StatusNotes(**one, text="seen")))  # type: ignore[arg-type]  # columns
    with pytest.raises(LedgerError, match="never changes what is written"), begin_act(ledger, "test") as act:
        act.connection.execute(statement)


def test_a_row_is_closed_once(ledger: Path) -> None:
    """The act that closed a row stays the one that did."""
    add(ledger, Packet())
    with begin_act(ledger, "withdraw") as act:
        close_source(act, find_source(act.connection, "1", path=ledger))
    with pytest.raises(LedgerError, match="never changes what is written"), begin_act(ledger, "test") as act:
        act.connection.execute("UPDATE source SET to_act = NULL")


def test_the_copy_beside_a_ledger_is_the_ledger_after_its_last_act(ledger: Path) -> None:
    """The copy holds what the ledger holds."""
    add(ledger, Packet(detections=Detections(longitude=[1.0], latitude=[2.0])))
    assert read(copy_path(ledger)) == read(ledger)
    assert len(read(copy_path(ledger)).detections) == 1


def test_what_is_no_ledger_is_told(tmp_path: Path) -> None:
    """A file that is missing, empty of tables or no database at all is refused in words."""
    import sqlite3

    with pytest.raises(LedgerError, match="there is no such ledger"), open_to_read(tmp_path / "none.gpkg"):
        pass
    other = tmp_path / "other.gpkg"
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE a (b)")
    connection.close()
    with pytest.raises(LedgerError, match="is no ledger"), open_to_write(other):
        pass
    other.write_bytes(b"<kml/>" * 1000)
    with pytest.raises(LedgerError, match="is no ledger, nor any SQLite database"), open_to_read(other):
        pass
    with pytest.raises(LedgerError, match="is a folder, not a ledger"), open_to_read(tmp_path):
        pass
    assert not is_ledger(other)


def test_a_ledger_that_lost_its_first_bytes_is_damaged(ledger: Path) -> None:
    """With its copy beside it, it is not taken for a file of another kind; the copy is the way back."""
    add(ledger, Packet())
    ledger.write_bytes(b"\0" * 16 + ledger.read_bytes()[16:])
    with pytest.raises(DamagedLedgerError, match="exchange ledger restore"), open_to_read(ledger):
        pass


def test_times_of_acts_never_go_back(ledger: Path) -> None:
    """A clock that was set back does not put an act before the one it follows."""
    from datetime import UTC, datetime

    with begin_act(ledger, "test", now=datetime(1999, 1, 1, tzinfo=UTC)):
        pass
    with open_to_read(ledger) as connection:
        first, second = read_acts(connection)
    assert second.time == first.time


def test_a_point_is_stored_as_the_standard_says(ledger: Path) -> None:
    """The blob is the example of well-known binary (OGC 06-103r4, 8.2.9) behind a header (OGC 12-128, 2.1.3)."""
    add(ledger, Packet(detections=Detections(longitude=[1.0, np.nan], latitude=[2.0, 3.0])))
    with open_to_read(ledger) as connection:
        (first,), (second,) = connection.execute("SELECT geom FROM sightings").fetchall()
    header = b"GP" + bytes([0, 1]) + (4326).to_bytes(4, "little")
    assert first == header + bytes.fromhex("0101000000000000000000f03f0000000000000040")
    assert second is None

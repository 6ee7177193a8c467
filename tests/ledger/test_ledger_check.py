from __future__ import annotations

import re
import shutil
import sqlite3
from pathlib import Path

import numpy as np
import pytest

from exchange.errors import DamagedLedgerError, ExchangeError, LedgerError
from exchange.incident.handing_out import read_handed_out
from exchange.ledger.act import begin_act
from exchange.ledger.check import check_ledger
from exchange.ledger.copy import restore_copy
from exchange.ledger.database import copy_path, is_ledger
from exchange.ledger.schema import TABLES
from exchange.ledger.seal import last_fid
from exchange.model import Packet
from tests.ledger.ledger_kit import add, make_incident, read_all, seen


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make the incident once."""
    path = tmp_path_factory.mktemp("made") / "fire.gpkg"
    make_incident(path)
    return path


@pytest.fixture
def ledger(made: Path, tmp_path: Path) -> Path:
    """Return the incident's ledger and its copy, in a folder of their own."""
    for path in (made, copy_path(made)):
        shutil.copy(path, tmp_path / path.name)
    return tmp_path / made.name


def change(path: Path, statement: str) -> None:
    """Change a ledger behind its back, its triggers taken off first and put back after."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("BEGIN")
    triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        connection.execute(f"DROP TRIGGER {name}")
    assert connection.execute(statement).rowcount > 0
    for _, sql in triggers:
        connection.execute(sql)
    connection.execute("COMMIT")
    connection.close()


def messages(path: Path) -> str:
    """Return all that a check finds, as one text."""
    return "\n".join(problem.message for problem in check_ledger(path).problems)


def test_a_ledger_that_acts_have_written_passes(ledger: Path) -> None:
    """Every table of the incident has rows, and the check finds nothing."""
    connection = sqlite3.connect(ledger)
    counts = {name: last_fid(connection, name) for name in TABLES}
    connection.close()
    assert 0 not in counts.values()
    checked = check_ledger(ledger)
    assert checked.problems == ()
    assert (checked.acts, checked.rows, checked.copy_act) == (8, sum(counts.values()), 8)


@pytest.mark.parametrize(("statement", "told"), [
    ("UPDATE sighting SET temperature = temperature + 1e-9 WHERE fid = 3", "act 2 .add. opened in sighting"),
    ("UPDATE note SET status = 'out' WHERE fid = 1", "opened in note"),
    ("UPDATE source SET to_act = NULL", "closed in source"),
    ("UPDATE membership SET to_act = 8 WHERE fid = 1", "closed in membership"),
    ("UPDATE spot SET to_act = 4 WHERE fid = 1", "rows of spot were closed before they were opened"),
    ("DELETE FROM act WHERE fid = 3", "acts are missing from the log"),
    ("DELETE FROM note WHERE fid = 2", "rows of note are under no seal, or missing"),
    ("UPDATE act SET command = 'rm -r' WHERE fid = 4", "act 4 .merge. is not as it was logged"),
    ("UPDATE act SET time = '2031' || substr(time, 5) WHERE fid = 4", "an act is earlier than the one before"),
    ("DELETE FROM seal WHERE fid = 2", "is not as it was logged"),
    ("INSERT INTO number (name, act) VALUES ('H-777', 8)", "rows of number are under no seal"),
    ("UPDATE gpkg_contents SET description = 'x' WHERE table_name = 'spots'", "gpkg_contents does not say"),
    ("UPDATE spot SET longitude = -114.21 WHERE fid = 1", "points of spot are drawn elsewhere"),
    ("UPDATE membership SET number = 5 WHERE fid = 1", "a sighting is part of a spot that is not on the list"),
    ("UPDATE handed_name SET handout = 77", "row 1 of handed_name refers to what is not in handout"),
])  # fmt: skip
def test_a_change_behind_its_back_is_found(ledger: Path, statement: str, told: str) -> None:
    """Whatever is changed without an act, the check names the act and the table, or the broken rule."""
    change(ledger, statement)
    assert re.search(told, messages(ledger))


def test_a_byte_that_is_no_text_is_told(ledger: Path) -> None:
    """SQLite quotes the broken name in its message, which is no text then."""
    data = ledger.read_bytes()
    ledger.write_bytes(data.replace(b"CREATE VIEW spots", b"CREATE VIEW spot\xce", 1))
    with pytest.raises(DamagedLedgerError, match="exchange ledger restore"):
        check_ledger(ledger)
    assert not is_ledger(ledger)


def test_a_value_that_cannot_be_read_is_told(ledger: Path) -> None:
    """A time that is none, put there behind the ledger's back, is told with the table and what to do."""
    change(ledger, "UPDATE handed_name SET handed_out = 'yesterday'")
    with pytest.raises(DamagedLedgerError, match="handed_name holds what no act has written"):
        read_handed_out(ledger)


def test_a_table_that_is_not_of_the_ledger_is_told(ledger: Path) -> None:
    """A table or trigger that someone added is named."""
    connection = sqlite3.connect(ledger, isolation_level=None)
    connection.execute("CREATE TABLE mine (a)")
    connection.close()
    assert "it holds what no act makes: CREATE TABLE mine" in messages(ledger)


@pytest.mark.parametrize("seed", range(30))
def test_a_flipped_bit_is_found_or_harmless(ledger: Path, seed: int) -> None:
    """A random bit flipped in a byte in use is found by the check, or nothing that the ledger says has changed."""
    expected = read_all(ledger)
    random = np.random.default_rng(seed)
    data = bytearray(ledger.read_bytes())
    used = np.flatnonzero(np.frombuffer(data, np.uint8))
    data[random.choice(used)] ^= 1 << int(random.integers(8))
    ledger.write_bytes(data)
    try:
        found = bool(check_ledger(ledger).problems)
    except LedgerError:
        found = True
    assert found or read_all(ledger) == expected


@pytest.mark.parametrize("kept", [0, 50, 100, 4096, 20_000, 0.5, 0.99])
def test_a_ledger_that_was_cut_short_is_told(ledger: Path, kept: float) -> None:
    """A truncated ledger is refused or found in words, and the copy beside it is the last good state."""
    expected = read_all(ledger)
    data = ledger.read_bytes()
    ledger.write_bytes(data[: int(kept if kept > 1 else kept * len(data))])
    try:
        told = messages(ledger)
    except LedgerError as error:
        told = str(error)
    assert told
    damaged = restore_copy(ledger)
    assert damaged.name == "fire.damaged.gpkg"
    assert check_ledger(ledger).problems == ()
    assert read_all(ledger) == expected


def test_a_damaged_ledger_names_its_remedy(ledger: Path) -> None:
    """The error says that it is damaged and by which command the copy takes its place."""
    ledger.write_bytes(ledger.read_bytes()[:20_000])
    with pytest.raises(ExchangeError, match="exchange ledger restore"):
        check_ledger(ledger)


def test_restoring_keeps_what_stood_there(ledger: Path) -> None:
    """Neither the damaged file nor its journal is lost, and the journal is not applied to the copy."""
    ledger.write_bytes(b"damaged")
    journal = ledger.with_name("fire.gpkg-journal")
    journal.write_bytes(b"journal")
    (ledger.parent / "fire.damaged.gpkg").write_bytes(b"an earlier one")
    damaged = restore_copy(ledger)
    assert (damaged.name, damaged.read_bytes()) == ("fire.damaged-2.gpkg", b"damaged")
    assert (damaged.parent / "fire.damaged-2.gpkg-journal").read_bytes() == b"journal"
    assert not journal.exists()
    assert is_ledger(ledger)


def test_without_a_copy_there_is_nothing_to_restore(ledger: Path) -> None:
    """A missing copy is told, and the ledger stays where it is."""
    copy_path(ledger).unlink()
    with pytest.raises(LedgerError, match="no copy lies beside it"):
        restore_copy(ledger)
    assert ledger.exists()


def test_an_act_does_not_go_on_from_a_damaged_ledger(ledger: Path) -> None:
    """Adding to a file that was cut short raises and leaves the copy as it was."""
    copied = copy_path(ledger).read_bytes()
    ledger.write_bytes(ledger.read_bytes()[:20_000])
    with pytest.raises(DamagedLedgerError, match="is damaged"):
        add(ledger, Packet(detections=seen(1)), "c")
    assert copy_path(ledger).read_bytes() == copied


def test_the_check_looks_at_the_last_act_of_the_copy(ledger: Path) -> None:
    """A copy that is older than the ledger is told by its act."""
    kept = copy_path(ledger).read_bytes()
    with begin_act(ledger, "test"):
        pass
    copy_path(ledger).write_bytes(kept)
    assert (check_ledger(ledger).acts, check_ledger(ledger).copy_act) == (9, 8)

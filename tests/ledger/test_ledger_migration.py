from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from exchange.errors import DamagedLedgerError, LedgerError
from exchange.ledger.check import check_ledger
from exchange.ledger.database import open_to_read, open_to_write
from exchange.ledger.history import read_acts
from exchange.ledger.migration import _drop, _make_anew, migrate_ledger, rebuild_table
from tests.ledger.ledger_kit import make_incident, read_all


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    """Make the incident."""
    path = tmp_path / "fire.gpkg"
    make_incident(path)
    return path


def make_older(path: Path) -> None:
    """Make it a ledger of an earlier schema, invented for this test: a spot did not keep its merged status."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("BEGIN")
    _drop(connection)
    connection.execute("ALTER TABLE spot DROP COLUMN merged_status")
    connection.execute("UPDATE exchange_ledger SET schema_version = 0")
    _make_anew(connection)
    connection.execute("COMMIT")
    connection.close()


def bring_forward(connection: sqlite3.Connection) -> None:
    """Take a spot's status for its merged one."""
    rebuild_table(connection, "spot", {"merged_status": '"status"'})


def test_an_older_ledger_is_refused_with_the_command_that_helps(ledger: Path) -> None:
    """Neither reading nor writing goes on with tables of another form."""
    make_older(ledger)
    for open_it in (open_to_read, open_to_write):
        with pytest.raises(LedgerError, match="exchange ledger migrate"), open_it(ledger):
            pass


def test_an_older_ledger_is_brought_forward_and_kept(ledger: Path) -> None:
    """All that it says is as before, the check passes, the log tells it, and the old file is kept as it was."""
    expected = read_all(ledger)
    make_older(ledger)
    older = sqlite3.connect(ledger).execute("SELECT fid, number, status FROM spot").fetchall()
    kept = migrate_ledger(ledger, command="exchange ledger migrate fire.gpkg", steps={0: bring_forward})
    assert kept is not None
    assert kept.name == "fire.schema-0.gpkg"
    assert read_all(ledger) == expected
    assert check_ledger(ledger).problems == ()
    with open_to_read(ledger) as connection:
        assert read_acts(connection)[-1].report == {"from_schema": 0, "to_schema": 1}
        assert connection.execute("SELECT count(*) FROM spot WHERE merged_status IS NOT status").fetchone() == (0,)
    assert sqlite3.connect(kept).execute("SELECT fid, number, status FROM spot").fetchall() == older


def test_a_migration_that_fails_leaves_the_ledger_as_it_was(ledger: Path) -> None:
    """An error in a step undoes all steps."""
    make_older(ledger)
    before = ledger.read_bytes()

    def fail(connection: sqlite3.Connection) -> None:
        bring_forward(connection)
        raise ZeroDivisionError("halfway")

    with pytest.raises(ZeroDivisionError, match="halfway"):
        migrate_ledger(ledger, steps={0: fail})
    assert ledger.read_bytes() == before


def test_a_damaged_ledger_is_not_carried_forward(ledger: Path) -> None:
    """Its seals are looked at before they are made anew."""
    make_older(ledger)
    connection = sqlite3.connect(ledger, isolation_level=None)
    connection.execute("DROP TRIGGER note_holds")
    connection.execute("UPDATE note SET status = 'out'")
    connection.close()
    with pytest.raises(DamagedLedgerError, match="act 6 is not as it was logged"):
        migrate_ledger(ledger, steps={0: bring_forward})


def test_nothing_is_done_where_nothing_is_to_be_done(ledger: Path) -> None:
    """A ledger of this program's form stays byte for byte."""
    before = ledger.read_bytes()
    assert migrate_ledger(ledger) is None
    assert ledger.read_bytes() == before


@pytest.mark.parametrize(("version", "told"), [(99, "a newer program"), (0, "a program too old")])
def test_a_version_that_no_step_leads_from_is_refused(ledger: Path, version: int, told: str) -> None:
    """A newer file, and one that is too old, are left as they are."""
    connection = sqlite3.connect(ledger, isolation_level=None)
    connection.execute("UPDATE exchange_ledger SET schema_version = ?", (version,))
    connection.close()
    before = ledger.read_bytes()
    with pytest.raises(LedgerError, match=told):
        migrate_ledger(ledger)
    assert ledger.read_bytes() == before


def test_the_copy_to_keep_replaces_nothing(ledger: Path) -> None:
    """A file of the copy's name stays, and the ledger too."""
    make_older(ledger)
    ledger.with_name("fire.schema-0.gpkg").write_bytes(b"mine")
    with pytest.raises(LedgerError, match="stands in the way"):
        migrate_ledger(ledger, steps={0: bring_forward})
    assert ledger.with_name("fire.schema-0.gpkg").read_bytes() == b"mine"

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from exchange.errors import BusyLedgerError, LedgerError
from exchange.ledger import database
from exchange.ledger.act import begin_act
from exchange.ledger.check import check_ledger
from exchange.ledger.database import copy_path, open_to_read
from exchange.ledger.history import last_act, read_acts
from exchange.model import Packet
from tests.incident.incident_kit import Incident, sortie_text
from tests.ledger.ledger_kit import add, seen

HERE = Path(__file__).parent
FIRST = sortie_text([(0.0, 0.0), (100.0, 0.0)], sortie="D-1")


@pytest.fixture
def incident(tmp_path: Path) -> Incident:
    """Start an incident with one sortie merged."""
    incident = Incident(tmp_path)
    incident.add("d1.csv", FIRST)
    incident.merge()
    return incident


def run_alone(work: Callable[[], None]) -> str:
    """Do some work in a process of its own; return what it raised, in words."""
    reader, writer = os.pipe()
    child = os.fork()
    if not child:
        try:
            work()
        except BaseException as error:
            os.write(writer, f"{type(error).__name__}: {error}".encode())
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader, "rb") as stream:
        told = stream.read().decode()
    os.waitpid(child, 0)
    return told


def test_a_killed_act_is_there_wholly_or_not_at_all() -> None:
    """Of acts killed at random moments none is half done, the check passes, and the copy is whole.

    ``python tests/incident/kill_acts.py 200 SEED`` is the long run.
    """
    done = subprocess.run(  # noqa: S603  # own program
        [sys.executable, str(HERE / "kill_acts.py"), "25", "7"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["kills"] == 25


def test_two_writers_at_once_lose_nothing(incident: Incident) -> None:
    """Two processes add 50 files each to one ledger at the same time: all acts are there, and no traceback."""
    program = [sys.executable, str(HERE / "write_together.py"), str(incident.folder)]
    writers = [
        subprocess.Popen([*program, name, "50"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)  # noqa: S603
        for name in ("alder", "juniper")
    ]
    told = [writer.communicate() for writer in writers]
    assert [(writer.returncode, err) for writer, (_, err) in zip(writers, told, strict=True)] == [(0, ""), (0, "")]
    with open_to_read(incident.path) as connection:
        commands = [act.command for act in read_acts(connection)[3:]]
    assert sorted(commands) == sorted(f"{name} {turn}" for name in ("alder", "juniper") for turn in range(50))
    assert len(incident.state().packet.detections) == 2 + 2 + 100
    assert incident.is_sound()


def test_a_second_writer_that_waited_too_long_is_told(incident: Incident, monkeypatch: pytest.MonkeyPatch) -> None:
    """It hears that it waits, then that another program is writing, and nothing of it is done."""
    monkeypatch.setattr(database, "WAIT_SECONDS", 0.5)
    waited: list[int] = []

    def write_second() -> None:
        with begin_act(incident.path, "second", on_wait=lambda: waited.append(1)):
            raise AssertionError("the second writer was let in")

    with begin_act(incident.path, "first"), pytest.raises(BusyLedgerError, match="another program is writing to it"):
        write_second()
    assert waited == [1]
    with open_to_read(incident.path) as connection:
        assert read_acts(connection)[-1].kind == "first"


def test_a_reader_during_an_act_sees_the_state_before_it(incident: Incident) -> None:
    """A process that reads while another is in the middle of an act sees nothing of it, and all of it afterwards."""
    script = (
        "import sys; from pathlib import Path; from exchange.ledger.database import open_to_read\n"
        "from exchange.ledger.history import last_act\n"
        "with open_to_read(Path(sys.argv[1])) as c:\n"
        "    print(last_act(c), c.execute('SELECT count(*) FROM sighting').fetchone()[0])"
    )

    def look() -> str:
        command = [sys.executable, "-c", script, str(incident.path)]
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()  # noqa: S603

    assert look() == "3 2"
    with begin_act(incident.path, "add") as act:
        from exchange.ledger.contents import SourceWriter
        from exchange.ledger.sources import write_source

        source = write_source(act, name="big", sha256="big", size_bytes=1, reader="csv")
        writer = SourceWriter(act.connection, source)
        # Larger than SQLite's page cache, which must not spill into the file before the act is whole.
        writer.write(Packet(detections=seen(30_000)))
        assert look() == "3 2"
    assert look() == "4 30002"


def test_readers_beside_a_writer_see_whole_acts_only(incident: Incident) -> None:
    """While a process adds file after file, each of one sighting, every look sees as many sightings as acts say."""
    program = [sys.executable, str(HERE / "write_together.py"), str(incident.folder), "alder", "25"]
    writer = subprocess.Popen(program, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)  # noqa: S603
    seen_acts = set()
    while writer.poll() is None:
        with open_to_read(incident.path) as connection:
            act = last_act(connection)
            count = connection.execute("SELECT count(*) FROM sighting").fetchone()[0]
        assert count == 2 + act - 3
        seen_acts.add(act)
    assert (writer.returncode, writer.communicate()[1]) == (0, "")
    assert len(seen_acts) > 1


@pytest.mark.parametrize("room", [0, 4096, 20_000, 100_000])
def test_a_full_disk_is_told_and_leaves_the_last_state(incident: Incident, room: int) -> None:
    """Where the file may not grow, the act fails in words, and ledger and copy are as they were."""
    expected = incident.state()
    size = incident.path.stat().st_size

    def fill() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + room, size + room))
        add(incident.path, Packet(detections=seen(20_000)), "big.csv")

    assert "the disk is full or failed" in run_alone(fill)
    after = incident.state()
    assert (after.act, after.packet) == (expected.act, expected.packet)
    assert incident.is_sound()
    assert check_ledger(copy_path(incident.path)).problems == ()
    assert not list(incident.folder.glob(".*unfinished"))


def test_no_room_for_the_copy_does_not_undo_the_act(incident: Incident) -> None:
    """Where only the copy cannot be written the act is kept, and the older copy stays."""
    (incident.folder / ".fire.gpkg.copy.unfinished").mkdir()
    add(incident.path, Packet(detections=seen(3)), "more.csv")
    checked = check_ledger(incident.path)
    assert (checked.problems, checked.acts, checked.copy_act) == ((), 4, 3)


@pytest.mark.parametrize("what", ["folder", "file"])
def test_what_cannot_be_written_is_told_and_can_still_be_read(incident: Incident, what: str) -> None:
    """In a folder or file without the right to write, adding fails in words and reading works."""
    kept = incident.path.read_bytes()
    found: list[int] = []

    def try_to_write() -> None:
        _become_nobody(incident.folder)
        with open_to_read(incident.path) as connection:
            found.append(last_act(connection))
        assert found == [3]
        add(incident.path, Packet(), "more.csv")

    for path in (incident.folder, incident.path):
        path.chmod(0o777 if path.is_dir() else 0o666)
    target = incident.folder if what == "folder" else incident.path
    target.chmod(0o555 if what == "folder" else 0o444)
    told = run_alone(try_to_write)
    incident.folder.chmod(0o777)
    assert "LedgerError" in told
    assert "must allow writing" in told
    assert incident.path.read_bytes() == kept


def _become_nobody(folder: Path) -> None:
    """Give up the rights of root, for whom no folder is read-only, but keep the way to the folder."""
    if os.geteuid():
        return
    for parent in folder.parents:
        if parent.stat().st_mode & 0o005 != 0o005 and "pytest" in str(parent):
            parent.chmod(0o755)
    os.setgid(65534)
    os.setuid(65534)


def test_starting_where_nothing_can_be_written_is_told(tmp_path: Path) -> None:
    """A folder that is not there is told, and nothing is left."""
    from exchange.ledger.act import start_ledger

    with pytest.raises(LedgerError, match="cannot be written"):
        start_ledger(tmp_path / "none" / "fire.gpkg", incident="Marrow Flat")
    assert list(tmp_path.iterdir()) == []


def test_a_ledger_left_with_a_journal_is_set_right_by_whoever_opens_it(incident: Incident) -> None:
    """A process that died in the middle of writing leaves a journal; the next reader undoes the half act."""
    expected = incident.state()

    def die_while_writing() -> None:
        with begin_act(incident.path, "add") as act:
            act.connection.execute("PRAGMA cache_spill = ON")
            act.connection.execute("PRAGMA cache_size = 10")
            from exchange.ledger.contents import SourceWriter
            from exchange.ledger.sources import write_source

            source = write_source(act, name="big", sha256="big", size_bytes=1, reader="csv")
            SourceWriter(act.connection, source).write(Packet(detections=seen(20_000)))
            os.kill(os.getpid(), signal.SIGKILL)

    run_alone(die_while_writing)
    assert incident.path.with_name("fire.gpkg-journal").stat().st_size > 0
    after = incident.state()
    assert (after.act, after.packet) == (expected.act, expected.packet)
    assert incident.is_sound()


def test_a_ledger_can_be_carried_away_between_acts(incident: Incident, tmp_path: Path) -> None:
    """The one file is all of it: copied elsewhere, it is read as before."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    shutil.copy(incident.path, elsewhere)
    assert check_ledger(elsewhere / "fire.gpkg").problems == ()
    assert sorted(path.name for path in incident.folder.glob("fire*")) == ["fire.copy.gpkg", "fire.gpkg"]

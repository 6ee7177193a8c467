from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from exchange.errors import LedgerError
from exchange.formats.reading import as_input
from exchange.formats.writing import write
from exchange.incident.adding import add_files
from exchange.incident.handing_out import read_handed_out, record_handout
from exchange.incident.merging import merge_ledger
from exchange.ledger.database import open_to_read
from exchange.ledger.findings import read_findings
from exchange.ledger.history import read_acts
from exchange.merge import MergeOptions
from exchange.model import Detections, Packet
from exchange.model.manifest import Manifest
from tests.incident.incident_kit import HOST, NO_SHIFT, Incident, sortie_text
from tests.ledger.ledger_kit import seen

FOUR = [(0.0, 0.0), (100.0, 0.0), (200.0, 0.0), (300.0, 0.0)]
FIRST = sortie_text(FOUR, sortie="D-1")
SECOND = sortie_text([(1.0, 1.0), (101.0, 0.0), (500.0, 0.0)], sortie="N-1", hour=21)


@pytest.fixture
def incident(tmp_path: Path) -> Incident:
    """Start an incident."""
    return Incident(tmp_path)


def test_adding_the_same_file_twice_changes_nothing(incident: Incident) -> None:
    """The second time is told, under whatever name, and the ledger's bytes stay."""
    first = incident.add("d1.csv", FIRST)
    before = incident.path.read_bytes()
    again = incident.add("copy of d1.csv", FIRST)
    assert (first.is_new, first.counts["detections"]) == (True, 4)
    assert (again.is_new, again.source) == (False, first.source)
    assert "is in the ledger already, as source 1" in again.problems[0].message
    assert incident.path.read_bytes() == before


def test_one_file_given_twice_in_one_act_is_added_once(incident: Incident) -> None:
    """Neither the file nor its rows stand in the ledger twice."""
    path = as_input(incident.write("d1.csv", FIRST))
    added = add_files(incident.path, [path, path], host=HOST)
    assert [one.is_new for one in added] == [True, False]
    assert len(incident.state().packet.detections) == 4


def test_a_file_that_cannot_be_read_leaves_the_ledger_as_it_was(incident: Incident) -> None:
    """Of two files of one act, of which the second is malformed, none is added."""
    good, bad = incident.write("d1.csv", FIRST), incident.write("bad.geojson", '{"type": "FeatureCollection", "feat')
    before = incident.path.read_bytes()
    with pytest.raises(ValueError, match=r"bad\.geojson"):
        add_files(incident.path, [as_input(good), as_input(bad)], host=HOST)
    assert incident.path.read_bytes() == before


def test_the_ledger_is_not_added_to_itself(incident: Incident) -> None:
    """Reading it while writing it would lock the program out of its own file."""
    with pytest.raises(LedgerError, match="cannot be added to itself"):
        add_files(incident.path, [as_input(incident.path)], host=HOST)


def test_a_file_of_another_fire_is_remarked(incident: Incident) -> None:
    """The remark is told and kept as a finding."""
    write(Packet(incident="Other Gulch", detections=seen(2)), incident.folder / "other.geojson", host=HOST)
    added = incident.add("other.geojson")
    assert "names the fire 'Other Gulch', and the ledger is of 'Marrow Flat'" in added.problems[0].message
    with open_to_read(incident.path) as connection:
        (finding,) = read_findings(connection, at_act=2)
    assert finding.problem == added.problems[0]


def test_a_merge_numbers_the_spots_and_a_second_one_changes_nothing(incident: Incident) -> None:
    """The numbers stand in the ledger, each sighting knows its spot, and merging again is no act."""
    incident.add("d1.csv", FIRST)
    merged = incident.merge()
    state = incident.state()
    assert state.spots == ["H-001", "H-002", "H-003", "H-004"] == list(merged.change.new)
    assert state.members == {1: "H-001", 2: "H-002", 3: "H-003", 4: "H-004"}
    again = incident.merge()
    assert (again.moved, again.change.new, again.change.changed) == (0, (), ())
    assert incident.state().act == state.act
    assert incident.is_sound()


def test_a_later_sortie_keeps_the_numbers(incident: Incident) -> None:
    """Spots seen again keep their number; a new one gets the next."""
    incident.add("d1.csv", FIRST)
    incident.merge()
    incident.add("n1.csv", SECOND)
    change = incident.merge().change
    state = incident.state()
    assert (change.new, change.gone) == (("H-005",), ())
    assert [state.members[fid] for fid in (5, 6, 7)] == ["H-001", "H-002", "H-005"]


def test_withdrawing_undoes_adding_exactly(incident: Incident) -> None:
    """After a source is withdrawn the list is what it was, byte for byte of every value, and its numbers are spent."""
    incident.add("d1.csv", FIRST)
    incident.merge()
    before = incident.state()
    incident.add("n1.csv", SECOND)
    incident.merge()
    withdrawn = incident.withdraw("n1.csv")
    after = incident.state()
    assert withdrawn.change.gone == ("H-005",)
    assert (after.spots, after.members, after.aliases) == (before.spots, before.members, before.aliases)
    assert after.packet == before.packet
    assert after.numbers == [*before.numbers, "H-005"]
    incident.add("s1.csv", sortie_text([(700.0, 0.0)], sortie="S-1", hour=22))
    assert incident.merge().change.new == ("H-006",)
    assert incident.is_sound()


def test_withdrawing_parts_again_what_the_source_had_joined(incident: Incident) -> None:
    """Evidence of a sortie's shift makes spots one; without it they are two again, under the numbers they had."""
    estimate = MergeOptions(accuracy_m=4.0)
    places = np.random.default_rng(5).uniform(0.0, 3000.0, (40, 2))
    shifted = [(east + 12.0, north - 6.0) for east, north in places.tolist()]
    incident.add("d1.csv", sortie_text(places.tolist(), sortie="D-1"))
    incident.add("n1.csv", sortie_text(shifted[:2], sortie="N-1", hour=6))
    incident.merge(estimate)
    before = incident.state()
    assert len(before.spots) == 42
    incident.add("n1_rest.csv", sortie_text(shifted[2:], sortie="N-1", hour=7))
    incident.merge(estimate)
    joined = incident.state()
    assert len(joined.spots) == 40
    assert set(joined.aliases) == {"H-041", "H-042"}
    incident.withdraw("n1_rest.csv")
    after = incident.state()
    assert (after.spots, after.members, after.aliases) == (before.spots, before.members, {})
    assert after.packet == before.packet
    assert incident.is_sound()


def test_a_returned_file_sets_the_status_and_withdrawing_it_takes_it_back(incident: Incident) -> None:
    """The crew's word stands until its file is withdrawn; then the spot is as it was, and the note still there."""
    incident.add("d1.csv", FIRST)
    incident.merge()
    before = incident.state()
    done = incident.reconcile(
        "crew.csv", "Number,Status,Time,By\nH-002,out,2026-08-13T12:00:00Z,Juniper\nH-099,hot,,\n"
    )
    state = incident.state()
    assert state.status()["H-002"] == "out"
    assert done.questions.counts() == {"unplaced": 1}
    assert (len(state.packet.notes), state.packet.notes.author.tolist()[0]) == (2, "Juniper")
    incident.withdraw("crew.csv")
    after = incident.state()
    assert after.status() == before.status()
    assert len(after.packet.notes) == 0
    assert len(incident.state(at_act=state.act).packet.notes) == 2
    assert incident.is_sound()


def test_heat_after_out_reopens_the_spot(incident: Incident) -> None:
    """A later sortie that sees a spot reported out sets it to recheck, and a person is told."""
    incident.add("d1.csv", FIRST)
    incident.merge()
    incident.reconcile("crew.csv", "Number,Status,Time,By\nH-001,out,2026-08-13T12:00:00Z,Juniper\n")
    incident.add("n1.csv", SECOND)
    result = incident.merge()
    assert incident.state().status()["H-001"] == "recheck"
    assert result.questions.counts() == {"reopened": 1}
    with open_to_read(incident.path) as connection:
        findings = read_findings(connection, at_act=6)
    assert [(f.kind, f.number) for f in findings if f.kind == "status"] == [("status", "H-001")]


def test_a_returned_file_twice_changes_nothing(incident: Incident) -> None:
    """The same bytes, or the same reports in a longer file, are counted once."""
    incident.add("d1.csv", FIRST)
    incident.merge()
    report = "Number,Status,Time,By\nH-002,out,2026-08-13T12:00:00Z,Juniper\n"
    incident.reconcile("crew.csv", report)
    before = incident.path.read_bytes()
    assert not incident.reconcile("crew-copy.csv", report).added[0].is_new
    assert incident.path.read_bytes() == before
    longer = incident.reconcile("crew.csv", report + "H-003,hot,2026-08-13T12:05:00Z,Juniper\n")
    assert longer.added[0].counts["notes"] == 1
    assert incident.state().packet.notes.detection.tolist() == ["H-002", "H-003"]


def test_returns_need_a_list(incident: Incident) -> None:
    """Before the first merge there is nothing to put reports to."""
    with pytest.raises(LedgerError, match="has no numbered list yet"):
        incident.reconcile("crew.csv", "Number,Status\nH-001,out\n")


def test_a_merge_needs_sightings(incident: Incident) -> None:
    """An empty ledger is told so."""
    with pytest.raises(LedgerError, match="holds no sighting"):
        incident.merge()


def test_names_handed_out_find_their_spot_when_they_come_back(incident: Incident) -> None:
    """The manifest in the ledger maps a short name back, though it is no number."""
    incident.add("d1.csv", FIRST)
    incident.merge()
    record_handout(
        incident.path,
        Manifest(number=["H-001", "H-003"], short_name=["ALFA", "BRAVO"], profile="six letters"),
        command="exchange handout fire.gpkg --profile six-letters",
    )
    handed = read_handed_out(incident.path)
    assert handed is not None
    assert handed.short_name.tolist() == ["ALFA", "BRAVO"]
    incident.reconcile("crew.csv", "Number,Status,Time\nBRAVO,working,2026-08-13T12:00:00Z\n")
    assert incident.state().status()["H-003"] == "working"


def test_every_act_is_in_the_log_with_its_command_line(incident: Incident) -> None:
    """The log tells what was done in which order."""
    incident.add("d1.csv", FIRST)
    incident.merge()
    incident.withdraw("1")
    with open_to_read(incident.path) as connection:
        acts = read_acts(connection)
    assert [act.kind for act in acts] == ["start", "add", "merge", "withdraw"]
    assert acts[1].command == "exchange ledger add d1.csv"
    assert acts[3].report["withdrawn"]["name"].endswith("d1.csv")
    assert incident.state().spots == []


def test_a_list_from_elsewhere_keeps_its_numbers_and_outlives_every_source(incident: Incident) -> None:
    """Numbers given by hand are taken over once; spots that no source of the ledger ever showed stay on the list."""
    listed = Detections(
        id=["H-007", "H-012"], longitude=[-114.2, -114.25], latitude=[44.5, 44.55], accuracy=[4.0, 4.0], status="hot"
    )
    incident.add("d1.csv", FIRST)
    merged = merge_ledger(incident.path, options=NO_SHIFT, onto=listed)
    assert incident.state().members[1] == "H-007"
    assert set(merged.change.new) == {"H-007", "H-012", "H-013", "H-014", "H-015"}
    with pytest.raises(LedgerError, match="has a numbered list of its own"):
        merge_ledger(incident.path, options=NO_SHIFT, onto=listed)
    incident.withdraw("d1.csv")
    assert incident.state().spots == ["H-007", "H-012"]
    incident.add("n1.csv", SECOND)
    incident.merge()
    assert incident.state().members[5] == "H-007"
    assert incident.is_sound()

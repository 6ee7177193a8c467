"""Random acts on a ledger against a plain model in memory."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from exchange.errors import LedgerError
from exchange.incident.handing_out import read_handed_out, record_handout
from exchange.ledger.database import open_to_read
from exchange.model.manifest import Manifest
from exchange.model.spot_number import write_numbers
from tests.incident.incident_kit import Incident, sortie_text

SPOTS = 8
WORDS = ("hot", "working", "recheck", "out")
# Shrinking takes minutes here; a failure names its steps, and is tried again first next time.
NO_SHRINKING = (Phase.explicit, Phase.reuse, Phase.generate)
spots = st.sets(st.integers(0, SPOTS - 1), min_size=1, max_size=SPOTS)


def places_of(which: set[int], offset_m: float) -> list[tuple[float, float]]:
    """Return where the spots stand, 150 m apart, each seen a little off."""
    return [(150.0 * spot + offset_m, offset_m) for spot in sorted(which)]


@dataclass
class Model:
    """What must be true, kept in plain Python.

    Attributes
    ----------
    seen
        True spots by the name of each sortie in force; ``merged`` are those that a merge has taken in.
    number
        Number on the list by true spot.
    told
        Status by number, in the order of time, by the name of each returned file in force.
    """

    seen: dict[str, set[int]] = field(default_factory=dict)
    merged: set[str] = field(default_factory=set)
    number: dict[int, str] = field(default_factory=dict)
    allotted: list[str] = field(default_factory=list)
    told: dict[str, list[tuple[int, str, str]]] = field(default_factory=dict)
    notes_ever: int = 0
    handed: dict[str, str] = field(default_factory=dict)

    def merge(self, found: dict[int, str]) -> None:
        """Merge: which new spot gets which of the next numbers is the merge's own affair, and read from ``found``."""
        self.merged = set(self.seen)
        new = sorted(self.listed() - self.number.keys())
        following = write_numbers(range(len(self.allotted) + 1, len(self.allotted) + 1 + len(new)))
        assert sorted(found[spot] for spot in new) == following
        self.number |= {spot: found[spot] for spot in new}
        self.allotted += following

    def withdraw(self, name: str) -> None:
        self.told.pop(name, None)
        self.seen.pop(name, None)
        self.merged.discard(name)
        self.number = {spot: number for spot, number in self.number.items() if spot in self.listed()}

    def listed(self) -> set[int]:
        return set().union(*(self.seen[name] for name in self.merged)) if self.merged else set()

    def status(self) -> dict[str, str]:
        said = sorted(word for words in self.told.values() for word in words)
        latest = {number: word for _, number, word in said}
        return {number: latest.get(number, "unchecked") for number in self.number.values()}


class Acts(RuleBasedStateMachine):
    """Start, add, merge, reconcile, hand out and withdraw in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="exchange-model-"))
        self.incident = Incident(self.folder)
        self.model = Model()
        self.turn = 0

    @rule(which=spots)
    def add(self, which: set[int]) -> None:
        self.turn += 1
        name = f"sortie{self.turn}.csv"
        text = sortie_text(places_of(which, 0.01 * self.turn), sortie=f"S-{self.turn}")
        assert self.incident.add(name, text).is_new
        self.model.seen[name] = which

    @precondition(lambda self: self.model.seen)
    @rule(data=st.data())
    def add_again(self, data: st.DataObject) -> None:
        act = self.incident.state().act
        name = data.draw(st.sampled_from(sorted(self.model.seen)))
        assert not self.incident.add(name).is_new
        assert self.incident.state().act == act

    @precondition(lambda self: self.model.seen)
    @rule()
    def merge(self) -> None:
        self.incident.merge()
        self.model.merge(self.read_numbers())

    @precondition(lambda self: self.model.number)
    @rule(data=st.data())
    def reconcile(self, data: st.DataObject) -> None:
        self.turn += 1
        name = f"crew{self.turn}.csv"
        chosen = data.draw(st.dictionaries(st.sampled_from(sorted(self.model.number.values())),
                                           st.sampled_from(WORDS), min_size=1))  # fmt: skip
        # Hours apart, so that the times decide, and later than every sighting.
        rows = [f"{number},{word},{self.time()},Juniper" for number, word in chosen.items()]
        self.incident.reconcile(name, "\n".join(["Number,Status,Time,By", *rows]) + "\n")
        self.model.told[name] = [(self.turn, number, word) for number, word in chosen.items()]
        self.model.notes_ever += len(chosen)

    def read_numbers(self) -> dict[int, str]:
        """Return the number of each true spot, the same for every sighting of it."""
        by_spot: dict[int, str] = {}
        for row in self.incident.state().packet.detections:
            if "spot" in row.extra:
                true = round((row.longitude + 114.2) * 0.7133 * 111_320 / 150.0)
                assert by_spot.setdefault(true, row.extra["spot"]) == row.extra["spot"]
        return by_spot

    def time(self) -> str:
        return f"2026-08-{14 + self.turn // 24:02d}T{self.turn % 24:02d}:00:00Z"

    @precondition(lambda self: self.model.number)
    @rule()
    def hand_out(self) -> None:
        numbers = sorted(self.model.number.values())
        names = [number.replace("-", "") for number in numbers]
        record_handout(self.incident.path, Manifest(number=numbers, short_name=names, profile="six letters"))
        self.model.handed |= dict(zip(names, numbers, strict=True))

    @precondition(lambda self: self.model.seen or self.model.told)
    @rule(data=st.data())
    def withdraw(self, data: st.DataObject) -> None:
        name = data.draw(st.sampled_from(sorted([*self.model.seen, *self.model.told])))
        self.incident.withdraw(name)
        self.model.withdraw(name)

    @rule(which=spots)
    def add_and_withdraw_again(self, which: set[int]) -> None:
        """Take out what a source brought: it is gone with it, exactly."""
        if set(self.model.seen) != self.model.merged:
            return
        before = self.incident.state()
        self.turn += 1
        name = f"wrong{self.turn}.csv"
        self.incident.add(name, sortie_text(places_of(which, 0.01 * self.turn), sortie=f"W-{self.turn}"))
        self.model.seen[name] = which
        self.merge()
        self.incident.withdraw(name)
        self.model.withdraw(name)
        after = self.incident.state()
        assert (after.spots, after.members, after.aliases) == (before.spots, before.members, before.aliases)
        assert after.packet == before.packet

    @invariant()
    def the_ledger_is_what_the_model_says(self) -> None:
        state = self.incident.state()
        assert sorted(state.spots) == sorted(self.model.number.values())
        assert state.numbers == self.model.allotted
        assert state.status() == self.model.status()
        assert len(state.packet.notes) == sum(map(len, self.model.told.values()))
        assert self.read_numbers() == self.model.number

    @invariant()
    def nothing_is_ever_lost(self) -> None:
        with open_to_read(self.incident.path) as connection:
            assert connection.execute("SELECT count(*) FROM note").fetchone() == (self.model.notes_ever,)
        handed = read_handed_out(self.incident.path)
        found = {} if handed is None else dict(zip(handed.short_name.tolist(), handed.number.tolist(), strict=True))
        assert found == self.model.handed

    def teardown(self) -> None:
        try:
            assert self.incident.is_sound()
        finally:
            shutil.rmtree(self.folder)


TestActs = Acts.TestCase
TestActs.__doc__ = "Whatever the order of acts, the ledger says what a plain model of it says."
TestActs.settings = settings(max_examples=10, stateful_step_count=10, deadline=None, phases=NO_SHRINKING)


@settings(max_examples=5, deadline=None)
@given(order=st.permutations(range(4)), seen=st.lists(spots, min_size=4, max_size=4))
def test_the_order_of_adding_changes_nothing_but_the_numbers(
    tmp_path_factory: pytest.TempPathFactory, order: list[int], seen: list[set[int]]
) -> None:
    """The same sightings make the same spots, whichever file came first."""

    def group(names: list[int]) -> set[frozenset[tuple[str, int]]]:
        incident = Incident(tmp_path_factory.mktemp("order"))
        for name in names:
            text = sortie_text(places_of(seen[name], 0.5 * name), sortie=f"S-{name}", hour=name)
            incident.add(f"sortie{name}.csv", text)
            incident.merge()
        groups: dict[str, set[tuple[str, int]]] = {}
        for row in incident.state().packet.detections:
            if "spot" in row.extra:
                groups.setdefault(row.extra["spot"], set()).add((Path(row.source.file).name, row.source.record))
        return {frozenset(rows) for rows in groups.values()}

    assert group(list(order)) == group([0, 1, 2, 3])


def test_a_withdrawn_file_may_come_back_and_is_numbered_anew(tmp_path: Path) -> None:
    """A source withdrawn by mistake is added again; its spots get new numbers, since the old ones are spent."""
    incident = Incident(tmp_path)
    text = sortie_text([(0.0, 0.0)], sortie="D-1")
    incident.add("d1.csv", text)
    incident.merge()
    incident.withdraw("d1.csv")
    with pytest.raises(LedgerError, match="no source in force"):
        incident.withdraw("d1.csv")
    assert incident.add("d1.csv", text).is_new
    incident.merge()
    assert incident.state().spots == ["H-002"]

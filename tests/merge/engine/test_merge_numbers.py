from __future__ import annotations

import numpy as np

from exchange.merge import Earlier, MergeOptions, merge_detections
from exchange.model import Detections

PER_METRE = 1 / 111_132.0
STILL = MergeOptions(shift="none")


def _seen(metres: list[float], sortie: str, **columns: object) -> Detections:
    return Detections(
        longitude=np.full(len(metres), -114.0),
        latitude=44.5 + np.array(metres) * PER_METRE,
        sortie=sortie,
        **{"accuracy": 2.0, **columns},
    )


def _listed(metres: list[float], ids: list[str], **columns: object) -> Detections:
    return _seen(metres, "", id=ids, **columns)


def test_new_numbers_follow_the_highest_ever_given() -> None:
    """A new spot gets the number after the highest in the list, an alias included; no gap is filled."""
    earlier = _listed([0.0, 50.0], ["H-002", "H-005"], extra={"aliases": ["H-009", ""]})
    merged = merge_detections(_seen([100.0], "B"), onto=earlier, options=STILL)
    assert merged.spots.id.tolist() == ["H-002", "H-005", "H-010"]


def test_two_that_become_one_keep_the_older_number() -> None:
    """Where a better sighting shows that two earlier spots are one, the older stands and the other is its alias."""
    first, second = _seen([0.0], "A"), _seen([1.5], "B")
    spots = _listed([0.0, 1.5], ["H-004", "H-002"])
    sightings = Detections.join([first, second]).replace(extra={"spot": ["H-004", "H-002"]})
    given = Detections.join([first, second])
    merged = merge_detections(given, onto=Earlier(spots=spots, sightings=sightings), options=STILL)
    assert merged.spots.id.tolist() == ["H-002"]
    assert merged.spots.extra["aliases"].tolist() == ["H-004"]
    assert "several earlier spots" in merged.spots.extra["flags"][0]


def test_one_that_becomes_two_leaves_its_number_to_the_nearer() -> None:
    """The part nearer to the earlier place keeps the number; both are flagged and point to each other."""
    given = Detections.join([_seen([0.0], "A"), _seen([12.0], "B")])
    spots = _listed([2.0], ["H-003"])
    earlier = Earlier(spots=spots, sightings=given.replace(extra={"spot": ["H-003", "H-003"]}))
    merged = merge_detections(given, onto=earlier, options=STILL)
    assert merged.sightings.extra["spot"].tolist() == ["H-003", "H-004"]
    assert [text.count("see also") for text in merged.spots.extra["flags"]] == [1, 1]


def test_of_two_parts_the_nearer_keeps_the_number_though_it_is_smaller() -> None:
    """Where a spot of three sightings is divided, the third takes the number along if it is nearer to the old place."""
    given = Detections.join([_seen([0.0, 12.0], "A"), _seen([0.2], "B")])
    spots = _listed([8.0], ["H-003"])
    earlier = Earlier(spots=spots, sightings=given.replace(extra={"spot": ["H-003"] * 3}))
    merged = merge_detections(given, onto=earlier, options=STILL)
    assert merged.sightings.extra["spot"].tolist() == ["H-004", "H-003", "H-004"]


def test_a_status_is_carried_and_never_made() -> None:
    """A spot of the list keeps its status when it is seen again; a new one is unchecked."""
    earlier = _listed([0.0], ["H-001"], status="out")
    merged = merge_detections(_seen([0.3, 60.0], "B"), onto=earlier, options=STILL)
    assert merged.spots.status.tolist() == ["out", "unchecked"]


def test_a_spot_not_seen_again_stands_as_it_was() -> None:
    """Bit for bit, whatever else is merged, with its foreign columns."""
    earlier = _listed([0.0, 400.0], ["H-001", "H-002"], note="by the road", extra={"crew": ["alder", "juniper"]})
    merged = merge_detections(_seen([0.3], "B"), onto=earlier, options=STILL)
    row = merged.spots.take([1])
    assert row.latitude[0] == earlier.latitude[1]
    assert (row.note[0], row.extra["crew"][0]) == ("by the road", "juniper")


def test_the_last_sortie_given_again_changes_nothing() -> None:
    """A sortie that the list contains adds nothing when it is merged onto it once more without the others."""
    before = merge_detections(_seen([0.0, 30.0, 60.0], "A"), options=STILL).spots
    once = merge_detections(_seen([0.5, 90.0], "B"), onto=before, options=STILL)
    twice = merge_detections(_seen([0.5, 90.0], "B"), onto=once.spots, options=STILL)
    assert twice.spots.differences(once.spots) == []
    assert twice.sightings.extra["spot"].tolist() == once.sightings.extra["spot"].tolist()


def test_highest_and_latest_temperature_know_when_and_by_whom() -> None:
    """The list names the highest temperature with its time and sortie, and the last one, across an earlier list."""
    first = _seen([0.0], "A", temperature=300.0, time=np.datetime64("2026-08-13T04:00", "ms"))
    later = _seen([0.2], "B", temperature=90.0, time=np.datetime64("2026-08-14T04:00", "ms"))
    onto = merge_detections(first, options=STILL).spots
    for merged in (
        merge_detections(Detections.join([first, later]), options=STILL),
        merge_detections(later, onto=onto, options=STILL),
    ):
        spot = merged.spots
        assert (spot.temperature[0], spot.extra["hottest_by"][0]) == (300.0, "A")
        assert spot.extra["hottest_at"][0] == first.time[0]
        assert (spot.extra["temperature_last"][0], spot.extra["last_by"][0]) == (90.0, "B")
        assert (spot.first_seen[0], spot.last_seen[0]) == (first.time[0], later.time[0])
        assert (spot.sightings[0], spot.extra["sorties_seen"][0]) == (2.0, 2)


def test_the_same_row_told_twice_counts_once() -> None:
    """A file given twice makes no second sighting; the row is flagged."""
    seen = _seen([0.0], "A", temperature=80.0)
    merged = merge_detections(Detections.join([seen, seen]), options=STILL)
    assert merged.spots.sightings.tolist() == [1.0]
    assert merged.report.sorties[0].told_twice == 1
    assert sorted(merged.sightings.extra["flags"].tolist()) == ["", "says the same as another row"]


def test_what_once_was_divided_stays_told_in_the_same_words() -> None:
    """The flags of a divided spot are the same, in the same order, when all is merged onto that list again."""
    given = Detections.join([_seen([0.0], "A"), _seen([2.6], "B")])
    spots = _listed([0.4], ["H-003"])
    earlier = Earlier(spots=spots, sightings=given.replace(extra={"spot": ["H-003", "H-003"]}))
    options = MergeOptions(shift="none", within_m=2.5)
    after = merge_detections(given, onto=earlier, options=options)
    assert "see also" in after.spots.extra["flags"][0]
    assert merge_detections(given, onto=after.spots, options=options).spots.differences(after.spots) == []

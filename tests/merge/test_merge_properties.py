from __future__ import annotations

from collections import Counter

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.distance import pdist
from scipy.stats import chi2

from exchange.merge import Earlier, Merged, MergeOptions, merge_detections
from exchange.model import Detections
from exchange.model.columns import columns_equal
from exchange.model.spot_number import find_aliases, read_counts
from tests.merge import drawn_sightings
from tests.merge.simulator.simulate import FRAME

WIDEST_SQUARE = float(chi2.ppf(0.9999, 2))
"""The stated gate: no two sightings of one spot lie farther apart than all but one in 10,000 pairs of one place do."""

EXAMPLES = 30
"""Of each property; a merge takes some milliseconds, and there are many of them here."""

SEEN = drawn_sightings.sightings()
SEEN_WELL = drawn_sightings.sightings(states_accuracy=True)
OPTIONS = drawn_sightings.options


def _labels(merged: Merged) -> list[str]:
    labels: list[str] = merged.sightings.extra["spot"].tolist() if "spot" in merged.sightings.extra else []
    return labels or [""] * len(merged.sightings)


@settings(max_examples=EXAMPLES)
@given(SEEN, OPTIONS, st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_nothing(seen: Detections, options: MergeOptions, random: object) -> None:
    """Rows in any order give the same list, and each row the same number."""
    order = list(range(len(seen)))
    random.shuffle(order)  # type: ignore[attr-defined]
    first, second = merge_detections(seen, options=options), merge_detections(seen.take(order), options=options)
    assert first.spots.differences(second.spots) == []
    assert [_labels(first)[row] for row in order] == _labels(second)
    assert _without_order(first) == _without_order(second)


def _without_order(merged: Merged) -> dict[str, object]:
    told = merged.report.as_dict()
    return {**told, "sorties": sorted(map(str, told["sorties"]))}


@settings(max_examples=EXAMPLES)
@given(SEEN, OPTIONS)
def test_merging_again_changes_nothing(seen: Detections, options: MergeOptions) -> None:
    """The same sightings onto the list they gave are that list: alone, with its sightings, and once more."""
    first = merge_detections(seen, options=options)
    for earlier in (first.spots, Earlier(spots=first.spots, sightings=first.sightings)):
        again = merge_detections(seen, onto=earlier, options=options)
        assert again.spots.differences(first.spots) == []
        assert _labels(again)[: len(seen)] == _labels(first)
        assert again.report.new == 0
        third = merge_detections(seen, onto=again.spots, options=options)
        assert third.spots.differences(first.spots) == []


@settings(max_examples=EXAMPLES)
@given(SEEN_WELL, st.sampled_from(["none", "estimate"]))
def test_no_spot_is_wider_than_the_accuracies_allow(seen: Detections, shift: str) -> None:
    """Any two sightings of one spot could be one place by the accuracies that both state; nothing chains."""
    merged = merge_detections(seen, options=MergeOptions(shift=shift))  # type: ignore[arg-type]
    x, y = _shifted(merged)
    deviation = seen.accuracy / np.sqrt(chi2.ppf(0.95, 2))
    for rows in _groups(merged):
        for a in rows:
            square = (x[rows] - x[a]) ** 2 + (y[rows] - y[a]) ** 2
            assert np.all(square <= WIDEST_SQUARE * (deviation[rows] ** 2 + deviation[a] ** 2) + 1e-6)


@settings(max_examples=EXAMPLES)
@given(SEEN, st.sampled_from([1.0, 2.0, 5.0, 9.0]), st.sampled_from(["none", "estimate"]))
def test_no_spot_is_wider_than_asked(seen: Detections, within_m: float, shift: str) -> None:
    """With a distance given, no two sightings of one spot are farther apart."""
    merged = merge_detections(seen, options=MergeOptions(within_m=within_m, shift=shift))  # type: ignore[arg-type]
    places = np.column_stack(_shifted(merged))
    assert all(pdist(places[rows]).max(initial=0.0) <= within_m + 1e-6 for rows in _groups(merged))


def _shifted(merged: Merged) -> tuple[np.ndarray, np.ndarray]:
    x, y = FRAME.to_metres(merged.sightings.longitude, merged.sightings.latitude)
    zero = np.zeros(len(x))
    east, north = (
        np.nan_to_num(merged.sightings.extra.get(f"shift_{axis}_m", zero).astype(float)) for axis in ("east", "north")
    )
    return x - east, y - north


def _groups(merged: Merged) -> list[np.ndarray]:
    labels = np.array(_labels(merged), object)
    return [np.flatnonzero(labels == number) for number in set(labels.tolist()) - {""}]


@settings(max_examples=EXAMPLES)
@given(SEEN, OPTIONS)
def test_two_sightings_of_one_image_are_two_spots(seen: Detections, options: MergeOptions) -> None:
    """Whatever else is said, one image shows two spots as two; only a row told twice is the same again."""
    merged = merge_detections(seen, options=options)
    image = seen.extra.get("image", np.full(len(seen), "", object))
    for rows in _groups(merged):
        told = {
            (seen.longitude[r], seen.latitude[r], str(seen.time[r]), str(seen.temperature[r]), seen.sortie[r], image[r])
            for r in rows
        }
        images = Counter((sortie, name) for *_, sortie, name in told if name)
        assert all(count == 1 for count in images.values())


@settings(max_examples=EXAMPLES)
@given(SEEN, OPTIONS)
def test_nothing_of_a_sighting_is_lost(seen: Detections, options: MergeOptions) -> None:
    """Every row given comes back with all it had, in its order; every one with a position has a spot in the list."""
    merged = merge_detections(seen, options=options)
    kept = merged.sightings.take(slice(0, len(seen)))
    for name in Detections.column_names():
        assert columns_equal(getattr(kept, name), getattr(seen, name)).all(), name
    for name, column in seen.extra.items():
        assert columns_equal(kept.extra[name], column).all(), name
    assert kept.source.record.tolist() == seen.source.record.tolist()
    labels = np.array(_labels(merged), object)
    assert (labels != "").tolist() == seen.has_position().tolist()
    assert set(labels.tolist()) - {""} == set(merged.spots.id.tolist())


@settings(max_examples=EXAMPLES)
@given(SEEN, OPTIONS)
def test_the_report_adds_up(seen: Detections, options: MergeOptions) -> None:
    """Sightings, spots, first sights, repeats and flags of the report are those of the tables."""
    merged = merge_detections(seen, options=options)
    report, placed = merged.report, int(seen.has_position().sum())
    assert report.sightings == len(seen)
    assert report.without_position == len(seen) - placed
    assert report.spots == len(merged.spots) == report.kept + report.new
    assert sum(one.sightings for one in report.sorties) == placed
    assert sum(one.new for one in report.sorties) == report.new
    assert all(one.sightings == one.matched + one.new + one.repeats + one.told_twice for one in report.sorties)
    assert report.flagged == sum(bool(text) for text in merged.spots.extra.get("flags", np.array([], object)))
    assert merged.spots.sightings.sum() == placed - sum(one.told_twice for one in report.sorties)


@settings(max_examples=EXAMPLES)
@given(SEEN, SEEN, OPTIONS)
def test_numbers_stay_and_are_never_used_again(first: Detections, later: Detections, options: MergeOptions) -> None:
    """Each earlier number stands in the new list or is an alias in it; new ones are above all that were ever given."""
    before = merge_detections(first, options=options)
    for onto in (before.spots, Earlier(spots=before.spots, sightings=before.sightings)):
        after = merge_detections(later, onto=onto, options=options)
        numbers = after.spots.id.tolist()
        assert len(set(numbers)) == len(numbers)
        aliases = find_aliases(after.spots)
        assert set(aliases).isdisjoint(numbers)
        assert set(before.spots.id.tolist()) <= set(numbers) | set(aliases)
        highest = read_counts(before.spots.id).max(initial=0)
        fresh = set(numbers) - set(before.spots.id.tolist())
        assert all(count > highest for count in read_counts(sorted(fresh)))
        assert after.report.new == len(fresh)


@settings(max_examples=EXAMPLES)
@given(SEEN, SEEN, OPTIONS)
def test_a_later_merge_onto_the_result_is_settled(first: Detections, later: Detections, options: MergeOptions) -> None:
    """Adding sorties and then merging the same again changes nothing either."""
    before = merge_detections(first, options=options)
    both = Detections.join([first, later])
    after = merge_detections(both, onto=before.spots, options=options)
    again = merge_detections(both, onto=after.spots, options=options)
    assert again.spots.differences(after.spots) == []

from __future__ import annotations

import numpy as np
import pytest

from exchange.merge import Earlier, Merged, MergeOptions, merge_detections
from exchange.merge.sightings import RADIUS_95
from exchange.model import Detections
from exchange.model.spot_number import find_aliases
from tests.merge.simulator.scoring import score_pairs
from tests.merge.simulator.simulate import FRAME, simulate

AS_THEY_ARE = MergeOptions(shift="none")


def sightings_at(
    places: list[tuple[float, float]], sortie: str = "", accuracy: float = 3.0, **columns: object
) -> Detections:
    """Return sightings at metres east and north."""
    longitude, latitude = FRAME.to_degrees(*np.array(places, float).reshape(-1, 2).T)
    given = {"accuracy": accuracy, "sortie": sortie, **columns}
    return Detections(longitude=longitude, latitude=latitude, **given)  # type: ignore[arg-type]


def spots_of(merged: Merged) -> list[str]:
    """Return the number of each sighting."""
    return merged.sightings.extra["spot"].tolist()


def test_an_alias_stays_through_further_merges() -> None:
    """A number that was folded into another is never given again, whatever comes later."""
    earlier = sightings_at([(0.0, 0.0)], id="H-004", extra={"aliases": ["H-009; H-011"]})
    merged = merge_detections(sightings_at([(0.0, 0.5), (60.0, 0.0)], "B"), onto=earlier, options=AS_THEY_ARE)
    assert find_aliases(merged.spots) == {"H-009": "H-004", "H-011": "H-004"}
    assert merged.spots.id.tolist() == ["H-004", "H-012"]


def test_two_earlier_spots_are_one_once_their_sightings_say_so() -> None:
    """Kept apart by a small distance and put together by a larger one: the older number, an alias, a flag, a count."""
    seen = sightings_at([(0.0, 0.0), (4.0, 0.0)], "A", extra={"image": ["a1", "a2"]})
    apart = merge_detections(seen, options=MergeOptions(shift="none", within_m=2.0))
    assert apart.spots.id.tolist() == ["H-001", "H-002"]
    joined = merge_detections(seen, onto=apart.spots, options=MergeOptions(shift="none", within_m=5.0))
    assert joined.spots.id.tolist() == ["H-001"]
    assert find_aliases(joined.spots) == {"H-002": "H-001"}
    assert joined.report.joined == 1
    assert "turned out to be this one" in joined.spots.extra["flags"][0]


def test_an_earlier_spot_that_is_two_keeps_its_number_on_the_nearer() -> None:
    """The nearer of the two keeps it, the other gets the next, and both are flagged."""
    seen = sightings_at([(0.0, 0.0), (1.0, 0.0), (4.5, 0.0)], "A", extra={"image": ["a1", "a2", "a3"]})
    one = merge_detections(seen, options=MergeOptions(shift="none", within_m=5.0))
    assert one.spots.id.tolist() == ["H-001"]
    two = merge_detections(seen, onto=one.spots, options=MergeOptions(shift="none", within_m=2.0))
    assert spots_of(two) == ["H-001", "H-001", "H-002"]
    assert two.report.divided == 1
    assert all("turned out to be several" in flags for flags in two.spots.extra["flags"])


def test_a_spot_that_nobody_saw_again_stays_in_the_list() -> None:
    """The list forgets nothing: a later sortie elsewhere leaves the earlier spot as it was."""
    earlier = sightings_at([(0.0, 0.0)], id="H-007", status="hot", temperature=210.0)
    merged = merge_detections(sightings_at([(400.0, 0.0)], "B"), onto=earlier, options=AS_THEY_ARE)
    assert merged.spots.id.tolist() == ["H-007", "H-008"]
    assert (merged.spots.status[0], merged.spots.temperature[0]) == ("hot", 210.0)
    assert not earlier.differences(merged.spots.take([0]).replace(extra={}))


def test_out_is_nobodys_computation() -> None:
    """A later sighting does not make a spot out, nor does the lack of one."""
    fire = simulate("big_misses", 1700)
    assert set(merge_detections(fire.sightings).spots.status.tolist()) == {"unchecked"}


def test_the_fused_place_is_the_weighted_mean() -> None:
    """Two of 3 m and 4 m accuracy: weights 16 and 9 of 25, and 2.4 m together.

    The inverse-variance mean, whose accuracy is 1/sqrt(1/9 + 1/16) = 12/5 (any textbook of adjustment; by hand).
    """
    merged = merge_detections(
        Detections.join([sightings_at([(0.0, 0.0)], "A", accuracy=3.0), sightings_at([(5.0, 0.0)], "B", accuracy=4.0)]),
        options=AS_THEY_ARE,
    )
    x, y = FRAME.to_metres(merged.spots.longitude, merged.spots.latitude)
    assert (x[0], y[0]) == (pytest.approx(1.8, abs=1e-3), pytest.approx(0.0, abs=1e-3))
    assert merged.spots.accuracy[0] == pytest.approx(2.4, rel=1e-6)


def test_one_by_one_gives_what_all_at_once_gives() -> None:
    """The groups at the end are the same whichever way the sorties came in, where nothing is doubtful."""
    fire = simulate("sparse_low", 1801)
    before: Earlier | None = None
    for number in range(len(fire.flights)):
        new = fire.sightings.take(np.flatnonzero(fire.flight == number))
        merged = merge_detections(new, onto=before)
        before = Earlier(spots=merged.spots, sightings=merged.sightings)
    whole = merge_detections(fire.sightings)
    by_row = {(row.source.file, row.source.record): row.extra["spot"] for row in merged.sightings}
    stepwise = [by_row[row.source.file, row.source.record] for row in whole.sightings]
    assert score_pairs(spots_of(whole), stepwise).f1 > 0.999


def test_a_fire_across_the_180th_meridian_is_merged_as_any_other() -> None:
    """Two sightings a metre apart on either side of it are one spot."""
    seen = Detections(longitude=[179.999995, -179.999995], latitude=[-16.5, -16.5], accuracy=3.0, sortie=["A", "B"])
    merged = merge_detections(seen, options=AS_THEY_ARE)
    assert len(merged.spots) == 1
    assert abs(merged.spots.longitude[0]) == pytest.approx(180.0, abs=1e-6)


@pytest.mark.parametrize(("factor", "word"), [(1.0, ""), (0.5, "or more"), (2.0, "or less")])
def test_a_stated_accuracy_that_the_sightings_do_not_bear_out_is_told(factor: float, word: str) -> None:
    """Stated rightly nothing is said; half or twice the true accuracy is told with what the sightings say."""
    fire = simulate("medium_mid", 1902)
    true = RADIUS_95 * np.array([flight.noise_m for flight in fire.flights])[fire.flight]
    report = merge_detections(fire.sightings.replace(accuracy=factor * true)).report
    for one in report.sorties:
        assert one.remark == one.shift_reason if not word else one.remark.endswith(word)
    assert all((word in line) for line in report.lines()[: len(report.sorties)])

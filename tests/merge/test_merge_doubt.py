from __future__ import annotations

import pytest

from exchange.merge import Merged, merge_detections
from exchange.model import Detections
from tests.merge.simulator.scoring import share_of_numbers_kept
from tests.merge.simulator.simulate import Simulated, simulate
from tests.merge.test_merge_behaviour import AS_THEY_ARE, sightings_at, spots_of


def test_an_exact_tie_is_flagged_and_names_the_other() -> None:
    """One sighting right between two of one image: no coin decides it in silence."""
    seen = Detections.join([
        sightings_at([(0.0, 0.0)], "A", accuracy=4.0),
        sightings_at([(0.0, 2.0), (0.0, -2.0)], "B", accuracy=4.0, extra={"image": ["b1", "b1"]}),
    ])  # fmt: skip
    merged = merge_detections(seen, options=AS_THEY_ARE)
    assert len(merged.spots) == 2
    assert merged.report.flagged >= 1
    chosen = spots_of(merged)[0]
    (other,) = set(merged.spots.id.tolist()) - {chosen}
    told = merged.spots.extra["flags"][merged.spots.id.tolist().index(chosen)]
    assert "not sure" in told
    assert merged.evidence.runner_up[0] == other
    assert merged.evidence.runner_up_worse[0] == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("name", ["sparse_mid", "medium_low", "medium_mid"])
def test_sorties_added_one_by_one_keep_their_numbers(name: str) -> None:
    """From the second sortie on, each step keeps 99 in 100 of the numbers that stood before it."""
    fire = simulate(name, 1800)
    before = merge_detections(fire.sightings_of(2))
    for count in range(3, len(fire.flights) + 1):
        after = merge_detections(fire.sightings_of(count), onto=before.spots)
        assert _kept(fire, before, after) >= 0.99
        before = after


def _kept(fire: Simulated, before: Merged, after: Merged) -> float:
    first, second = spots_of(before), spots_of(after)
    return share_of_numbers_kept(fire.truth[: len(first)], first, fire.truth[: len(second)], second)


@pytest.mark.parametrize("name", ["coincident", "lattice", "few_spots", "disjoint", "dense_high"])
@pytest.mark.parametrize("seed", [1900, 1901])
def test_what_nobody_can_settle_is_flagged(name: str, seed: int) -> None:
    """Noise above the spacing, a lattice, few or no shared spots: each such list wants a person."""
    assert merge_detections(simulate(name, seed).sightings).report.flagged > 0

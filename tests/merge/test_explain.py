from __future__ import annotations

import json
import math

import numpy as np
import pytest

from exchange.errors import OptionError
from exchange.merge import Merged, MergeOptions, merge_detections
from exchange.merge.explain import explain_spot
from exchange.model import Detections, Sources
from tests.merge.simulator.simulate import FRAME, simulate


def _merge(east: list[float], sorties: str, **columns: object) -> Merged:
    longitude, latitude = FRAME.to_degrees(east, np.zeros(len(east)))
    given = {"accuracy": 3.0, "sortie": list(sorties), **columns}
    source = Sources.of("log.csv", "", range(1, len(east) + 1))
    seen = Detections(longitude=longitude, latitude=latitude, source=source, **given)  # type: ignore[arg-type]
    return merge_detections(seen, options=MergeOptions(shift="none"))


def test_each_sighting_tells_where_it_lies_and_where_it_came_from() -> None:
    """Two sightings 2 m apart and equally good lie 1 m from their spot; files and records are named."""
    explanation = explain_spot(_merge([0.0, 2.0, 90.0], "ABA", temperature=[200.0, 190.0, 50.0]), "H-001")
    assert [member.source for member in explanation.members] == ["log.csv, record 1", "log.csv, record 2"]
    assert [member.distance_m for member in explanation.members] == pytest.approx([1.0, 1.0], abs=1e-3)
    assert explanation.accuracy_m == pytest.approx(3.0 / math.sqrt(2.0), rel=1e-6)
    words = "\n".join(explanation.lines())
    assert "made of 2 sightings, by 2 sorties" in words
    assert "log.csv, record 2: B, 190 °C" in words
    assert "no other spot is near enough" in words


def test_the_shift_is_told_and_taken_off() -> None:
    """After the shift, each sighting lies at most a few standard deviations from the spot."""
    fire = simulate("sparse_low", 1500)
    merged = merge_detections(fire.sightings)
    for number in merged.spots.id[:20]:
        for member in explain_spot(merged, number).members:
            expected = fire.flights[int(member.sortie[2:]) - 1].shift
            assert np.hypot(member.shift_east_m - expected[0], member.shift_north_m - expected[1]) < 6.5
            assert member.distance_m < 3.0
            expected_distance = member.distance_m / _deviation(merged, member.source)
            assert member.distance == pytest.approx(expected_distance, rel=0.5, abs=1e-3)


def _deviation(merged: Merged, source: str) -> float:
    """Return about what one standard deviation of a sighting is, from the accuracy estimated for its sortie."""
    (accuracy,) = [one.accuracy_m for one in merged.report.sorties if source.startswith(f"{one.sortie}.csv")]
    return accuracy / 2.4477


def test_an_explanation_is_plain_data() -> None:
    """What is infinite or unknown is null, so that any program can read it."""
    told = explain_spot(_merge([0.0], "A"), "H-001").as_dict()
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert told["members"][0]["temperature"] is None


def test_an_unknown_number_is_refused() -> None:
    """The message says which numbers there are."""
    with pytest.raises(OptionError, match=r"'H-009' is no number of the list\n  Its numbers go from H-001 to H-002"):
        explain_spot(_merge([0.0, 90.0], "AA"), "H-009")


def test_a_number_that_was_folded_into_another_is_found() -> None:
    """Who asks for the alias is told of the spot that stands for it."""
    merged = _merge([0.0, 2.0], "AB")
    spots = merged.spots.replace(extra={**merged.spots.extra, "aliases": ["H-031; H-040"]})
    folded = Merged(spots=spots, sightings=merged.sightings, evidence=merged.evidence, report=merged.report)
    explanation = explain_spot(folded, "H-040")
    assert explanation.number == "H-001"
    assert explanation.lines()[0].startswith("H-001 (H-040 was folded into it)")


def test_a_spot_of_the_earlier_list_without_its_sightings_says_so() -> None:
    """What nobody gave again cannot be explained, and is not made up."""
    longitude, latitude = FRAME.to_degrees([0.0], [0.0])
    earlier = Detections(id="H-005", longitude=longitude, latitude=latitude, accuracy=3.0)
    far = FRAME.to_degrees([500.0], [0.0])
    seen = Detections(longitude=far[0], latitude=far[1], accuracy=3.0, sortie="B")
    merged = merge_detections(seen, onto=earlier)
    assert "none of its sightings was given" in "\n".join(explain_spot(merged, "H-005").lines())

from __future__ import annotations

import numpy as np
import pytest

from exchange.errors import ModelError, OptionError
from exchange.merge import MergeOptions, merge_detections
from exchange.model import Detections

PER_METRE = 1 / 111_132.0
"""Degrees of latitude a metre, near 45 degrees north, good to 1 in 1000."""


def _on_a_line(*metres: float, **columns: object) -> Detections:
    return Detections(longitude=np.full(len(metres), -114.0), latitude=44.5 + np.array(metres) * PER_METRE, **columns)


def test_nothing_becomes_an_empty_list() -> None:
    """No sighting makes no spot, and no error."""
    merged = merge_detections(Detections())
    assert len(merged.spots) == len(merged.sightings) == 0


def test_a_chain_stays_apart() -> None:
    """Fifty points 10 m apart, judged by 15 m, make pairs and never one long spot."""
    seen = _on_a_line(*(10.0 * np.arange(50)))
    merged = merge_detections(seen, options=MergeOptions(within_m=15.0, shift="none"))
    assert merged.spots.sightings.max() == 2
    assert len(merged.spots) == 25


def test_one_image_shows_a_spot_once() -> None:
    """Two sightings of one image stay two spots, however near."""
    seen = _on_a_line(0.0, 0.5, sortie="D-1", accuracy=4.0, extra={"Image": ["d_1.jpg", "d_1.jpg"]})
    assert len(merge_detections(seen).spots) == 2


def test_overlapping_images_show_a_spot_twice() -> None:
    """Two sightings of one sortie in two images are one spot, and a repeat."""
    seen = _on_a_line(0.0, 0.5, sortie="D-1", accuracy=4.0, extra={"Image": ["d_1.jpg", "d_2.jpg"]})
    merged = merge_detections(seen)
    assert len(merged.spots) == 1
    assert merged.report.sorties[0].repeats == 1


def test_the_place_is_weighted_by_accuracy() -> None:
    """Of sightings good to 2 m and to 4 m, 3 m apart, the spot lies a fifth of the way (weights 4 to 1)."""
    merged = merge_detections(_on_a_line(0.0, 3.0, sortie=["A", "B"], accuracy=[2.0, 4.0]))
    assert (merged.spots.latitude[0] - 44.5) / PER_METRE == pytest.approx(0.6, abs=0.005)
    assert merged.spots.accuracy[0] == pytest.approx(np.sqrt(1 / (1 / 4 + 1 / 16)), abs=1e-9)


def test_a_row_without_a_position_is_told() -> None:
    """A row without a position becomes no spot, stays among the sightings and is counted."""
    seen = Detections(longitude=[-114.0, np.nan], latitude=[44.5, np.nan], temperature=[80.0, 90.0])
    merged = merge_detections(seen)
    assert merged.sightings.extra["spot"].tolist() == ["H-001", ""]
    assert merged.report.without_position == 1


@pytest.mark.parametrize("accuracy", [0.0, -1.0, np.inf])
def test_an_impossible_accuracy_is_refused(accuracy: float) -> None:
    """An accuracy that is no positive distance names its row and field."""
    with pytest.raises(ModelError, match="is no accuracy"):
        merge_detections(_on_a_line(0.0, accuracy=accuracy))


def test_options_that_mean_nothing_are_refused() -> None:
    """A distance of 0 and an unknown word are refused with the option's name."""
    with pytest.raises(OptionError, match="within_m"):
        MergeOptions(within_m=0.0)
    with pytest.raises(OptionError, match="series"):
        MergeOptions(series="h")

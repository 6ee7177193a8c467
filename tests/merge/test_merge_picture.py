from __future__ import annotations

import io

import matplotlib.image
import numpy as np
import pytest

from exchange.errors import CoordinateError
from exchange.merge import merge_detections
from exchange.merge.label_places import place_labels
from exchange.merge.picture import COLORS, MARKERS, draw_merge
from exchange.model import Detections
from tests.merge.simulator.simulate import simulate

SIZE = 6.5


@pytest.mark.parametrize("name", ["medium_high", "few_spots", "disjoint"])
def test_a_picture_is_drawn_of_crowded_and_of_few_spots(name: str) -> None:
    """The picture is a PNG of the size it is made for, with ink all over and more than one colour."""
    picture = matplotlib.image.imread(io.BytesIO(draw_merge(merge_detections(simulate(name, 1600).sightings))))
    assert picture.shape == (1488, 1320, 4)
    ink = picture[:, :, :3].min(axis=2) < 0.9
    assert 0.005 < ink.mean() < 0.5
    assert np.ptp(picture[:, :, :3], axis=2).max() > 0.3


def test_every_sortie_has_a_shape_of_its_own() -> None:
    """Ten sorties differ without colour; with colour far more do."""
    assert len(set(MARKERS)) == 10
    assert len(set(zip(MARKERS * 7, COLORS * 10, strict=True))) == 70


def test_one_sighting_is_picture_enough() -> None:
    """A single spot has no extent, and still a scale to be drawn in."""
    merged = merge_detections(Detections(longitude=-114.0, latitude=44.5, sortie="A"))
    assert draw_merge(merged, title="one").startswith(b"\x89PNG")


def test_no_position_is_no_picture() -> None:
    """Nothing can be drawn of sightings that are nowhere."""
    merged = merge_detections(Detections(temperature=[100.0], sortie="A"))
    with pytest.raises(CoordinateError, match="no position"):
        draw_merge(merged)


def test_labels_cover_neither_each_other_nor_a_spot() -> None:
    """Of 150 crowded labels those placed are clear of each other and of every spot; the first comes first."""
    random = np.random.default_rng(5)
    x, y = random.uniform(0.0, 250.0, (2, 150))
    labels = [f"H-{number:03d}" for number in range(150)]
    places = place_labels(x, y, labels, range(150), np.full(150, 4.0), SIZE)
    assert 0 in places
    assert 60 < len(places) < 150
    middles = np.array([(x[row] + across, y[row] + up) for row, (across, up) in places.items()])
    apart = np.abs(middles[:, None] - middles[None])
    width, height = 0.62 * SIZE * 5, 1.1 * SIZE
    covering = (apart[..., 0] < width - 1e-9) & (apart[..., 1] < height - 1e-9)
    assert covering.sum() == len(middles)
    on_spot = (np.abs(middles[:, None, 0] - x) < width / 2) & (np.abs(middles[:, None, 1] - y) < height / 2)
    assert not on_spot.any()

"""What the property tests of the merge draw: sightings of a few sorties, close together, some incomplete."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import strategies as st

from exchange.merge import MergeOptions
from exchange.model import Detections, Sources
from tests.merge.simulator.simulate import FRAME

SORTIES = ("A", "B", "C", "")
BEGIN = np.datetime64("2026-08-14T04:00:00", "ms")

_ROW = st.fixed_dictionaries(
    {
        "east": st.integers(-200, 200).map(lambda tenth: tenth / 4.0),
        "north": st.integers(-40, 40).map(lambda tenth: tenth / 4.0),
        "sortie": st.sampled_from(SORTIES),
        "image": st.integers(0, 6),
        "temperature": st.one_of(st.just(np.nan), st.integers(30, 400).map(float)),
        "accuracy": st.sampled_from([1.0, 2.5, 4.0, np.nan]),
        "has_time": st.booleans(),
        "has_image": st.booleans(),
        "has_position": st.integers(0, 19).map(bool),
    }
)


@st.composite
def sightings(draw: st.DrawFn, *, most: int = 30, states_accuracy: bool = False) -> Detections:
    """Draw sightings: on a grid of a quarter of a metre, so that ties and equal rows occur."""
    rows = draw(st.lists(_ROW, min_size=1, max_size=most))
    return build(rows, states_accuracy=states_accuracy)


def build(rows: list[dict[str, Any]], *, states_accuracy: bool = False) -> Detections:
    """Return drawn rows as sightings."""
    columns = {name: [row[name] for row in rows] for name in rows[0]}
    longitude, latitude = FRAME.to_degrees(columns["east"], columns["north"])
    placed = np.array(columns["has_position"])
    seconds = [
        1000 * (7200 * SORTIES.index(s) + 2 * i) for s, i in zip(columns["sortie"], columns["image"], strict=True)
    ]
    time = np.where(columns["has_time"], BEGIN + np.array(seconds, "timedelta64[ms]"), np.datetime64("NaT", "ms"))
    names = [
        f"{s}_{i}.jpg" if has else ""
        for s, i, has in zip(columns["sortie"], columns["image"], columns["has_image"], strict=True)
    ]
    accuracy = np.array(columns["accuracy"])
    return Detections(
        longitude=np.where(placed, longitude, np.nan),
        latitude=np.where(placed, latitude, np.nan),
        time=time,
        temperature=columns["temperature"],
        accuracy=np.where(np.isnan(accuracy), 3.0, accuracy) if states_accuracy else accuracy,
        sortie=columns["sortie"],
        extra={"image": names, "remark": [f"row {number}" for number in range(len(rows))]},
        source=Sources.of("drawn.csv", "", range(1, len(rows) + 1)),
    )


options = st.builds(
    MergeOptions,
    within_m=st.sampled_from([np.nan, np.nan, 2.0, 5.0]),
    accuracy_m=st.sampled_from([np.nan, 3.0]),
    shift=st.sampled_from(["none", "estimate"]),
)
"""Options of a merge."""

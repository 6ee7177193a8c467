import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

from exchange.model import Detections
from exchange.model.priority import rank_priority
from exchange.model.spot_number import find_aliases, join_aliases, read_counts, split_aliases, write_numbers


@given(st.lists(st.integers(1, 999_999_999)), st.from_regex(r"[A-Z]{1,8}", fullmatch=True))
def test_numbers_are_read_as_they_were_written(counts: list[int], series: str) -> None:
    """A count comes back from its number, and only in its own series."""
    numbers = write_numbers(counts, series)
    assert read_counts(numbers, series).tolist() == counts
    assert not read_counts(numbers, f"{series}X"[-8:] if len(series) < 8 else "A").any() or series == "A"


def test_aliases_lead_to_the_number_that_stands() -> None:
    """Every number that was folded into another finds it."""
    spots = Detections(id=["H-001", "H-002"], extra={"aliases": ["H-007; H-003", ""]})
    assert find_aliases(spots) == {"H-007": "H-001", "H-003": "H-001"}
    assert split_aliases(join_aliases(["H-007", "H-003", "H-007"])) == ["H-007", "H-003"]


def test_each_step_of_the_rule_counts_before_the_next() -> None:
    """Status counts before the edge, the edge before heat, heat before how often it was seen."""
    spots = Detections(
        id=["cool", "unchecked far", "hot far", "unchecked outside", "seen more", "out"],
        longitude=[0.0005, 0.005, 0.005, -0.001, 0.0005, 0.0001],
        latitude=0.005,
        status=["hot", "", "hot", "unchecked", "hot", "out"],
        temperature=[80.0, 400.0, 300.0, 60.0, 80.0, 500.0],
        sightings=[1, 1, 1, 1, 3, 1],
    )
    order = np.argsort(rank_priority(spots, box(0.0, 0.0, 0.01, 0.01)))
    assert list(spots.id[order]) == ["seen more", "cool", "hot far", "unchecked outside", "unchecked far", "out"]


def test_without_an_area_or_values_the_list_keeps_its_order() -> None:
    """What is missing decides nothing."""
    assert rank_priority(Detections(id=["a", "b", "c"])).tolist() == [1, 2, 3]
    assert rank_priority(Detections()).tolist() == []

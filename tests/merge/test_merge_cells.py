from __future__ import annotations

import sys
from collections.abc import Iterator

import numpy as np
import pytest
from distributed import Client
from hypothesis import given, settings
from hypothesis import strategies as st

from exchange.errors import MissingExtraError, OptionError
from exchange.merge import Earlier, Merged, MergeOptions, merge_detections
from exchange.merge.scale import cluster, merge_cells, reach_cluster
from exchange.merge.scale.boxes import Cells
from exchange.merge.scale.computing import AT_A_TIME, compute_all
from exchange.model import Detections
from tests.benchmarks.season import make_season
from tests.merge import drawn_sightings
from tests.merge.simulator.simulate import simulate


def _same(first: Merged, second: Merged) -> bool:
    """Tell whether two merges are equal in every digit: list, sightings, evidence and report."""
    assert first.spots.differences(second.spots) == []
    assert first.sightings.differences(second.sightings) == []
    for name in ("distance", "runner_up", "runner_up_worse"):
        np.testing.assert_array_equal(getattr(first.evidence, name), getattr(second.evidence, name), err_msg=name)
    return str(first.report.as_dict()) == str(second.report.as_dict())


@pytest.mark.parametrize("cell_m", [25.0, 140.0, 5000.0])
@pytest.mark.parametrize("name", ["medium_mid", "dense_mid", "low_cover"])
def test_cells_give_what_one_run_gives(name: str, cell_m: float) -> None:
    """However small the cells, and though spots lie across their borders, every digit is the same."""
    seen = simulate(name, 2000).sightings
    assert _same(merge_cells(seen, cell_m=cell_m), merge_detections(seen))


def test_a_season_of_fires_in_cells_is_the_season_at_once() -> None:
    """Several fires far apart, with the earlier list and a distance, in cells of one fire each."""
    seen = make_season(4000)
    before = merge_detections(seen.take(slice(0, 2500)))
    for onto in (before.spots, Earlier(spots=before.spots, sightings=before.sightings)):
        for options in (MergeOptions(), MergeOptions(within_m=3.0, shift="none")):
            in_cells = merge_cells(seen, onto=onto, options=options, cell_m=900.0)
            assert _same(in_cells, merge_detections(seen, onto=onto, options=options))


@settings(max_examples=25)
@given(drawn_sightings.sightings(most=20), drawn_sightings.options, st.sampled_from([3.0, 11.0, 200.0]))
def test_any_sightings_in_cells_are_merged_as_at_once(seen: Detections, options: MergeOptions, cell_m: float) -> None:
    """Ties, gaps and rows told twice included."""
    assert _same(merge_cells(seen, options=options, cell_m=cell_m), merge_detections(seen, options=options))


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    """Start a cluster of one worker within this process."""
    with Client(
        processes=False, n_workers=1, threads_per_worker=2, dashboard_address=None, silence_logs="ERROR"
    ) as started:
        yield started


def test_a_cluster_gives_what_one_run_gives(client: Client) -> None:
    """The same through a Dask cluster, whose workers get each cell's rows and nothing else."""
    seen = simulate("medium_mid", 2001).sightings
    assert _same(merge_cells(seen, cell_m=60.0, client=client), merge_detections(seen))


def test_a_cluster_is_reached_by_its_address(client: Client) -> None:
    """As the command line does; many sorties go out in several blocks."""
    seen = make_season(24_000)
    with reach_cluster(client.scheduler.address) as reached:
        assert _same(merge_cells(seen, cell_m=9_000.0, client=reached), merge_detections(seen))


def test_where_no_cluster_answers_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """In words, with the option that named it."""
    monkeypatch.setattr(cluster, "WAIT_SECONDS", 0.2)
    with pytest.raises(OptionError, match="no Dask scheduler answers at"), reach_cluster("tcp://127.0.0.1:1"):
        pass


def test_answers_come_in_the_order_of_the_questions(client: Client) -> None:
    """However many there are, from threads and from a cluster, and no more are asked ahead than is said."""
    asked = []

    def ask() -> Iterator[int]:
        for number in range(3 * AT_A_TIME + 1):
            asked.append(number)
            yield number

    for who in (None, client):
        asked.clear()
        answers = compute_all(abs, ask(), client=who)
        first = next(answers)
        assert len(asked) <= AT_A_TIME
        assert [first, *answers] == list(range(3 * AT_A_TIME + 1))


def test_nothing_is_an_empty_list() -> None:
    """No sighting makes no cell and no error."""
    assert len(merge_cells(Detections()).spots) == 0


def test_a_cell_has_a_side() -> None:
    """Zero metres are refused."""
    with pytest.raises(OptionError, match="is no side of a cell"):
        merge_cells(Detections(), cell_m=0.0)


def test_without_dask_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who has not installed it is told what to install."""
    monkeypatch.setitem(sys.modules, "dask", None)
    with pytest.raises(MissingExtraError, match=r"hotspot-exchange\[scale\]"):
        merge_cells(Detections())


@pytest.mark.parametrize("margin_m", [0.0, 4.0, 30.0])
def test_the_rows_around_a_cell_are_those_in_its_box(margin_m: float) -> None:
    """Against a plain search through all rows; each row lies in one cell."""
    east, north = np.random.default_rng(9).uniform(-50.0, 50.0, (2, 400))
    cells = Cells.of(east, north, 13.0)
    assert sorted(np.concatenate([cells.rows_in(cell) for cell in range(len(cells))]).tolist()) == list(range(400))
    for cell in range(len(cells)):
        west, east_end, south, north_end = cells.box(cell, margin_m)
        inside = (east >= west) & (east <= east_end) & (north >= south) & (north <= north_end)
        assert cells.rows_around(cell, margin_m).tolist() == np.flatnonzero(inside).tolist()

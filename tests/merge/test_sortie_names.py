from __future__ import annotations

import pytest

from exchange.errors import OptionError
from exchange.merge.origins import name_origins
from exchange.merge.sortie_names import name_sorties
from exchange.model import Detections, Sources


def _rows(
    sortie: list[str], file: str = "day 1/heat.kml", layers: list[str] | None = None, **columns: object
) -> Detections:
    source = Sources.of_layers(file, layers or [""] * len(sortie), range(1, len(sortie) + 1))
    return Detections(longitude=-114.0, latitude=44.5, sortie=sortie, source=source, **columns)  # type: ignore[arg-type]


def test_named_sorties_stay() -> None:
    """Where every row names its sortie nothing is assumed."""
    rows = _rows(["A", "B"])
    assert name_sorties(rows) == (rows, ())


@pytest.mark.parametrize(("origin", "name"), [("file", "heat"), ("folder", "day 1"), ("layer", "S-1")])
def test_a_missing_name_is_taken_from_the_origin(origin: str, name: str) -> None:
    """From the file, its folder, or the top layer in it; what is assumed is told with its count."""
    named, problems = name_sorties(_rows(["A", "", ""], layers=["S-1/hot"] * 3), sortie_from=origin)  # type: ignore[arg-type]
    assert named.sortie.tolist() == ["A", name, name]
    assert [(problem.severity, problem.count) for problem in problems] == [("note", 2)]
    assert repr(name) in problems[0].message


def test_a_file_without_a_folder_and_a_layer_names_it_by_itself() -> None:
    """There is always a name."""
    assert name_sorties(_rows([""], file="heat.csv"), sortie_from="folder")[0].sortie.tolist() == ["heat"]
    assert name_sorties(_rows([""], file="heat.csv"), sortie_from="layer")[0].sortie.tolist() == ["heat"]


def test_two_aircraft_in_one_file_are_two_sorties() -> None:
    """What two aircraft saw was seen on two flights."""
    named, _ = name_sorties(_rows(["", ""], aircraft=["Dipper", "Siskin"]))
    assert named.sortie.tolist() == ["heat Dipper", "heat Siskin"]


def test_an_unknown_origin_is_refused() -> None:
    """The message lists what there is."""
    with pytest.raises(OptionError, match="file, folder, layer"):
        name_sorties(_rows([""]), sortie_from="colour")  # type: ignore[arg-type]


def test_the_first_origin_is_kept() -> None:
    """A row that names its origin already keeps it, the others get theirs."""
    first = name_origins(_rows(["A", "A"]))
    assert first.extra["source_record"].tolist() == [1, 2]
    both = Detections.join([first.replace(source=Sources.of("seen.csv", "", [7, 8])), _rows(["B"], file="b.csv")])
    named = name_origins(both)
    assert named.extra["source_file"].tolist() == ["day 1/heat.kml", "day 1/heat.kml", "b.csv"]
    assert [int(record) for record in named.extra["source_record"]] == [1, 2, 1]

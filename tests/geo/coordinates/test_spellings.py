import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from exchange import errors
from exchange.geo.coordinates import parse_position, parse_position_column

HERE = Path(__file__).parent
ACCEPTED: list[dict[str, Any]] = tomllib.loads((HERE / "accepted.toml").read_text("utf-8"))["position"]
REFUSED: list[dict[str, Any]] = tomllib.loads((HERE / "refused.toml").read_text("utf-8"))["position"]
OPTIONS = ("order", "hemispheres", "zone_letter", "form")


def _options(row: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: row[name] for name in names if name in row}


def test_tables_are_as_long_as_promised() -> None:
    """At least 80 spellings are read and 40 refused, none of them twice."""
    assert len(ACCEPTED) >= 80
    assert len(REFUSED) >= 40
    for table in (ACCEPTED, REFUSED):
        assert len({(row["text"], str(_options(row, *OPTIONS))) for row in table}) == len(table)


@pytest.mark.parametrize("row", ACCEPTED, ids=lambda row: repr(row["text"]))
def test_accepted_spelling_means_its_position(row: dict[str, Any]) -> None:
    """A spelling of the table is read as the position beside it: exactly, or within the cell of a grid reference."""
    position = parse_position(row["text"], **_options(row, *OPTIONS[:3]))
    assert position.form == row["form"]
    tolerance = position.resolution_m / 111_000 if row["form"] in ("USNG", "MGRS") else 1e-12
    if row["form"] == "UTM":
        tolerance = 1e-8
    assert position.latitude == pytest.approx(row["latitude"], abs=tolerance)
    assert position.longitude == pytest.approx(
        row["longitude"], abs=tolerance / math.cos(math.radians(row["latitude"]))
    )


@pytest.mark.parametrize("row", ACCEPTED, ids=lambda row: repr(row["text"]))
def test_accepted_spelling_is_read_in_a_column(row: dict[str, Any]) -> None:
    """A column reads each spelling as the single text is read, wherever it stands in the column."""
    options = _options(row, *OPTIONS[:3])
    position = parse_position(row["text"], **options)
    column = parse_position_column([None, row["text"], "", row["text"]], **options)
    assert column.refused.tolist() == []
    assert column.longitude.tolist()[1::2] == pytest.approx([position.longitude] * 2, abs=1e-13)
    assert column.latitude.tolist()[1::2] == pytest.approx([position.latitude] * 2, abs=1e-13)
    assert math.isnan(column.latitude[0])
    assert math.isnan(column.latitude[2])


@pytest.mark.parametrize("row", ACCEPTED, ids=lambda row: repr(row["text"]))
def test_accepted_spelling_is_refused_as_another_form(row: dict[str, Any]) -> None:
    """Where one form is asked for, a text in another is refused, not read anyway."""
    other = "UTM" if row["form"] == "DD" else "DD"
    with pytest.raises(errors.CoordinateError, match=f"is {row['form']}, not {other}"):
        parse_position(row["text"], form=other, **_options(row, *OPTIONS[:3]))


@pytest.mark.parametrize("row", REFUSED, ids=lambda row: repr(row["text"]))
def test_refused_spelling_says_why(row: dict[str, Any]) -> None:
    """A spelling of the table is refused with its reason and a remedy."""
    with pytest.raises(getattr(errors, row["error"])) as refusal:
        parse_position(row["text"], **_options(row, *OPTIONS))
    assert type(refusal.value).__name__ == row["error"]
    assert row.get("says", "is no") in refusal.value.message
    assert refusal.value.remedy


@pytest.mark.parametrize("row", REFUSED, ids=lambda row: repr(row["text"]))
def test_refused_spelling_is_refused_in_a_column(row: dict[str, Any]) -> None:
    """A column names the row of a refused spelling with the same reason; blank rows are missing, not refused."""
    options = _options(row, *OPTIONS)
    column = parse_position_column(["", row["text"], row["text"]], **options)
    if not row["text"].strip():
        assert column.refused.tolist() == []
        return
    with pytest.raises(errors.ExchangeError) as refusal:
        parse_position(row["text"], **options)
    assert column.refused.tolist() == [1, 2]
    assert column.reasons == (str(refusal.value),) * 2
    assert all(math.isnan(value) for value in column.longitude)

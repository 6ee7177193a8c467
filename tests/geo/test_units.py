import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.errors import UnitError
from exchange.geo import units
from exchange.geo.unit_words import AMBIGUOUS_WORDS, WORDS
from exchange.geo.units import QUANTITIES, Unit, convert, parse_unit, units_of

ALL_UNITS = [unit for quantity in QUANTITIES for unit in units_of(quantity)]


@pytest.mark.parametrize(
    ("word", "unit"),
    [
        ("m", None),
        ("metres", units.METRE),
        ("Meter", units.METRE),
        ("mètres", units.METRE),
        ("km", units.KILOMETRE),
        ("ft", units.FOOT),
        ("Ft.", units.FOOT),
        ("FEET", units.FOOT),
        ("piés", units.FOOT),
        ("Fuß", units.FOOT),
        ("pieds", units.FOOT),
        ("chains", units.CHAIN),
        ("miles", units.MILE),
        ("nautical miles", units.NAUTICAL_MILE),
        ("ac", units.ACRE),
        ("acres", units.ACRE),
        ("ha", units.HECTARE),
        ("Hectáreas", units.HECTARE),
        ("sq. ft.", units.SQUARE_FOOT),
        ("sq mi", units.SQUARE_MILE),
        ("m²", units.SQUARE_METRE),
        ("m^2", units.SQUARE_METRE),
        ("km2", units.SQUARE_KILOMETRE),
        ("°F", units.FAHRENHEIT),
        ("℉", units.FAHRENHEIT),
        ("deg F", units.FAHRENHEIT),
        ("degrees_Fahrenheit", units.FAHRENHEIT),
        ("°C", units.CELSIUS),
        ("ºC", units.CELSIUS),
        ("℃", units.CELSIUS),
        ("(deg C)", units.CELSIUS),
        ("[Celsius]", units.CELSIUS),
        ("Grad Celsius", units.CELSIUS),
        ("kelvin", units.KELVIN),
        ("mph", units.MILE_PER_HOUR),
        ("miles per hour", units.MILE_PER_HOUR),
        ("kt", units.KNOT),
        ("knots", units.KNOT),
        ("nudos", units.KNOT),
        ("km/h", units.KILOMETRE_PER_HOUR),
        ("Km / h", units.KILOMETRE_PER_HOUR),
        ("m/s", units.METRE_PER_SECOND),
        ("m s-1", units.METRE_PER_SECOND),
        ("metres per second", units.METRE_PER_SECOND),
        ("ft/min", units.FOOT_PER_MINUTE),
        ("ch/h", units.CHAIN_PER_HOUR),
        ("deg", units.DEGREE),
        ("°", units.DEGREE),
        ("degrees", units.DEGREE),
        ("rad", units.RADIAN),
        ("US survey feet", units.US_SURVEY_FOOT),
    ],
)
def test_words_are_read(word: str, unit: Unit | None) -> None:
    """Words and abbreviations as people write them are read, and an ambiguous one is refused without a quantity."""
    if unit is None:
        with pytest.raises(UnitError, match="more than one meaning"):
            parse_unit(word)
    else:
        assert parse_unit(word) is unit
        assert parse_unit(word.upper()) is unit
        assert parse_unit(f" {word} ", quantity=unit.quantity) is unit


@pytest.mark.parametrize(
    ("word", "quantity", "unit"),
    [
        ("c", "temperature", units.CELSIUS),
        ("F", "temperature", units.FAHRENHEIT),
        ("K", "temperature", units.KELVIN),
        ("m", "length", units.METRE),
        ("f", "length", units.FOOT),
        ("ch", "length", units.CHAIN),
        ("NM", "length", units.NAUTICAL_MILE),
        ("'", "length", units.FOOT),
        ("'", "angle", units.ARC_MINUTE),
        ("m", "angle", units.ARC_MINUTE),
    ],
)
def test_ambiguous_words_need_their_quantity(word: str, quantity: units.Quantity, unit: Unit) -> None:
    """A bare letter is read where the quantity is known, and refused where it is not."""
    assert parse_unit(word, quantity=quantity) is unit
    with pytest.raises(UnitError, match="more than one meaning"):
        parse_unit(word)


@pytest.mark.parametrize("word", ["", "furlongs", "m3", "acre-feet", "psi", "grad", "1", "ftm", "°K2"])
def test_unknown_words_are_refused_with_what_is_known(word: str) -> None:
    """What is no unit is refused, and the refusal lists the units."""
    with pytest.raises(UnitError, match=r"is no unit known here\n.*metre"):
        parse_unit(word)


def test_other_quantity_is_refused() -> None:
    """A unit of another quantity is refused, naming both and what is allowed."""
    with pytest.raises(UnitError, match=r"'ft' measures length, not temperature\n.*Celsius"):
        parse_unit("ft", quantity="temperature")
    with pytest.raises(UnitError, match="is no unit known here"):
        parse_unit("c", quantity="length")
    with pytest.raises(UnitError, match="foot measures length, acre measures area"):
        convert(1.0, units.FOOT, units.ACRE)
    with pytest.raises(UnitError, match="is no quantity"):
        parse_unit("ft", quantity="colour")  # type: ignore[arg-type]


def test_misspelling_is_hinted_at() -> None:
    """A near miss is answered with the word that was probably meant."""
    with pytest.raises(UnitError, match="Did you mean 'fahrenheit'"):
        parse_unit("farenheit")


def test_every_word_names_a_unit_once() -> None:
    """Both tables name units that exist, and no word is in both."""
    names = {unit.name for unit in ALL_UNITS}
    assert set(WORDS.values()) == names
    assert not set(WORDS) & set(AMBIGUOUS_WORDS)
    for word, by_quantity in AMBIGUOUS_WORDS.items():
        for quantity in by_quantity:
            assert parse_unit(word, quantity=quantity).quantity == quantity  # type: ignore[arg-type]


def test_every_unit_is_read_by_its_own_name() -> None:
    """The name a unit is shown by is one that it can be given by."""
    for unit in ALL_UNITS:
        assert parse_unit(unit.name) is unit
        assert parse_unit(str(unit), quantity=unit.quantity) is unit


@given(st.sampled_from(ALL_UNITS), st.data(), st.floats(-1e9, 1e9))
def test_conversion_comes_back(unit: Unit, data: st.DataObject, value: float) -> None:
    """Into any unit of the quantity and back is the same to the last digits."""
    other = data.draw(st.sampled_from(units_of(unit.quantity)))
    there = convert(value, unit, other)
    assert isinstance(there, float)
    assert convert(there, other, unit) == pytest.approx(value, rel=1e-12, abs=1e-9)


@given(st.sampled_from(ALL_UNITS), st.lists(st.floats(-1e6, 1e6), max_size=5))
def test_columns_are_converted_as_numbers_are(unit: Unit, values: list[float]) -> None:
    """A column gives what its numbers give, and keeps its shape; the column given is not changed."""
    column = np.array(values, np.float64)
    base = units_of(unit.quantity)[0]
    converted = convert(column, unit, base)
    assert converted.tolist() == [convert(value, unit, base) for value in values]
    assert column.tolist() == values
    assert convert(np.zeros((2, 3)), unit, base).shape == (2, 3)


def test_missing_stays_missing() -> None:
    """NaN is NaN in every unit."""
    assert np.isnan(convert(np.array([np.nan, 1.0]), "F", "celsius")).tolist() == [True, False]


def test_ambiguous_word_is_read_by_the_other_unit() -> None:
    """In a conversion a bare letter is read by the quantity of the other side, and refused where both are bare."""
    assert convert(212.0, "F", units.CELSIUS) == 100.0
    assert convert(100.0, "celsius", "F") == 212.0
    assert convert(212.0, "f", "celsius") == 100.0
    with pytest.raises(UnitError, match="more than one meaning"):
        convert(1.0, "m", "f")

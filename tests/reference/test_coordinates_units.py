"""Units against the definitions in law and handbooks."""

from fractions import Fraction

import pytest

from exchange.geo import units
from exchange.geo.units import convert


def test_foot_is_the_international_foot() -> None:
    """0.3048 m exactly, for every use since 2023 (85 FR 62698, 5 October 2020; read)."""
    assert units.FOOT.ratio == Fraction(3048, 10000)
    assert convert(1.0, "ft", "m") == 0.3048


def test_chain_and_acre_follow_from_it() -> None:
    """66 ft = 20.1168 m and 43560 ft² = 4046.8564224 m² = 10 square chains (85 FR 62698; NIST HB 44, Appendix C)."""
    assert units.CHAIN.ratio == Fraction(201168, 10000)
    assert units.ACRE.ratio == Fraction(40468564224, 10**7)
    assert units.ACRE.ratio == 10 * units.SQUARE_CHAIN.ratio
    assert units.MILE.ratio == 80 * units.CHAIN.ratio


def test_survey_foot_is_apart() -> None:
    """1200/3937 m, deprecated at the end of 2022: never what a bare foot, chain or acre means."""
    assert units.US_SURVEY_FOOT.ratio == Fraction(1200, 3937)
    assert units.parse_unit("feet") is units.FOOT
    assert convert(1.0, "acre", "m2") != pytest.approx(4046.872609874, rel=1e-9)
    assert convert(1.0, "chain", "m") != pytest.approx(20.116840234, rel=1e-9)


def test_acre_agrees_with_scipy() -> None:
    """An independent library has the same acre, foot, mile, nautical mile, knot, Fahrenheit."""
    from scipy import constants

    assert convert(1.0, "acre", "m2") == pytest.approx(constants.acre, rel=1e-15)
    assert convert(1.0, "nautical mile", "m") == constants.nautical_mile == 1852.0
    assert convert(1.0, "mile", "m") == pytest.approx(constants.mile, rel=1e-15)
    assert convert(1.0, "kt", "m/s") == pytest.approx(constants.knot, rel=1e-15)
    assert convert(451.0, "F", units.CELSIUS) == pytest.approx(
        constants.convert_temperature(451.0, "Fahrenheit", "Celsius"), abs=1e-12
    )


def test_acreage_example_of_firefighter_math() -> None:
    """10 ch by the mean of 8.5 and 3.5 ch is 60 ch², 6 acres, 24281.14 m² (NWCG Firefighter Math 5.1, example 1)."""
    square_chains = 10.0 * (8.5 + 3.5) / 2.0
    assert convert(square_chains, "square chains", "acres") == pytest.approx(6.0, rel=1e-15)
    assert convert(square_chains, "square chains", "m2") == pytest.approx(24281.14, abs=0.005)


def test_pace_example_of_firefighter_math() -> None:
    """3 chains are 198 ft (NWCG Firefighter Math 4.6)."""
    assert convert(3.0, "chains", "ft") == pytest.approx(198.0, rel=1e-15)


def test_speed_limits_of_part_107() -> None:
    """87 kt is 100.118 mph and 44.757 m/s, while 100 mph is 44.704 m/s (14 CFR 107.51(a); computed)."""
    assert convert(87.0, "kt", "mph") == pytest.approx(100.118, abs=5e-4)
    assert convert(87.0, "kt", "m/s") == pytest.approx(44.757, abs=5e-4)
    assert convert(100.0, "mph", "m/s") == pytest.approx(44.704, abs=1e-12)
    assert convert(400.0, "ft", "m") == pytest.approx(121.92, abs=1e-12)


def test_fixed_points_of_temperature() -> None:
    """32 °F is 0 °C, 212 °F is 100 °C, 0 °C is 273.15 K, and -40 is the same in both, without a stray digit."""
    assert convert(32.0, "fahrenheit", "celsius") == 0.0
    assert convert(212.0, "fahrenheit", "celsius") == 100.0
    assert convert(0.0, "celsius", "kelvin") == 273.15
    assert convert(-40.0, "celsius", "fahrenheit") == -40.0

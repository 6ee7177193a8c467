"""The units that files of the trade use, as exact ratios to the units of the model.

The model keeps metres, square metres, degrees Celsius, metres per second and degrees of arc. Everything else
is converted at the edges. The foot is the international foot of exactly 0.3048 m, and chain and acre follow
from it; the US survey foot was retired at the end of 2022 (85 FR 62698, 5 October 2020) and is taken only
where a file names it as such.
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal, get_args, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from exchange.errors import UnitError
from exchange.geo.unit_words import AMBIGUOUS_WORDS, WORDS

Quantity = Literal["length", "area", "temperature", "speed", "angle"]
QUANTITIES: Final[tuple[Quantity, ...]] = get_args(Quantity)


@dataclass(frozen=True, slots=True)
class Unit:
    """Measure one quantity: ``base = (value - zero) * ratio``.

    Parameters
    ----------
    name
        The unit's English name in the singular, such as ``'foot'``.
    quantity
        What it measures: length, area, temperature, speed or angle.
    ratio
        The size of one step of this unit in the model's unit (m, m², °C, m/s, degree).
    zero
        The reading of this unit at the zero of the model's unit; only temperatures have one.
    """

    name: str
    quantity: Quantity
    ratio: Fraction
    zero: Fraction = Fraction(0)

    def __str__(self) -> str:
        """Return the unit's name."""
        return self.name


_FOOT_M: Final = Fraction("0.3048")
_MILE_M: Final = 5280 * _FOOT_M
_SURVEY_FOOT_M: Final = Fraction(1200, 3937)

# Length. Chain of 66 feet: NIST Handbook 44, Appendix C; nautical mile: NIST SP 811, Appendix B.
METRE = Unit("metre", "length", Fraction(1))
CENTIMETRE = Unit("centimetre", "length", Fraction(1, 100))
KILOMETRE = Unit("kilometre", "length", Fraction(1000))
INCH = Unit("inch", "length", _FOOT_M / 12)
FOOT = Unit("foot", "length", _FOOT_M)
YARD = Unit("yard", "length", 3 * _FOOT_M)
CHAIN = Unit("chain", "length", 66 * _FOOT_M)
MILE = Unit("mile", "length", _MILE_M)
NAUTICAL_MILE = Unit("nautical mile", "length", Fraction(1852))
US_SURVEY_FOOT = Unit("US survey foot", "length", _SURVEY_FOOT_M)
# Area. Acre of 43,560 square feet, ten square chains: NIST Handbook 44, Appendix C.
SQUARE_METRE = Unit("square metre", "area", Fraction(1))
HECTARE = Unit("hectare", "area", Fraction(10_000))
SQUARE_KILOMETRE = Unit("square kilometre", "area", Fraction(1_000_000))
SQUARE_FOOT = Unit("square foot", "area", _FOOT_M**2)
SQUARE_YARD = Unit("square yard", "area", (3 * _FOOT_M) ** 2)
SQUARE_CHAIN = Unit("square chain", "area", (66 * _FOOT_M) ** 2)
ACRE = Unit("acre", "area", 43_560 * _FOOT_M**2)
SQUARE_MILE = Unit("square mile", "area", _MILE_M**2)
# Temperature: BIPM SI brochure, 9th edition, 2.3.1 (kelvin) and NIST SP 811, Appendix B (Fahrenheit).
CELSIUS = Unit("degree Celsius", "temperature", Fraction(1))
FAHRENHEIT = Unit("degree Fahrenheit", "temperature", Fraction(5, 9), Fraction(32))
KELVIN = Unit("kelvin", "temperature", Fraction(1), Fraction("273.15"))
# Speed.
METRE_PER_SECOND = Unit("metre per second", "speed", Fraction(1))
KILOMETRE_PER_HOUR = Unit("kilometre per hour", "speed", Fraction(1000, 3600))
MILE_PER_HOUR = Unit("mile per hour", "speed", _MILE_M / 3600)
KNOT = Unit("knot", "speed", Fraction(1852, 3600))
FOOT_PER_SECOND = Unit("foot per second", "speed", _FOOT_M)
FOOT_PER_MINUTE = Unit("foot per minute", "speed", _FOOT_M / 60)
CHAIN_PER_HOUR = Unit("chain per hour", "speed", 66 * _FOOT_M / 3600)
# Angle.
DEGREE = Unit("degree", "angle", Fraction(1))
ARC_MINUTE = Unit("minute of arc", "angle", Fraction(1, 60))
ARC_SECOND = Unit("second of arc", "angle", Fraction(1, 3600))
RADIAN = Unit("radian", "angle", Fraction(180 / math.pi))
GON = Unit("gon", "angle", Fraction(9, 10))

_UNITS: Final[dict[str, Unit]] = {unit.name: unit for unit in list(globals().values()) if isinstance(unit, Unit)}


# Look-alikes of the degree sign, the masculine ordinal and the ring above, and the primes.
_MARKS: Final = str.maketrans({"\u00ba": "°", "\u02da": "°", "\u2032": "'", "\u2033": '"'})


def units_of(quantity: Quantity) -> tuple[Unit, ...]:
    """Return the units that measure one quantity.

    Raises
    ------
    UnitError
        If `quantity` is none of the five.
    """
    _require_quantity(quantity)
    return tuple(unit for unit in _UNITS.values() if unit.quantity == quantity)


def parse_unit(word: str, *, quantity: Quantity | None = None) -> Unit:
    """Read a unit's word or abbreviation, in any case, with or without accents, dots and spaces.

    Parameters
    ----------
    word
        Such as ``'ft'``, ``'Piés'``, ``'°F'``, ``'deg C'``, ``'sq. ft.'``, ``'km/h'``.
    quantity
        What is measured. Words that mean different things to different people (a bare ``c``, ``f``, ``k``,
        ``m``, ``nm``, ``ch``, ``'``) are read only when it is given.

    Raises
    ------
    UnitError
        If the word is unknown, measures another quantity, or is ambiguous without `quantity`.

    Examples
    --------
    >>> parse_unit("feet").name
    'foot'
    >>> parse_unit("F", quantity="temperature").name
    'degree Fahrenheit'
    """
    if quantity is not None:
        _require_quantity(quantity)
    folded = _fold(word)
    ambiguous = AMBIGUOUS_WORDS.get(folded, {})
    if quantity is None and ambiguous:
        raise UnitError(
            f"the unit {word!r} has more than one meaning",
            remedy=f"Write one of: {', '.join(ambiguous.values())}.",
        )
    name = (ambiguous.get(quantity) if quantity else None) or WORDS.get(folded)
    if name is None:
        raise UnitError(f"{word!r} is no unit known here", remedy=_describe_choice(quantity, folded))
    unit = _UNITS[name]
    if quantity is not None and unit.quantity != quantity:
        raise UnitError(f"{word!r} measures {unit.quantity}, not {quantity}", remedy=_describe_choice(quantity, folded))
    return unit


@overload
def convert(values: float, from_unit: Unit | str, to_unit: Unit | str) -> float: ...
@overload
def convert(values: ArrayLike, from_unit: Unit | str, to_unit: Unit | str) -> NDArray[np.float64]: ...


def convert(values: ArrayLike, from_unit: Unit | str, to_unit: Unit | str) -> float | NDArray[np.float64]:
    """Convert a number or a column from one unit into another of the same quantity.

    Parameters
    ----------
    values
        One number, or an array of any shape; NaN stays NaN.
    from_unit, to_unit
        Units, or words that `parse_unit` reads; a word that is ambiguous alone is read by the other unit's
        quantity.

    Returns
    -------
    float or ndarray of float64
        A float for a single number, otherwise an array of the same shape.

    Raises
    ------
    UnitError
        If a word is unknown or the two measure different quantities.

    Examples
    --------
    >>> convert(212.0, "fahrenheit", "celsius")
    100.0
    >>> convert([1.0, 10.0], "acre", "m2")
    array([ 4046.8564224, 40468.564224 ])
    """
    source, target = _pair(from_unit, to_unit)
    ratio = source.ratio / target.ratio
    # Multiply and divide by whole numbers, so that 212 °F is 100 °C and not 100.00000000000001.
    result = np.asarray(values, dtype=np.float64)
    if source.zero:
        result = result - float(source.zero)
    result = result * float(ratio.numerator) / float(ratio.denominator)
    if target.zero:
        result = result + float(target.zero)
    return float(result) if result.ndim == 0 else result


def _pair(from_unit: Unit | str, to_unit: Unit | str) -> tuple[Unit, Unit]:
    """Return both as units; a word that is ambiguous alone is read last, by the quantity of the other."""
    source = from_unit
    if isinstance(source, str) and _fold(source) not in AMBIGUOUS_WORDS:
        source = parse_unit(source)
    target = _read(to_unit, source)
    source = _read(source, target)
    if source.quantity != target.quantity:
        raise UnitError(
            f"{source} measures {source.quantity}, {target} measures {target.quantity}",
            remedy="Convert between units of one quantity only.",
        )
    return source, target


def _read(unit: Unit | str, other: Unit | str) -> Unit:
    if isinstance(unit, Unit):
        return unit
    return parse_unit(unit, quantity=other.quantity if isinstance(other, Unit) else None)


def _fold(word: str) -> str:
    """Return the word as the tables spell it: no case, accents, spaces or dots; ``/`` for 'per'."""
    text = word.strip().strip("()[]{}").translate(_MARKS)
    text = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c)).casefold()
    text = re.sub(r"\bper\b", "/", text)
    return re.sub(r"[\s._^*·]+", "", text)


def _describe_choice(quantity: Quantity | None, folded: str) -> str:
    units = units_of(quantity) if quantity else tuple(_UNITS.values())
    near = difflib.get_close_matches(folded, [w for w, name in WORDS.items() if _UNITS[name] in units], n=1)
    hint = f"Did you mean {near[0]!r}? " if near else ""
    return f"{hint}Known for {quantity or 'any quantity'}: {', '.join(unit.name for unit in units)}."


def _require_quantity(quantity: str) -> None:
    if quantity not in QUANTITIES:
        raise UnitError(f"{quantity!r} is no quantity", remedy=f"Use one of: {', '.join(QUANTITIES)}.")

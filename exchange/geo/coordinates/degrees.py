"""The grammar of one angle: decimal degrees, degrees and minutes, or degrees, minutes and seconds.

Only the last number of an angle has a fraction; minutes and seconds are below 60; a sign and a hemisphere letter
may not contradict each other. The patterns avoid what RE2 lacks, so that `columns` runs the very same ones.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Final, Literal, NamedTuple

from exchange.errors import CoordinateError

Axis = Literal["longitude", "latitude"]
AngleForm = Literal["DD", "DDM", "DMS"]

LIMIT_DEGREES: Final[dict[Axis | None, float]] = {"latitude": 90.0, "longitude": 180.0, None: 180.0}
AXIS_BY_LETTER: Final[dict[str, Axis]] = {"N": "latitude", "S": "latitude", "E": "longitude", "W": "longitude"}

# Spaces and marks that keyboards, word processors and typesetters put for each other.
_SPACE = "[ \\t\\x{00a0}\\x{2009}\\x{202f}]"
_DEGREE_MARK = "[\\x{00b0}\\x{00ba}\\x{02da}]"
_MINUTE_MARK = "['`\\x{2032}\\x{2018}\\x{2019}\\x{00b4}\\x{02b9}]"
_SECOND_MARK = f'(?:["\\x{{2033}}\\x{{201c}}\\x{{201d}}\\x{{02ba}}]|{_MINUTE_MARK}{{2}})'
_SIGN = "[+\\-\\x{2212}\\x{2013}]"
_HEMISPHERE = "(?i:north|south|east|west|[nsew])"
_LABEL = "(?i:latitude|longitude|lat|long|lon|lng)"

_D = "(?P<degrees>[0-9]{1,3})"
_M = "(?P<minutes>[0-9]{1,2})"
_M_LAST = "(?P<minutes>[0-9]{1,2}(?:[.,][0-9]{1,20})?)"
_S_LAST = "(?P<seconds>[0-9]{1,2}(?:[.,][0-9]{1,20})?)"
_GAP = f"{_SPACE}+"
_DEGREE = f"(?:{_SPACE}*{_DEGREE_MARK}{_SPACE}*|{_GAP})"
_MINUTE = f"(?:{_SPACE}*{_MINUTE_MARK}{_SPACE}*|{_GAP})"
_DEGREE_LETTER = f"{_SPACE}*(?i:degrees|degree|deg|d){_SPACE}*"
_MINUTE_LETTER = f"{_SPACE}*(?i:minutes|minute|min|m)"
_SECOND_LETTER = f"{_SPACE}*(?i:seconds|second|sec|s)"

_BODIES: Final[dict[str, tuple[AngleForm, str]]] = {
    "plain": ("DD", "(?P<degrees>(?:[0-9]{1,3}(?:[.,][0-9]{1,20})?|[.][0-9]{1,20})(?:[eE]-[0-9]{1,2})?)"),
    "degree mark": (
        "DD",
        f"(?P<degrees>[0-9]{{1,3}}(?:[.,][0-9]{{1,20}})?){_SPACE}*(?:{_DEGREE_MARK}|(?i:degrees|degree|deg|d))",
    ),
    "minute marks": ("DDM", f"{_D}{_DEGREE}{_M_LAST}{_SPACE}*{_MINUTE_MARK}?"),
    "minute colons": ("DDM", f"{_D}:{_M_LAST}"),
    "minute dashes": ("DDM", f"{_D}-{_M_LAST}{_MINUTE_MARK}?"),
    "minute letters": ("DDM", f"{_D}{_DEGREE_LETTER}{_M_LAST}(?:{_MINUTE_LETTER})?"),
    "second marks": ("DMS", f"{_D}{_DEGREE}{_M}{_MINUTE}{_S_LAST}{_SPACE}*{_SECOND_MARK}?"),
    "second colons": ("DMS", f"{_D}:{_M}:{_S_LAST}"),
    "second dashes": ("DMS", f"{_D}-{_M}-{_S_LAST}{_SECOND_MARK}?"),
    # The third letter is always that of the seconds, never the south.
    "second letters": ("DMS", f"{_D}{_DEGREE_LETTER}{_M}{_MINUTE_LETTER}{_SPACE}*{_S_LAST}{_SECOND_LETTER}"),
    # Without marks, as ICAO Doc 8126 and aviation notices write: 2 digits of degrees of latitude, 3 of longitude.
    "latitude without marks": ("DDM", "(?P<degrees>[0-9]{2})(?P<minutes>[0-9]{2}(?:[.][0-9]{1,20})?)"),
    "longitude without marks": ("DDM", "(?P<degrees>[0-9]{3})(?P<minutes>[0-9]{2}(?:[.][0-9]{1,20})?)"),
    "latitude seconds without marks": (
        "DMS",
        "(?P<degrees>[0-9]{2})(?P<minutes>[0-9]{2})(?P<seconds>[0-9]{2}(?:[.][0-9]{1,20})?)",
    ),
    "longitude seconds without marks": (
        "DMS",
        "(?P<degrees>[0-9]{3})(?P<minutes>[0-9]{2})(?P<seconds>[0-9]{2}(?:[.][0-9]{1,20})?)",
    ),
}
STYLES: Final[dict[str, AngleForm]] = {style: form for style, (form, _) in _BODIES.items()}


class Angle(NamedTuple):
    """Hold one parsed angle.

    Parameters
    ----------
    degrees
        Signed degrees; north and east are positive.
    axis
        What the text says it is by letter or label, or what the caller said; ``None`` where neither does.
    form
        DD, DDM or DMS.
    step_degrees
        One step of the last digit written.
    has_letter, has_sign
        Whether a hemisphere letter or a sign was written.
    """

    degrees: float
    axis: Axis | None
    form: AngleForm
    step_degrees: float
    has_letter: bool
    has_sign: bool

    @property
    def is_stated(self) -> bool:
        """Tell whether the text leaves no doubt about the hemisphere: plain decimals are signed numbers."""
        return self.has_letter or self.has_sign or self.form == "DD"


def pattern_of(style: str) -> str:
    r"""Return the full RE2 pattern of one style; Python's `re` reads it after `\x{...}` is spelled out."""
    return (
        f"^{_SPACE}*(?:(?P<label>{_LABEL})[.]?{_SPACE}*[:=]?{_SPACE}*)?(?P<before>{_HEMISPHERE})?{_SPACE}*"
        f"(?P<sign>{_SIGN})?{_SPACE}*{_BODIES[style][1]}{_SPACE}*(?P<after>{_HEMISPHERE})?{_SPACE}*$"
    )


@cache
def _compiled() -> dict[str, re.Pattern[str]]:
    return {style: re.compile(to_python(pattern_of(style))) for style in STYLES}


def to_python(pattern: str) -> str:
    r"""Return an RE2 pattern as Python's `re` spells it: `\x{2032}` is `\u2032`, and `$` is the very end."""
    return re.sub(r"\\x\{([0-9a-f]{4})\}", r"\\u\1", pattern).removesuffix("$") + r"\Z"


def parse_angle(text: str, *, axis: Axis | None = None) -> Angle:
    """Read one angle.

    Parameters
    ----------
    text
        Such as ``40.20361``, ``40,20361``, ``N 40° 12.217'``, ``40:12:13.0N``, ``0652542W``.
    axis
        What it must be; a letter or label that says otherwise is refused.

    Raises
    ------
    CoordinateError
        If the text is no angle, or one that cannot be.

    Examples
    --------
    >>> parse_angle("147°36.262'W").degrees
    -147.60436666666666
    """
    found = [(style, match) for style, pattern in _compiled().items() if (match := pattern.match(text))]
    if not found:
        raise CoordinateError(f"{text!r} is no angle", remedy=_suggest(text))
    refusals = []
    for style, match in found:
        try:
            return _build(text, style, match, axis)
        except CoordinateError as refusal:
            refusals.append(refusal)
    raise refusals[0]


def _build(text: str, style: str, match: re.Match[str], axis: Axis | None) -> Angle:
    groups = match.groupdict()
    letter = _read_letter(text, groups["before"], groups["after"])
    sign = _read_sign(text, groups["sign"], letter)
    found_axis = _read_axis(text, letter, groups["label"], axis)
    if style.endswith("without marks") and not (found_axis and style.startswith(found_axis)):
        raise CoordinateError(
            f"{text!r} has no marks between degrees and minutes",
            remedy="Write DDMM or DDMMSS for a latitude and DDDMM or DDDMMSS for a longitude, with N, S, E or W.",
        )
    if style.endswith("dashes") and not letter:
        raise CoordinateError(f"{text!r} needs a hemisphere letter", remedy="Add N, S, E or W, or use colons.")
    parts = [groups[name] for name in ("degrees", "minutes", "seconds") if groups.get(name)]
    degrees = _add_up(text, [float(part.replace(",", ".")) for part in parts], found_axis)
    form = STYLES[style]
    return Angle(
        -degrees if sign == "-" else degrees,
        found_axis,
        form,
        find_step_degrees(parts),
        bool(letter),
        bool(groups["sign"]),
    )


def _read_letter(text: str, before: str | None, after: str | None) -> str:
    if before and after:
        raise CoordinateError(f"{text!r} has two hemisphere letters", remedy="Write one, before or after the angle.")
    return (before or after or "")[:1].upper()


def _read_sign(text: str, sign: str | None, letter: str) -> str:
    """Return '-' for south and west, '+' otherwise."""
    written = "" if not sign else "+" if sign == "+" else "-"
    by_letter = "" if not letter else "-" if letter in "SW" else "+"
    if written and by_letter and written != by_letter:
        raise CoordinateError(f"{text!r} has a sign and a letter that contradict each other", remedy="Write only one.")
    return written or by_letter or "+"


def _read_axis(text: str, letter: str, label: str | None, axis: Axis | None) -> Axis | None:
    by_letter = AXIS_BY_LETTER.get(letter)
    by_label: Axis | None = None if not label else "latitude" if label.lower().startswith("la") else "longitude"
    stated = {name for name in (by_letter, by_label, axis) if name}
    if len(stated) > 1:
        raise CoordinateError(
            f"{text!r} is a {by_letter or by_label}, not a {axis or by_label}",
            remedy="Check whether latitude and longitude are swapped.",
        )
    return stated.pop() if stated else None


def _add_up(text: str, numbers: list[float], axis: Axis | None) -> float:
    for number, name in zip(numbers[1:], ("minutes", "seconds"), strict=False):
        if number >= 60.0:
            raise CoordinateError(f"{text!r} has {number:g} {name}", remedy=f"The {name} must be below 60.")
    degrees = add_up(*numbers)
    limit = LIMIT_DEGREES[axis]
    if degrees > limit:
        raise CoordinateError(
            f"{text!r} is not on the earth", remedy=f"A {axis or 'longitude'} lies between -{limit:g} and {limit:g}."
        )
    return degrees


def add_up(degrees: float, minutes: float = 0.0, seconds: float = 0.0) -> float:
    """Return degrees, minutes and seconds as degrees; numbers or columns."""
    return degrees + (minutes * 60.0 + seconds) / 3600.0


def find_step_degrees(parts: list[str]) -> float:
    """Return one step of the last digit, for the texts of degrees, minutes and seconds as far as they are written."""
    mantissa, _, exponent = parts[-1].lower().partition("e")
    decimals = len(re.split("[.,]", mantissa)[1]) if re.search("[.,]", mantissa) else 0
    return float(10.0 ** (int(exponent or 0) - decimals) / 60.0 ** (len(parts) - 1))


def _suggest(text: str) -> str:
    if re.search(r"[0-9'\"\u2032\u2033]\s*[oO]\b", text):
        return "O is west in Spanish and French and east in German: write W or E."
    return (
        "Write decimal degrees, or degrees and minutes, or degrees, minutes and seconds, with N, S, E or W or a sign."
    )

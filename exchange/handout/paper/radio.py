"""The list as it is read out over the radio: one digit at a time, one spot a paragraph."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

from exchange.geo.coordinates import format_positions

if TYPE_CHECKING:
    from exchange.geo.coordinates.formatting import OutputForm
    from exchange.model.detections import Detections

LETTERS: Final = {
    word[0].upper(): word
    for word in (
        *("Alfa", "Bravo", "Charlie", "Delta", "Echo", "Foxtrot", "Golf", "Hotel", "India", "Juliett", "Kilo", "Lima"),
        *("Mike", "November", "Oscar", "Papa", "Quebec", "Romeo", "Sierra", "Tango", "Uniform", "Victor", "Whiskey"),
        *("X-ray", "Yankee", "Zulu"),
    )
}
"""The code words of the ITU Radio Regulations, Appendix 14."""

DIGITS: Final = dict(enumerate(("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")))
SIGNS: Final = {"-": "dash", ".": "decimal", "°": "degrees", "'": "minutes", '"': "seconds", "/": "slash"}
DIRECTIONS: Final = {"N": "north", "S": "south", "E": "east", "W": "west"}

HEADING: Final = (
    "Read slowly, a pause at each line; the receiver reads back the number and the position before the next one.\n"
    "An aid, not an order: the incident's command, licensed practice and local rules decide.\n"
)


def write_radio_script(spots: Detections, target: Path, *, title: str = "", form: OutputForm = "DDM") -> None:
    """Write spots, in the order they are given, as a plain text to read out.

    Parameters
    ----------
    spots
        The list.
    target
        The file to write, UTF-8.
    title
        The fire's name.
    form
        How positions are read: ``'DDM'`` is the common practice with aircraft, a grid form with ground crews.

    Raises
    ------
    CoordinateError
        If a position is not covered by the form.
    """
    positions = format_positions(spots.longitude, spots.latitude, form).tolist()
    blocks = [_read_spot(spots, row, position, form) for row, position in enumerate(positions)]
    count = f"{len(spots)} spots, positions in WGS 84"
    head = f"{title or 'Hotspots'}: {count}.\n{HEADING}"
    target.write_text("\n".join([head, *blocks]), encoding="utf-8", newline="\n")


def spell(text: str) -> str:
    """Return letters and digits as the words they are read out by; every other sign by its name, or left out.

    Examples
    --------
    >>> spell("H-014")
    'Hotel dash zero one four'
    """
    words = (_read_sign(sign) for sign in text.upper())
    return " ".join(word for word in words if word)


def spell_position(text: str, form: OutputForm) -> str:
    """Return a position as it is read out: directions by their words, digits one at a time.

    Examples
    --------
    >>> spell_position("N 44°31.212' W 114°00.215'", "DDM")
    'north, four four degrees three one decimal two one two minutes; west, one one four degrees zero zero decimal \
two one five minutes'
    >>> spell_position("12T TQ 616 343", "USNG")
    'one two Tango, Tango Quebec, six one six, three four three'
    """
    if form in ("USNG", "MGRS", "UTM"):
        return ", ".join(spell(part) for part in text.split())
    halves = re.findall(r"([NSEW])\s*([^NSEW]+)", text)
    return "; ".join(f"{DIRECTIONS[letter]}, {spell(numbers)}" for letter, numbers in halves)


def _read_sign(sign: str) -> str:
    return DIGITS[int(sign)] if sign in "0123456789" else LETTERS.get(sign) or SIGNS.get(sign, "")


def _read_spot(spots: Detections, row: int, position: str, form: OutputForm) -> str:
    number = spots.id[row]
    lines = [f"{number or spots.name[row] or 'spot without a number'}", f"  Spot {spell(number)}." if number else ""]
    lines += [f"  Position: {spell_position(position, form)}." if position else "  Position not known."]
    if spots.temperature[row] == spots.temperature[row]:
        lines.append(f"  Heat: {spell(f'{spots.temperature[row]:.0f}')} degrees Celsius.")
    lines += [f"  Status: {spots.status[row]}."] if spots.status[row] else []
    return "\n".join(line for line in lines if line) + "\n"

"""Short names for spots: from their permanent number, the same each time, and never one for two spots.

Every number has a fixed row of names it would take, the most readable first; the list is gone through in its order,
and each spot takes the first of its names that is free. Which names a number would take hangs on the number and
the limits alone, so a spot that is handed out again has the name it had, and spots that are added at the end of the
list change nobody's. What a manifest says was given already comes before all.
"""

from __future__ import annotations

import hashlib
import math
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from exchange.errors import OptionError
from exchange.handout.letters import Letters

LOOKS_LIKE = str.maketrans({"o": "0", "q": "0", "i": "1", "l": "1", "|": "1"})
"""Letters that are taken for a digit, on a small screen and over the radio's copied note."""

MIXED_UP = "OoQqIiLl|"
"""Letters that no shortened name has where it may have others."""

CODE_LENGTH = 5
_MIXED_UP = re.compile(f"[{MIXED_UP}]")
_NUMBER = re.compile(r"([A-Z]{1,8})-([0-9]{3,9})")


@dataclass(frozen=True)
class ShortNames:
    """The names of a list's spots, in the order of its numbers.

    Attributes
    ----------
    names
        One a number.
    shortened
        How many differ from their number.
    renamed
        Numbers whose earlier name the limits do not allow any more.
    """

    names: list[str]
    shortened: int
    renamed: list[str]


def give_short_names(
    numbers: Sequence[str], *, length: int = 0, letters: Letters | None = None, earlier: Mapping[str, str] | None = None
) -> ShortNames:
    """Return a short name for each number.

    Parameters
    ----------
    numbers
        Permanent numbers or foreign identifiers, no two the same.
    length
        Most letters of a name; 0 is without limit.
    letters
        Which letters a name may have; every one that can be shown, if not given.
    earlier
        Names that were given already, by number; those of numbers that are not in the list stay taken.

    Raises
    ------
    OptionError
        When there are more spots than names.

    Examples
    --------
    >>> give_short_names(["H-014", "H-1014"], length=6, letters=Letters("A-Z0-9")).names
    ['H014', 'H1014']
    >>> give_short_names(["H-014", "H-1014"], length=10).names
    ['H-014', 'H-1014']
    """
    spelling = _Spelling(length, letters or Letters())
    at_once = None if earlier else spelling.name_at_once(numbers)
    if at_once is not None:
        return ShortNames(at_once, sum(map(str.__ne__, at_once, numbers)), [])
    taken = _Taken()
    held = {n: name for n, name in (earlier or {}).items() if spelling.allows(name)}
    for name in held.values():
        taken.add(name)
    names = [held[number] if number in held else taken.take(spelling.list_names(number), number) for number in numbers]
    return ShortNames(
        names,
        shortened=sum(name != number for name, number in zip(names, numbers, strict=True)),
        renamed=[number for number in numbers if number in (earlier or {}) and number not in held],
    )


@dataclass
class _Taken:
    """The names that are given."""

    folded: set[str] = field(default_factory=set)
    look_alikes: set[str] = field(default_factory=set)
    shortened_look_alikes: set[str] = field(default_factory=set)

    def add(self, name: str) -> None:
        self.folded.add(_fold(name))
        self.look_alikes.add(find_look_alike(name))

    def take(self, names: Iterator[str], number: str) -> str:
        """Return the first name that is free: a shortened one looks like no other, and nothing looks like it."""
        for name in names:
            look_alike = find_look_alike(name)
            if name == number:
                is_free = _fold(name) not in self.folded and look_alike not in self.shortened_look_alikes
            else:
                is_free = look_alike not in self.look_alikes
            if is_free:
                self.add(name)
                if name != number:
                    self.shortened_look_alikes.add(look_alike)
                return name
        raise OptionError(
            f"the profile has room for {len(self.folded)} names, and {number[:60]!r} needs another",
            remedy="Hand out fewer spots, or use a profile with longer names.",
        )


def find_look_alike(name: str) -> str:
    """Return a text that names have in common where one is taken for the other: O for 0, I for 1, h for H."""
    return _fold(name).translate(LOOKS_LIKE)


def _fold(name: str) -> str:
    return name.lower() if name.isascii() else unicodedata.normalize("NFKC", name).casefold()


@dataclass(frozen=True)
class _Spelling:
    """The names that numbers would take within a length and letters."""

    length: int
    letters: Letters
    alphabet: str = field(init=False)

    def __post_init__(self) -> None:
        listed = self.letters.listed or "ABCDEFGHJKMNPRSTUVWXYZ23456789"
        object.__setattr__(self, "alphabet", _choose_alphabet(listed))

    def allows(self, name: str) -> bool:
        return bool(name) and (not self.length or len(name) <= self.length) and self.letters.allow(name)

    def name_at_once(self, numbers: Sequence[str]) -> list[str] | None:
        """Return the names of a list of numbers of one series, where all are readable; else ``None``.

        The names are those that going through the list one by one would give: each is the first of its number, and
        no two are alike.
        """
        matches = list(map(_NUMBER.fullmatch, numbers))
        series = {match[1] for match in matches if match}
        if len(series) != 1 or not all(matches) or _MIXED_UP.search("".join(series)):
            return None
        if not self.letters.allow_letters("".join(set("".join(numbers)) - {"-"})):
            return None
        most = self.length or max(map(len, numbers))
        if self.letters.allow_letters("-") and max(map(len, numbers)) <= most:
            return list(numbers)
        names = [n if len(n) <= most and self.letters.allow_letters("-") else n.replace("-", "") for n in numbers]
        return names if max(map(len, names)) <= most else None

    def list_names(self, number: str) -> Iterator[str]:
        """Yield the names a number would take, the most readable first, until every possible one has come."""
        if self.allows(number):
            yield number
        yield from filter(self.allows, self.list_readable(number))
        yield from self.list_coded(number)

    def list_readable(self, number: str) -> Iterator[str]:
        match = _NUMBER.fullmatch(number)
        if not match:
            if not self.length:
                yield self.letters.fit(number)
            yield self.drop_mixed_up(number)
            return
        series, digits = self.drop_mixed_up(match[1]), match[2]
        for count in (f"-{digits}", digits, digits.lstrip("0") or "0"):
            if self.letters.allow_letters(count):
                yield series + count
        if self.length and series:
            yield self.code_count(series, int(digits))

    def drop_mixed_up(self, text: str) -> str:
        """Return a text in the letters of the profile, without those that are taken for others."""
        if text.isascii() and self.letters.allow(text) and not _MIXED_UP.search(text):
            return text
        return self.letters.fit("".join(letter for letter in self.letters.fit(text) if letter not in MIXED_UP))

    def code_count(self, series: str, count: int) -> str:
        """Return a count too long for its digits as the series' first letter and a code that starts with a letter."""
        first = [letter for letter in self.alphabet if letter.isalpha()]
        places = self.length - 2
        rest, code = count, ""
        for _ in range(places):
            rest, digit = divmod(rest, len(self.alphabet))
            code = self.alphabet[digit] + code
        return series[0] + first[rest] + code if places >= 0 and rest < len(first) else ""

    def list_coded(self, number: str) -> Iterator[str]:
        """Yield a head of the number with a code made from the whole of it, then all codes there are."""
        digest = int.from_bytes(hashlib.sha256(number.encode("utf-8", "surrogatepass")).digest(), "big")
        base = len(self.alphabet)
        width = min(self.length or CODE_LENGTH, CODE_LENGTH)
        room = (self.length or 2 * CODE_LENGTH + 2) - width
        head = self.drop_mixed_up(number)[: min(room, CODE_LENGTH + 2)].strip()
        capacity = base**width
        for turn in range(min(capacity, 64)):
            yield head + self.write_code((digest + turn) % capacity, width)
        width = self.length or 2 * CODE_LENGTH
        capacity = base**width
        step = _find_coprime(digest >> 128, capacity)
        for turn in range(capacity):
            yield self.write_code((digest + turn * step) % capacity, width)

    def write_code(self, value: int, width: int) -> str:
        code = ""
        for _ in range(width):
            value, digit = divmod(value, len(self.alphabet))
            code = self.alphabet[digit] + code
        return code


def _choose_alphabet(listed: str) -> str:
    """Return the letters and digits to make codes of: of those that look alike one, a digit if there is one.

    Raises
    ------
    OptionError
        When fewer than two remain.
    """
    chosen: dict[str, str] = {}
    plain = [letter for letter in listed if letter.isalnum()]
    for letter in sorted(plain, key=lambda letter: letter in MIXED_UP):
        chosen.setdefault(find_look_alike(letter), letter)
    if len(chosen) < 2:
        raise OptionError(
            f"{listed!r} is too few letters to tell spots apart",
            field="name_letters",
            remedy="Allow at least two letters or digits that do not look alike.",
        )
    return "".join(sorted(chosen.values()))


def _find_coprime(value: int, modulus: int) -> int:
    step = value % modulus | 1
    while math.gcd(step, modulus) != 1:
        step += 2
    return step

"""Which letters a device knows, and texts brought to them."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cached_property

from exchange.errors import OptionError

_RANGE = re.compile(r"(.)-(.)|(.)", re.DOTALL)
# What every reader of XML or of a table hands on as it is: no control, format, surrogate or private character, and
# none that is not assigned; of the spaces only the plain one.
_UNSHOWN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


@dataclass(frozen=True)
class Letters:
    """The letters that a name or a comment may be made of.

    Parameters
    ----------
    spelled
        As in ``A-Z0-9 .-``: ranges and single letters, a hyphen at the start or the end; empty allows every letter
        that can be shown.

    Raises
    ------
    OptionError
        When a range runs backwards, or a letter cannot be shown.

    Examples
    --------
    >>> capitals = Letters("A-Z0-9")
    >>> capitals.fit("Ma\u00f1ana 14!"), capitals.fit("H014")
    ('MANANA14', 'H014')
    """

    spelled: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot be letters of a device."""
        for first, last, _ in _RANGE.findall(self.spelled):
            if first > last:
                raise OptionError(f"the range {first}-{last} runs backwards", field="letters")
        unshown = [letter for letter in self.listed if not _is_shown(letter)]
        if unshown:
            raise OptionError(f"{unshown[0]!r} cannot be shown", field="letters", remedy="Leave it out.")

    @cached_property
    def listed(self) -> str:
        """The letters in order, each once; empty where every letter is allowed."""
        found: dict[str, None] = {}
        for first, last, single in _RANGE.findall(self.spelled):
            found |= dict.fromkeys(single or map(chr, range(ord(first), ord(last) + 1)))
        return "".join(found)

    @cached_property
    def _allowed(self) -> frozenset[str]:
        return frozenset(self.listed)

    def allow(self, text: str) -> bool:
        """Tell whether a text is made of these letters, without blanks at its ends or two side by side."""
        if " " in text and text != " ".join(text.split()):
            return False
        return self.allow_letters(text)

    def fit(self, text: str) -> str:
        """Return a text brought to these letters: other case, without accents, or left out; blanks single."""
        if self.allow(text):
            return text
        single = " ".join(text.split())
        return " ".join("".join(map(self.fit_letter, single)).split())

    def fit_letter(self, letter: str) -> str:
        """Return a letter in other case or without its accents where that is allowed, else nothing."""
        for spelling in (letter, letter.upper(), letter.lower()):
            if self.allow_letters(spelling):
                return spelling
        base = "".join(part for part in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(part))
        for spelling in (base, base.upper(), base.lower()):
            if self.allow_letters(spelling):
                return spelling
        return ""

    def allow_letters(self, text: str) -> bool:
        """Tell whether each letter of a text is allowed, wherever it stands."""
        if self.spelled:
            return self._allowed.issuperset(text)
        return (text.isascii() and text.isprintable()) or all(map(_is_shown, text))


def _is_shown(letter: str) -> bool:
    return letter == " " or (unicodedata.category(letter) not in _UNSHOWN and not letter.isspace())

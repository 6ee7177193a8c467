"""Which spot of a list a name means: by what a device was handed, then by number, aliases followed."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import NamedTuple

from exchange.errors import ModelError
from exchange.model.detections import Detections
from exchange.model.manifest import Manifest
from exchange.model.spot_number import find_aliases, split_aliases

# The letters and the count may be apart by a blank or a mark (h 14, H_014, H.14); what follows with another three
# digits is another kind of name (H1-004).
_NUMBER = re.compile(r"(?<![^\W_])([^\W\d_]{1,8})[ _.#/\-]{0,3}(\d{1,9})(?!\d|[^\W_]|[-_.]\d{3})")
_BARE = re.compile(r"\s*#?\s*(\d{1,9})\s*")
_BOUNDARY = re.compile(r"(?<=[^\W_])(?![^\W_])")
_DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2212"), "-")
# Direction marks that phones put around text of right-to-left scripts, and blanks of no width.
_INVISIBLE = dict.fromkeys((0x200B, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A), 0xFEFF))

Key = tuple[str, int]


class ReadName(NamedTuple):
    """Hold what a name says.

    Attributes
    ----------
    spots
        Rows of the list that it names.
    rest
        What else stands in the name.
    missing
        A number that the name says, itself or by the manifest, and that the list does not have; or empty.
    """

    spots: frozenset[int]
    rest: str
    missing: str = ""


class SpotNames:
    """Find spots by the names they go by.

    Parameters
    ----------
    spots
        The list; ``id`` holds the numbers.
    manifest
        The short names that devices were handed, or ``None``.

    Raises
    ------
    ModelError
        When the list has a number twice.
    """

    def __init__(self, spots: Detections, manifest: Manifest | None = None) -> None:
        self._exact = _index_numbers(spots)
        for alias, number in find_aliases(spots).items():
            self._exact.setdefault(_plain(alias), self._exact[_plain(number)])
        self._by_key: dict[Key, set[int]] = {}
        for name, spot in self._exact.items():
            match = _NUMBER.fullmatch(name)
            if match:
                self._by_key.setdefault((match[1], int(match[2])), set()).add(spot)
        self._series = {series for series, _ in self._by_key}
        self._short: dict[str, tuple[set[int], str]] = {}
        if manifest is not None:
            self._add_manifest(manifest)

    def read(self, name: str, *, is_number: bool = False) -> ReadName:
        """Return the spots that a name says: of the manifest first, else by number.

        Parameters
        ----------
        name
            As it came.
        is_number
            Whether the field holds nothing but numbers, so that a bare ``14`` may be one.
        """
        plain = _plain(name)
        if not plain:
            return ReadName(frozenset(), "")
        return self._read_short(plain) or self._read_number(plain, is_number=is_number)

    def find(self, number: str) -> int:
        """Return the row of a number or alias as a list writes it, or -1."""
        return self._exact.get(_plain(number), -1)

    def _add_manifest(self, manifest: Manifest) -> None:
        rows = zip(manifest.short_name.tolist(), manifest.number.tolist(), manifest.aliases.tolist(), strict=True)
        for short, number, aliases in rows:
            found = {self.find(each) for each in (number, *split_aliases(aliases))} - {-1}
            if short:
                spots, missing = self._short.get(_plain(short), (set[int](), ""))
                self._short[_plain(short)] = (spots | found, missing if found else missing or number)

    def _read_short(self, plain: str) -> ReadName | None:
        """Read a name that is a short name, or begins with one."""
        if not self._short:
            return None
        for end in [len(plain), *reversed([match.start() for match in _BOUNDARY.finditer(plain[:64])])]:
            found = self._short.get(plain[:end].strip())
            if found:
                return ReadName(frozenset(found[0]), plain[end:].strip(), found[1])
        return None

    def _read_number(self, plain: str, *, is_number: bool) -> ReadName:
        if plain in self._exact:
            return ReadName(frozenset([self._exact[plain]]), "")
        if is_number and len(self._series) == 1 and (bare := _BARE.fullmatch(plain)):
            return self._gather([(next(iter(self._series)), int(bare[1]))], "")
        if (whole := _NUMBER.fullmatch(plain)) and whole[1] in self._series:
            return self._gather([(whole[1], int(whole[2]))], "")
        keys = [(match[1], int(match[2])) for match in _NUMBER.finditer(plain) if match[1] in self._series]
        rest = _NUMBER.sub(lambda match: " " if match[1] in self._series else match[0], plain)
        return self._gather(keys, " ".join(rest.split()))

    def _gather(self, keys: Iterable[Key], rest: str) -> ReadName:
        keys = list(keys)
        spots = {spot for key in keys for spot in self._by_key.get(key, ())}
        missing = next((f"{series}-{count:03d}" for series, count in keys if (series, count) not in self._by_key), "")
        return ReadName(frozenset(spots), rest, missing)


def _index_numbers(spots: Detections) -> dict[str, int]:
    numbers = [_plain(number) for number in spots.id.tolist()]
    index = {number: row for row, number in enumerate(numbers) if number}
    if len(index) < len(numbers) - numbers.count(""):
        twice = next(number for row, number in enumerate(numbers) if number and index[number] != row)
        raise ModelError(f"the list has the number {twice!r} twice", field="id", remedy="Give each spot its own.")
    return index


def _plain(name: str) -> str:
    """Return a name in capitals, with plain dashes, digits and blanks."""
    if name.isascii():
        return " ".join(name.upper().split()) if " " in name or "\t" in name or "\n" in name else name.upper()
    plain = unicodedata.normalize("NFKC", name).translate(_INVISIBLE).translate(_DASHES)
    return " ".join(plain.upper().split())

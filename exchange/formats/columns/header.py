"""Take a column's name apart into the word for what it holds and the unit, zone or form stated beside it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from exchange.errors import OptionError, UnitError
from exchange.formats.columns.targets import EPOCH_STEPS, POSITION_TARGETS, SHARE_RATIOS, TARGETS
from exchange.formats.columns.words import column_aliases, fold, fold_key
from exchange.formats.time_text import parse_zone
from exchange.geo.units import QUANTITIES, parse_unit

_BRACKETED = re.compile(r"\s*(.+?)[\s_]*[(\[{]\s*([^()\[\]{}]+?)\s*[)\]}]\s*")
_CUT = re.compile(r"[\s_\-,/:;.]+|(?<=[a-z])(?=[A-Z])|(?<=\w)(?=°)")
_MARKS = re.compile(r"[()\[\]{}%°'\"]")
_MOST_CUTS = 3
_EPOCH_WORDS = re.compile(r"\b(epoch|unix|posix|since 1970\S*)\b")
_WGS84 = frozenset({"wgs84", "wgs1984", "epsg4326", "crs84", "decimal", "decimaldegrees", "decdeg"})
_FORMS = frozenset({"dd", "ddm", "dms"})


@dataclass(frozen=True)
class Header:
    """What a column's name says of itself.

    Attributes
    ----------
    name
        As it came.
    target
        The model column or form of position that the word means.
    stated
        The unit, zone or form written beside the word, as it came; empty where none is.
    """

    name: str
    target: str
    stated: str = ""


@lru_cache(maxsize=4096)
def read_header(name: str) -> Header | None:
    """Return what a column's name says, or ``None`` where no plain word in it is known.

    >>> read_header("temp (F)"), read_header("height_ft").stated
    (Header(name='temp (F)', target='temperature', stated='F'), 'ft')
    """
    whole = column_aliases().get(fold_key(name))
    if whole and not _MARKS.search(name):
        return Header(name, whole)
    parted = _read_parted(name)
    return parted or (Header(name, whole) if whole else None)


def _read_parted(name: str) -> Header | None:
    aliases = column_aliases()
    for word, stated in _split(name):
        target = aliases.get(fold_key(word))
        if target and is_stated_for(target, stated):
            return _settle_epoch(Header(name, target, stated))
    return None


def _split(name: str) -> Iterator[tuple[str, str]]:
    """Yield the ways to part a name into a word and what is stated beside it, the likeliest first."""
    bracketed = _BRACKETED.fullmatch(name)
    if bracketed:
        yield bracketed[1], bracketed[2]
    cuts = [match.span() for match in _CUT.finditer(name)]
    for start, end in reversed(cuts[-_MOST_CUTS:]):
        if name[:start].strip() and name[end:].strip():
            yield name[:start], name[end:].strip(" ()[]{}")
    if cuts and is_zone(name[: cuts[0][0]]):
        yield name[cuts[0][1] :], name[: cuts[0][0]]


def is_stated_for(target: str, stated: str) -> bool:
    """Tell whether a text is a unit, zone or form that can stand beside the word for ``target``."""
    if target in POSITION_TARGETS:
        return _is_stated_for_position(target, stated)
    kind, quantity = TARGETS[target].kind, TARGETS[target].quantity
    if kind in ("time", "date", "epoch"):
        return (
            is_zone(stated) or is_local(stated) or is_epoch(stated) or (kind == "epoch" and fold(stated) in EPOCH_STEPS)
        )
    if quantity == "share":
        return fold(stated) in SHARE_RATIOS
    return quantity is not None and is_unit(stated, quantity)


def _is_stated_for_position(target: str, stated: str) -> bool:
    if target in ("longitude", "latitude"):
        key = fold_key(stated)
        return key in _WGS84 or key in _FORMS or is_unit(stated, "angle")
    return target in ("easting", "northing") and is_unit(stated, "length")


def is_unit(text: str, quantity: str) -> bool:
    """Tell whether a text is a unit of a quantity."""
    try:
        parse_unit(text, quantity=next(known for known in QUANTITIES if known == quantity))
    except UnitError:
        return False
    return True


def is_zone(text: str) -> bool:
    """Tell whether a text states a time zone: UTC, an offset such as ``UTC-7`` or an IANA name."""
    return read_zone_text(text) != ""


def read_zone_text(text: str) -> str:
    """Return the zone a text states in the spelling that options use, or the empty text.

    >>> read_zone_text("UTC-7"), read_zone_text("zulu"), read_zone_text("lokal")
    ('-07:00', 'UTC', '')
    """
    offset = re.fullmatch(r"(?:utc|gmt)?\s*([+-])(\d{1,2})(?::?(\d\d))?", text.strip(), re.IGNORECASE)
    if offset and int(offset[2]) <= 14:
        return f"{offset[1]}{int(offset[2]):02d}:{offset[3] or '00'}"
    if fold_key(text) in ("utc", "gmt", "z", "zulu"):
        return "UTC"
    if "/" not in text:
        return ""
    try:
        parse_zone(text)
    except OptionError:
        return ""
    return text.strip()


def is_local(text: str) -> bool:
    """Tell whether a text says that times are local, without saying where."""
    return fold_key(text) in ("local", "localtime", "lokal", "ortszeit", "horalocal", "heurelocale", "oralocale")


def is_epoch(text: str) -> bool:
    """Tell whether a text says that times are counted from 1970."""
    return _EPOCH_WORDS.search(fold(text)) is not None


def _settle_epoch(header: Header) -> Header:
    if (
        header.target != "epoch"
        and TARGETS.get(header.target, TARGETS["id"]).kind == "time"
        and is_epoch(header.stated)
    ):
        return Header(header.name, "epoch", _EPOCH_WORDS.sub("", fold(header.stated)).strip(" _-"))
    return header

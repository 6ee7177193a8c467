"""How an earlier list takes part in a merge.

Either all sightings that the list was made of are at hand again: then the list is made anew, and the earlier one
only tells the numbers. Or some are not: then the earlier list goes on, each of its spots with its place as one
sighting, and what is given again of it adds nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.merge.earlier import Earlier
from exchange.merge.keys import KEY_DIGITS
from exchange.merge.listing import SIGHTING_KEYS, SPOT
from exchange.merge.sightings import order_sightings
from exchange.model.detections import Detections
from exchange.model.spot_number import find_aliases

Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]

EARLIER_LIST = "the earlier list"
"""Stands for a sortie where spots of an earlier list take part."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Basis:
    """Hold all rows of a merge.

    Attributes
    ----------
    rows
        The rows given, then earlier sightings that were not given again, then the spots of the earlier list where
        they take part themselves.
    told
        How many of them are sightings: the rows before the spots.
    known
        Row of the earlier list that each row is part of, or -1.
    is_listed
        Whether a row is a spot of the earlier list.
    is_contained
        Whether a row adds nothing, because a spot of the earlier list that takes part itself contains it.
    list
        The earlier list; empty where there is none.
    """

    rows: Detections
    told: int
    known: Codes
    is_listed: Mask
    is_contained: Mask
    list: Detections


def lay_basis(given: Detections, earlier: Earlier | Detections | None) -> Basis:
    """Return the rows of a merge: those given, and what the earlier list adds to them."""
    if earlier is None:
        return _plain(given, Detections(), np.full(len(given), -1))
    if isinstance(earlier, Detections):
        earlier = Earlier(spots=earlier)
    sightings, known = _add_earlier_sightings(given, earlier)
    keys, holder, is_keyed = _read_keys(earlier.spots)
    own = _keys_of(sightings)
    known = np.where(known >= 0, known, _look_up(own, keys, holder))
    if _is_all_at_hand(earlier, keys, is_keyed, own, known):
        return _plain(sightings, earlier.spots, known)
    return _continue_list(sightings, earlier.spots, known)


def _plain(rows: Detections, spots: Detections, known: Codes) -> Basis:
    none = np.zeros(len(rows), bool)
    return Basis(rows=rows, told=len(rows), known=known, is_listed=none, is_contained=none, list=spots)


def _continue_list(sightings: Detections, spots: Detections, known: Codes) -> Basis:
    count, listed = len(sightings), len(spots)
    places = spots.replace(sortie=EARLIER_LIST, time=np.where(np.isnat(spots.time), spots.last_seen, spots.time))
    return Basis(
        rows=Detections.join([sightings, places]),
        told=count,
        known=np.concatenate([known, np.arange(listed)]),
        is_listed=np.arange(count + listed) >= count,
        is_contained=np.concatenate([known >= 0, np.zeros(listed, bool)]),
        list=spots,
    )


def _is_all_at_hand(earlier: Earlier, keys: Codes, is_keyed: Mask, own: Codes, known: Codes) -> bool:
    if earlier.sightings is not None:
        return bool(np.isin(np.arange(len(earlier.spots)), known).all())
    return bool(is_keyed.all() and np.isin(keys, own).all())


def _add_earlier_sightings(given: Detections, earlier: Earlier) -> tuple[Detections, Codes]:
    """Return the rows given and the earlier sightings that were not, with the earlier spot where it is known."""
    known = np.full(len(given), -1)
    if earlier.sightings is None or not len(earlier.sightings):
        return given, known
    spot = _find_spots(earlier)
    again = _match_again(given, earlier.sightings)
    known[again >= 0] = spot[again[again >= 0]]
    rest = np.setdiff1d(np.arange(len(spot)), again)
    ours = (SPOT, "shift_east_m", "shift_north_m", "flags")
    kept = {name: column for name, column in earlier.sightings.extra.items() if name not in ours}
    added = earlier.sightings.replace(extra=kept).take(rest)
    return Detections.join([given, added]), np.concatenate([known, spot[rest]])


def _find_spots(earlier: Earlier) -> Codes:
    """Return the row of the list that each earlier sighting is part of, by number or alias; -1 where it is none."""
    assert earlier.sightings is not None  # noqa: S101  # the caller saw to it
    row = {number: index for index, number in enumerate(earlier.spots.id.tolist())}
    row |= {alias: row[number] for alias, number in find_aliases(earlier.spots).items() if number in row}
    column = earlier.sightings.extra.get(SPOT, np.full(len(earlier.sightings), "", object))
    return np.array([row.get(number, -1) for number in column.tolist()], np.int64)


def _match_again(given: Detections, earlier: Detections) -> Codes:
    """Return for each row given the earlier sighting that it is; -1 where it is a new one.

    The same content is the same sighting; a file in between may have rounded it, so a row with the same time, sortie
    and place to a few centimetres is taken for it as well.
    """
    first, second = _keys_of(given), _keys_of(earlier)
    order = np.argsort(second, kind="stable")
    again = _look_up(first, second[order], order)
    for names in (True, False):
        left = np.setdiff1d(np.flatnonzero(again < 0), np.flatnonzero(~given.has_position()))
        open_rows = np.setdiff1d(np.arange(len(earlier)), again)
        found = _match_rounded(given.take(left), earlier.take(open_rows), with_sortie=names)
        again[left[found >= 0]] = open_rows[found[found >= 0]]
    return again


def _match_rounded(given: Detections, earlier: Detections, *, with_sortie: bool) -> Codes:
    def write(rows: Detections, shift: float) -> list[tuple[float, float, int, str]]:
        place = (np.floor(rows.longitude * 1e6 + shift), np.floor(rows.latitude * 1e6 + shift))
        names = rows.sortie.tolist() if with_sortie else [""] * len(rows)
        times = (rows.time.astype(np.int64) // 1000).tolist()
        return list(zip(place[0].tolist(), place[1].tolist(), times, names, strict=True))

    found = np.full(len(given), -1)
    for shift in (0.0, 0.5):
        rows = {text: row for row, text in reversed(list(enumerate(write(earlier, shift))))}
        taken = set(found.tolist())
        for row, text in enumerate(write(given, shift)):
            match = rows.get(text, -1)
            if found[row] < 0 and match not in taken:
                found[row] = match
                taken.add(match)
                taken.discard(-1)
    return found


def _keys_of(rows: Detections) -> Codes:
    """Return each row's key as it is written into a list; -1 without a position."""
    ordered = order_sightings(rows)
    short = (ordered.key >> np.uint64(64 - 4 * KEY_DIGITS)).astype(np.int64)
    return np.where(ordered.of_row >= 0, short[ordered.of_row] if len(short) else -1, -1)


def _read_keys(spots: Detections) -> tuple[Codes, Codes, Mask]:
    """Return all keys written into a list, sorted, the row each stands in, and which rows have any."""
    column = spots.extra.get(SIGHTING_KEYS)
    texts = [] if column is None else [text.split() if isinstance(text, str) else [] for text in column.tolist()]
    texts = texts or [[] for _ in range(len(spots))]
    holder = np.repeat(np.arange(len(spots)), [len(words) for words in texts])
    keys = np.array([int(word, 16) for words in texts for word in words], np.int64)
    order = np.argsort(keys, kind="stable")
    return keys[order], holder[order], np.array([bool(words) for words in texts], bool)


def _look_up(own: Codes, keys: Codes, holder: Codes) -> Codes:
    if not len(keys):
        return np.full(len(own), -1)
    place = np.minimum(np.searchsorted(keys, own), len(keys) - 1)
    return np.where((keys[place] == own) & (own >= 0), holder[place], -1)

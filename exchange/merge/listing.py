"""The merged list: one row a spot, made of the rows that are part of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.merge.distinct import find_distinct
from exchange.merge.fusing import find_best
from exchange.merge.keys import code_texts
from exchange.merge.naming_sets import SEPARATOR, name_sets
from exchange.model.detections import Detections
from exchange.model.status import UNCHECKED

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

SEEN_BY = "seen_by"
SORTIES_SEEN = "sorties_seen"
SIGHTING_KEYS = "sighting_keys"
SPOT = "spot"
FLAGS = "flags"

NAT = np.datetime64("NaT", "ms")

_BITS = 62


@dataclass(frozen=True, kw_only=True, eq=False)
class Story:
    """Hold what each row tells of its spot; a row is a sighting or a spot of an earlier list.

    Attributes
    ----------
    begin, end
        First and last seen.
    count
        Sightings behind the row.
    hottest, hottest_at, hottest_by
        The highest temperature, when and by whom.
    latest, latest_by
        The last temperature and by whom the spot was last seen.
    seen_by
        The sorties that saw it, joined.
    """

    begin: NDArray[np.datetime64]
    end: NDArray[np.datetime64]
    count: Floats
    hottest: Floats
    hottest_at: NDArray[np.datetime64]
    hottest_by: NDArray[np.object_]
    latest: Floats
    latest_by: NDArray[np.object_]
    seen_by: NDArray[np.object_]


def tell_story(rows: Detections) -> Story:
    """Return what each row tells, from its own columns and those that an earlier merge wrote."""
    by = np.where(rows.sortie != "", rows.sortie, rows.aircraft)
    return Story(
        begin=_or(rows.first_seen, rows.time),
        end=_or(rows.last_seen, rows.time),
        count=np.where(np.isnan(rows.sightings), 1.0, rows.sightings),
        hottest=rows.temperature,
        hottest_at=_or(_instants(rows, "hottest_at"), _or(rows.time, rows.last_seen)),
        hottest_by=_or(_texts(rows, "hottest_by"), by),
        latest=_or(_numbers(rows, "temperature_last"), rows.temperature),
        latest_by=_or(_texts(rows, "last_by"), by),
        seen_by=_or(_texts(rows, SEEN_BY), by),
    )


def list_spots(rows: Detections, group: Codes, longitude: Floats, latitude: Floats, accuracy: Floats) -> Detections:
    """Return one row a group: its place as given, and what its rows tell together.

    Parameters
    ----------
    rows
        The rows of all groups, in canonical order.
    group
        Of each row, from 0 without gaps.
    longitude, latitude, accuracy
        Of each group.
    """
    story = tell_story(rows)
    count = len(longitude)
    last = find_best(group, _order(story.end, group))
    hottest = find_best(group, story.hottest)
    measured = find_best(group, np.where(np.isnan(story.latest), np.nan, _order(story.end, group)))
    seen_by, sorties_seen = _join_seen(story.seen_by, group, count)
    return Detections(
        longitude=longitude,
        latitude=latitude,
        accuracy=accuracy,
        altitude=_mean(rows.altitude, group, count),
        time=story.end[last],
        temperature=_pick(story.hottest, hottest),
        area=_pick(rows.area, find_best(group, np.where(np.isnan(rows.area), np.nan, _order(story.end, group)))),
        confidence=_pick(rows.confidence, find_best(group, rows.confidence)),
        sortie=rows.sortie[last],
        aircraft=rows.aircraft[last],
        status=_join_status(rows.status, group, count),
        first_seen=_first(story.begin, group, count),
        last_seen=_last(story.end, group, count),
        sightings=np.bincount(group, story.count, minlength=count).astype(np.float64),
        name=_pick_text(rows.name, group, count),
        note=_pick_text(rows.note, group, count),
        extra={
            "temperature_last": _pick(story.latest, measured),
            "hottest_at": _pick(story.hottest_at, hottest),
            "hottest_by": _pick(story.hottest_by, hottest),
            "last_by": story.latest_by[last],
            SEEN_BY: seen_by,
            SORTIES_SEEN: sorties_seen,
        },
    )


def _or(values: NDArray[Any], fallback: NDArray[Any]) -> NDArray[Any]:
    if values.dtype.kind == "M":
        return np.where(np.isnat(values), fallback, values)
    if values.dtype.kind == "f":
        return np.where(np.isnan(values), fallback, values)
    return np.where(values == "", fallback, values)


def _numbers(rows: Detections, name: str) -> Floats:
    column = rows.extra.get(name)
    if column is None or column.dtype.kind not in "fiO":
        return np.full(len(rows), np.nan)
    return np.array([np.nan if v is None or isinstance(v, str) else v for v in column.tolist()], np.float64)


def _instants(rows: Detections, name: str) -> NDArray[np.datetime64]:
    column = rows.extra.get(name)
    if column is None:
        return np.full(len(rows), NAT)
    if column.dtype.kind == "M":
        return column.astype("datetime64[ms]")
    return np.array([_read_instant(value) for value in column.tolist()], "datetime64[ms]")


def _read_instant(value: Any) -> np.datetime64:
    """Return the instant that a list kept as ISO text in UTC, as formats without times for foreign columns do."""
    if not isinstance(value, str) or not value.endswith("Z"):
        return NAT
    try:
        return np.datetime64(value.removesuffix("Z"), "ms")
    except ValueError:
        return NAT


def _texts(rows: Detections, name: str) -> NDArray[np.object_]:
    column = rows.extra.get(name)
    if column is None or column.dtype.kind != "O":
        return np.full(len(rows), "", object)
    return np.array([value if isinstance(value, str) else "" for value in column.tolist()], object)


def _order(end: NDArray[np.datetime64], group: Codes) -> Floats:
    """Return a rank by time in which rows without one come first."""
    return np.where(np.isnat(end), -1e30, end.astype(np.int64))


def _pick(values: NDArray[Any], row: Codes) -> NDArray[Any]:
    missing: Any = NAT if values.dtype.kind == "M" else np.nan if values.dtype.kind == "f" else ""
    return np.where(row < 0, missing, values[row]) if len(values) else np.full(len(row), missing)


def _mean(values: Floats, group: Codes, count: int) -> Floats:
    known = ~np.isnan(values)
    number = np.bincount(group[known], minlength=count)
    total = np.bincount(group[known], values[known], minlength=count)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def _first(begin: NDArray[np.datetime64], group: Codes, count: int) -> NDArray[np.datetime64]:
    found = np.full(count, np.iinfo(np.int64).max)
    known = ~np.isnat(begin)
    np.minimum.at(found, group[known], begin[known].astype(np.int64))
    return np.where(found == np.iinfo(np.int64).max, NAT, found.astype("datetime64[ms]"))


def _last(end: NDArray[np.datetime64], group: Codes, count: int) -> NDArray[np.datetime64]:
    found = np.full(count, np.iinfo(np.int64).min)
    known = ~np.isnat(end)
    np.maximum.at(found, group[known], end[known].astype(np.int64))
    return found.astype("datetime64[ms]")


def _join_seen(seen_by: NDArray[np.object_], group: Codes, count: int) -> tuple[NDArray[np.object_], Codes]:
    """Return the sorties that saw each group, joined in the order of the alphabet, and how many they are."""
    code, texts = code_texts(seen_by)
    told = [_split(text) for text in texts]
    names = sorted({name for one in told for name in one})
    if len(names) > _BITS:
        return _join_many(code, told, group, count)
    bit = {name: 1 << index for index, name in enumerate(names)}
    of_text = np.array([sum(bit[name] for name in set(one)) for one in told] or [0], np.int64)
    seen = np.zeros(count, np.int64)
    np.bitwise_or.at(seen, group, of_text[code])
    kinds, kind = np.unique(seen, return_inverse=True)
    joined = [[name for name in names if bit[name] & one] for one in kinds.tolist()]
    texts_of_kinds = np.array([SEPARATOR.join(one) for one in joined] or [""], object)
    return texts_of_kinds[kind], np.array([len(one) for one in joined] or [0], np.int64)[kind]


def _join_many(
    code: Codes, told: Sequence[Sequence[str]], group: Codes, count: int
) -> tuple[NDArray[np.object_], Codes]:
    """Do the same where there are more sorties than a number has bits."""
    names = sorted({name for one in told for name in one})
    place = {name: index for index, name in enumerate(names)}
    listed = np.array([place[name] for one in told for name in one], np.int64)
    length = np.array([len(one) for one in told], np.int64)
    couple = find_distinct(group * len(told) + code)
    holder, which = couple // len(told), couple % len(told)
    step = np.arange(int(length[which].sum())) - np.repeat(np.cumsum(length[which]) - length[which], length[which])
    name = listed[np.repeat((np.cumsum(length) - length)[which], length[which]) + step]
    seen = find_distinct(np.repeat(holder, length[which]) * len(names) + name)
    return name_sets(seen // len(names), seen % len(names), count, names)


def _split(text: str) -> Sequence[str]:
    return [name for part in text.split(SEPARATOR.strip()) if (name := part.strip())]


def _join_status(status: NDArray[np.object_], group: Codes, count: int) -> NDArray[np.object_]:
    """Return the status that the rows of a group agree on; where they do not, or have none, it is unchecked."""
    joined = np.full(count, UNCHECKED, object)
    told = np.flatnonzero(status != "")
    if not len(told):
        return joined
    code, words = code_texts(status[told])
    low, high = np.full(count, len(words)), np.full(count, -1)
    np.minimum.at(low, group[told], code)
    np.maximum.at(high, group[told], code)
    agreed = low == high
    joined[agreed] = np.array(words, object)[low[agreed]]
    return joined


def _pick_text(values: NDArray[np.object_], group: Codes, count: int) -> NDArray[np.object_]:
    picked = np.full(count, "", object)
    told = np.flatnonzero(values != "")[::-1]
    picked[group[told]] = values[told]
    return picked

"""Find the spot of each returned row: by manifest name, then by number, then by place alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from exchange.geo.frame import LocalFrame
from exchange.model.columns import NumberColumn, TextColumn
from exchange.model.detections import Detections
from exchange.status.options import PlaceOptions
from exchange.status.questions import CONFLICT, UNPLACED, shorten
from exchange.status.returned import Returned
from exchange.status.spot_names import ReadName, SpotNames

Rows = NDArray[np.int64]


@dataclass
class Found:
    """Hold which spot each row is about, each column of shape (n,).

    Attributes
    ----------
    spot
        Row of the list, or -1 where the row is not applied.
    kind
        ``CONFLICT`` or ``UNPLACED`` where it is not, else empty.
    words
        Why not, for a person.
    is_named
        Whether a name or number says a spot of the list.
    is_numbered
        Whether one has the form of the list's numbers, if only of one that the list lacks.
    rest
        What else stood in the names.
    given
        The name as it came.
    """

    spot: Rows
    kind: TextColumn
    words: TextColumn
    is_named: NDArray[np.bool_]
    is_numbered: NDArray[np.bool_]
    rest: TextColumn
    given: TextColumn


class SpotFinder:
    """Find spots of one list.

    Parameters
    ----------
    spots
        The list.
    names
        What its spots go by.
    options
        The reach.
    """

    def __init__(self, spots: Detections, names: SpotNames, options: PlaceOptions) -> None:
        self.spots, self.names, self.options = spots, names, options
        self._places = _SpotPlaces(spots)

    def find(self, rows: Returned) -> Found:
        """Return the spot of each row, or why it has none."""
        reads = [self._read_names(rows, row) for row in range(len(rows))]
        found = Found(
            spot=np.array([next(iter(read.spots)) if len(read.spots) == 1 else -1 for read in reads], np.int64),
            kind=_empty(len(rows)),
            words=_empty(len(rows)),
            is_named=np.array([bool(read.spots) for read in reads], np.bool_),
            is_numbered=np.array([bool(read.spots or read.missing) for read in reads], np.bool_),
            rest=_to_texts([read.rest for read in reads]),
            given=_to_texts([self._name_given(rows, row) for row in range(len(rows))]),
        )
        self._settle_names(found, reads)
        self._settle_places(found, rows)
        self._settle_unnumbered(found)
        return found

    def _read_names(self, rows: Returned, row: int) -> ReadName:
        """Return what all names of a row say together."""
        reads = [self.names.read(column[row], is_number=rows.holds_numbers_only) for column in rows.numbers]
        known = {self.spots.name[spot] for read in reads for spot in read.spots}
        # The name that the list itself gives the spot is no word of the person who sent it back.
        reads += [self.names.read(column[row]) for column in rows.names if column[row] not in known]
        if len(reads) == 1:
            return reads[0]
        return ReadName(
            frozenset().union(*(read.spots for read in reads)),
            " ".join(read.rest for read in reads if read.rest),
            next((read.missing for read in reads if read.missing), ""),
        )

    def _name_given(self, rows: Returned, row: int) -> str:
        given = (column[row] for column in (*rows.names, *rows.numbers))
        return next((name for name in given if name), "")

    def _settle_names(self, found: Found, reads: list[ReadName]) -> None:
        for row, read in enumerate(reads):
            if len(read.spots) > 1:
                numbers = " and ".join(sorted(self._number(spot) for spot in read.spots))
                self._refuse(found, row, CONFLICT, f"is named {shorten(found.given[row])!r}, which says {numbers}")
            elif read.spots and read.missing:
                number = self._number(next(iter(read.spots)))
                self._refuse(found, row, CONFLICT, f"names {number} and {read.missing}, which the list does not have")
            elif read.missing:
                self._refuse(found, row, UNPLACED, f"names {read.missing}, which the list does not have")

    def _settle_places(self, found: Found, rows: Returned) -> None:
        near = self._places.look(rows.longitude, rows.latitude, found.spot, self.options.reach_m)
        within = f"within {self.options.reach_m:g} m"
        is_open = found.kind == ""
        for row in np.flatnonzero(is_open & ~found.is_named).tolist():
            if not near.has_place[row]:
                self._refuse(found, row, UNPLACED, "has neither a number of the list nor a place")
            elif near.count[row] == 1:
                found.spot[row] = near.nearest[row]
            elif near.count[row]:
                self._refuse(found, row, UNPLACED, f"has no number, and {near.count[row]} spots lie {within}")
            else:
                words = f"has no number, and no spot lies {within}{self._tell(near, row)}"
                self._refuse(found, row, UNPLACED, words)
        is_apart = is_open & found.is_named & (near.to_named_m > self.options.reach_m)
        for row in np.flatnonzero(is_apart & ((near.count > 0) | (near.to_named_m > self.options.far_m))).tolist():
            number, away = self._number(found.spot[row]), _metres(near.to_named_m[row])
            other = self._tell(near, row) if near.nearest[row] != found.spot[row] else ""
            self._refuse(found, row, CONFLICT, f"names {number} and stands {away} from it{other}")

    def _settle_unnumbered(self, found: Found) -> None:
        placed = np.flatnonzero(found.spot >= 0)
        for row in placed[self.spots.id[found.spot[placed]] == ""].tolist():
            self._refuse(found, row, UNPLACED, "stands at a spot that has no number in the list")

    def _tell(self, near: Near, row: int) -> str:
        if near.nearest[row] < 0:
            return ""
        return f"; the nearest is {self._number(near.nearest[row])}, {_metres(near.nearest_m[row])} away"

    def _refuse(self, found: Found, row: int, kind: str, words: str) -> None:
        found.spot[row], found.kind[row], found.words[row] = -1, kind, words

    def _number(self, spot: int) -> str:
        return str(self.spots.id[spot]) or f"the spot in row {spot + 1} of the list"


@dataclass
class Near:
    """Hold where rows lie among the spots, each column of shape (n,); distances in metres, NaN where unknown."""

    has_place: NDArray[np.bool_]
    count: Rows
    nearest: Rows
    nearest_m: NumberColumn
    to_named_m: NumberColumn


class _SpotPlaces:
    """The places of a list, ready to be searched."""

    def __init__(self, spots: Detections) -> None:
        self._rows = np.flatnonzero(spots.has_position())
        self._x = np.full(len(spots), np.nan)
        self._y = np.full(len(spots), np.nan)
        if len(self._rows):
            from scipy.spatial import cKDTree

            self._frame = LocalFrame.around(spots.longitude, spots.latitude)
            self._x, self._y = self._frame.to_metres(spots.longitude, spots.latitude)
            self._tree = cKDTree(np.column_stack([self._x, self._y])[self._rows])

    def look(self, longitude: NumberColumn, latitude: NumberColumn, named: Rows, reach_m: float) -> Near:
        """Return how many spots lie within reach of each place, the nearest, and how far the named one is."""
        length = len(longitude)
        near = Near(
            ~(np.isnan(longitude) | np.isnan(latitude)),
            np.zeros(length, np.int64),
            np.full(length, -1),
            np.full(length, np.nan),
            np.full(length, np.nan),
        )
        rows = np.flatnonzero(near.has_place)
        if not len(self._rows) or not len(rows):
            return near
        x, y = self._frame.to_metres(longitude[rows], latitude[rows])
        # The far side of the earth has no place in the frame, and is in nobody's reach.
        is_here = np.isfinite(x) & np.isfinite(y)
        rows, x, y = rows[is_here], x[is_here], y[is_here]
        places = np.column_stack([x, y])
        near.count[rows] = self._tree.query_ball_point(places, reach_m, return_length=True)
        near.nearest_m[rows], found = self._tree.query(places)
        near.nearest[rows] = self._rows[found]
        spot = named[rows]
        near.to_named_m[rows] = np.where(spot >= 0, np.hypot(x - self._x[spot], y - self._y[spot]), np.nan)
        return near


def _metres(value: float) -> str:
    return f"{value:,.0f} m"


def _empty(length: int) -> TextColumn:
    return np.full(length, "", dtype=object)


def _to_texts(texts: list[str]) -> TextColumn:
    return np.fromiter(texts, dtype=object, count=len(texts))

"""One track or route while it is being read, from its first fix to its last."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import MalformedError
from exchange.formats.options import ReadOptions
from exchange.formats.properties import build_perimeter
from exchange.formats.text_columns import to_cells
from exchange.formats.xml.characters import restore_text
from exchange.model import Perimeter, Problem, Source, Sources, Track
from exchange.model.columns import to_items
from exchange_gpx.columns import PointBuffer, PointColumns
from exchange_gpx.foreign import read_fixes
from exchange_gpx.names import LAYERS
from exchange_gpx.own import AT, FIX_NATIVE, MARK, read_own_extra, read_own_table
from exchange_gpx.rings import build_geometry
from exchange_gpx.take import COLUMN, EXTENSIONS, LEAF, take_element

if TYPE_CHECKING:
    from lxml.etree import _Element

FORM, ROUTE = "gpx_form", "route"
SEGMENT_EXTENSIONS = "segment_extensions"
_OWN_FIELDS = ("sortie", "aircraft", "height_reference")


@dataclass
class OpenTrack:
    """A track or a route whose end has not been read.

    Attributes
    ----------
    element
        It, as far as it has been read.
    kind
        ``trk`` or ``rte``.
    number
        Counted from 1 in its layer.
    file
        The file's name.
    """

    element: _Element
    kind: str
    number: int
    file: str
    buffer: PointBuffer = field(default_factory=PointBuffer)
    segments: list[tuple[int, int]] = field(default_factory=list)
    segment: int = -1
    segment_extensions: dict[str, str] = field(default_factory=dict)
    given: int = 0
    is_begun: bool = False
    taken_at_first: dict[str, str] | None = None

    def add_rows(self, count: int) -> None:
        """Note that fixes of the segment now open have come."""
        segment = max(self.segment, 0)
        if self.segments and self.segments[-1][0] == segment:
            self.segments[-1] = (segment, self.segments[-1][1] + count)
        else:
            self.segments.append((segment, count))

    def end_segment(self, element: _Element) -> None:
        """Keep what a segment says of itself."""
        text = take_element(element).get(EXTENSIONS)
        if text:
            self.segment_extensions[str(max(self.segment, 0))] = text

    def take(self) -> dict[str, str]:
        """Return what it says of itself so far."""
        return take_element(self.element)

    @property
    def is_own_perimeter(self) -> bool:
        """Whether the house wrote it, for a perimeter."""
        return self.take().get(COLUMN + MARK) == "perimeter"

    def build_piece(self, options: ReadOptions) -> tuple[Track, list[Problem]]:
        """Return the fixes read since the last piece as a track, and what is to be told of them."""
        taken = self.take() if self.taken_at_first is None else self.taken_at_first
        self.taken_at_first = taken
        points = self.buffer.take_all()
        segment = self._take_segments()
        first = self.given + 1
        self.given += points.length
        self.is_begun = True
        source = Sources.of(self.file, LAYERS[self.kind], np.arange(first, first + points.length))
        if COLUMN + MARK in taken:
            return self._build_own(taken, points, segment, source), []
        properties = read_foreign_properties(taken) | self._add_marks()
        name = taken.get("name", "")
        return read_fixes(
            points,
            source=source,
            options=options,
            properties=properties,
            name=name,
            number=self.number,
            segment=segment,
        )

    def find_late_fields(self) -> list[Problem]:
        """Tell what it said of itself only after a piece of it had been given on."""
        taken = self.taken_at_first
        late = sorted(set(self.take()) - set(taken)) if taken is not None else []
        late += [SEGMENT_EXTENSIONS] if self.segment_extensions and taken is not None else []
        place = {"path": self.file, "layer": LAYERS[self.kind], "record": self.number}
        message = "this stands behind the points of a long track and could not be kept"
        return [Problem(message=message, field=name, **place) for name in late]  # type: ignore[arg-type]

    def _build_own(
        self, taken: dict[str, str], points: PointColumns, segment: NDArray[np.int64], source: Sources
    ) -> Track:
        fields = {name: restore_text(taken.get(COLUMN + name, "")) for name in _OWN_FIELDS}
        return read_own_table(
            Track,
            points,
            FIX_NATIVE,
            source=source,
            **fields,
            name=restore_text(taken.get("name", "")),
            number=self.number,
            segment=self._number_segments(taken.get(COLUMN + "segments", ""), segment),
            properties=read_own_properties(taken, source) | self._add_marks(),
        )

    def _number_segments(self, numbers: str, segment: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the segment numbers that the house wrote beside: one a segment, of a route each with its count."""
        if not numbers:
            return segment
        try:
            pairs = [part.partition("x")[::2] for part in numbers.split()]
            named = np.array([int(number) for number, _ in pairs], dtype=np.int64)
            if self.kind == "trk":
                return named[segment]
            spread = np.repeat(named, [int(count) for _, count in pairs])
            first = self.given - len(segment)
            return spread[first : first + len(segment)]
        except (ValueError, IndexError) as error:
            raise MalformedError(
                f"{numbers!r} does not number its segments", path=self.file, record=self.number, field="segments"
            ) from error

    def _take_segments(self) -> NDArray[np.int64]:
        numbers = np.array([number for number, _ in self.segments], dtype=np.int64)
        counts = np.array([count for _, count in self.segments], dtype=np.int64)
        self.segments = []
        return np.repeat(numbers, counts)

    def _add_marks(self) -> dict[str, Any]:
        marks: dict[str, Any] = {FORM: ROUTE} if self.kind == "rte" else {}
        if self.segment_extensions:
            named = _name_segments(self.take().get(COLUMN + "segments", ""))
            marks[SEGMENT_EXTENSIONS] = {named.get(turn, turn): text for turn, text in self.segment_extensions.items()}
        return marks

    def build_perimeter(self) -> Perimeter:
        """Return the perimeter that the house wrote as a closed track.

        Raises
        ------
        MalformedError
            When its rings or fields cannot be read.
        """
        taken = self.take()
        source = Source(self.file, LAYERS[self.kind], self.number)
        rows = Sources.of(self.file, LAYERS[self.kind], np.arange(1, self.buffer.length + 1))
        rings = read_own_table(Track, self.buffer.take_all(), FIX_NATIVE, source=rows, segment=self._take_segments())
        geometry = build_geometry(taken, rings, source)
        properties = read_own_properties(taken, Sources.of(self.file, LAYERS[self.kind], [self.number]))
        name = {"name": restore_text(taken["name"])} if taken.get("name") else {}
        return build_perimeter(properties | name, geometry=geometry, source=source)

    @property
    def place(self) -> int | None:
        """The place among all tracks that the house wrote beside a route, or ``None``."""
        text = self.take().get(COLUMN + AT, "")
        return int(text) if text.isascii() and text.isdigit() else None


def _name_segments(numbers: str) -> dict[str, str]:
    """Return the numbers that the house wrote for the segments of a track, by their turn."""
    return {str(turn): number for turn, number in enumerate(numbers.split())}


def read_foreign_properties(taken: dict[str, str]) -> dict[str, Any]:
    """Return what a stranger's track says of itself, by name."""
    named = {key: text for key, text in taken.items() if text and key != "name" and not key.startswith(("@", LEAF))}
    leaves = {key.removeprefix(LEAF): text for key, text in taken.items() if text and key.startswith(LEAF)}
    return leaves | named


def read_own_properties(taken: dict[str, str], source: Sources) -> dict[str, Any]:
    """Return the foreign fields of a whole track or perimeter that the house wrote, typed as they came."""
    points = PointColumns({key: to_cells([text]) for key, text in taken.items() if key != "name"}, 1)
    values = {name: to_items(column)[0] for name, column in read_own_extra(points, set(), source).items()}
    return {name: value for name, value in values.items() if value is not None and value != ""}

"""A numbered list becomes the files of several devices, and the manifest that leads back from them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from exchange.errors import ModelError
from exchange.formats.manifest_file import MANIFEST_NAME
from exchange.formats.values import to_texts
from exchange.geo.edge import EdgeDistance, measure_to_edge
from exchange.handout.divisions import Divisions
from exchange.handout.file_names import name_files
from exchange.handout.limiting import limit_spots
from exchange.handout.order import Ordering, order_spots
from exchange.handout.order.ordering import OrderName
from exchange.handout.pieces import Units
from exchange.handout.profile import Profile
from exchange.handout.selection import Selection, select_spots
from exchange.handout.short_names import give_short_names
from exchange.handout.splitting import SplitBy, split_rows
from exchange.model import Detections, Manifest, Packet, Problem
from exchange.model.spot_number import ALIASES, is_permanent

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.formats.format import Format

INDEX_NAME = "index.txt"
NEVER = np.datetime64("NaT", "ms")
_TAKEN = (MANIFEST_NAME, INDEX_NAME)


@dataclass(frozen=True, kw_only=True)
class HandoutOptions:
    """State what is handed out and how.

    Attributes
    ----------
    selection
        Which spots.
    order
        ``number``, ``priority`` or ``walk``.
    start
        Longitude and latitude a walk sets out from.
    split_by
        How a list too long for one file is split.
    units
        Of the comments.
    resolution_m
        Of positions written as text; ``None`` by their accuracy.
    title
        Of the documents; empty takes the incident's name.
    handed_out
        The time that the manifest says.
    """

    selection: Selection = field(default_factory=Selection)
    order: OrderName = "number"
    start: tuple[float, float] | None = None
    split_by: SplitBy = "nearness"
    units: Units = "metric"
    resolution_m: float | None = None
    title: str = ""
    handed_out: np.datetime64 = NEVER


@dataclass(frozen=True, kw_only=True)
class HandoutFile:
    """One file to be written.

    Attributes
    ----------
    name
        Within the folder.
    profile
        Whose limits it keeps.
    packet
        What is in it.
    numbers
        Of the spots, in the file's order.
    division
        They lie in, where the list was split by it.
    """

    name: str
    profile: Profile
    packet: Packet
    numbers: NDArray[np.object_]
    division: str = ""


@dataclass(frozen=True, kw_only=True)
class Handout:
    """All that is to be written, and what is to be told.

    Attributes
    ----------
    files
        For every profile one or several.
    manifest
        The short names of every profile.
    spots
        The spots that are handed out, in order, ``id`` their numbers.
    ordering
        The order, its length and that by number.
    listed
        How many spots the list has.
    title
        Of the documents.
    problems
        What was left out, trimmed or named anew.
    """

    files: tuple[HandoutFile, ...]
    manifest: Manifest
    spots: Detections
    ordering: Ordering
    listed: int
    title: str
    problems: tuple[Problem, ...]

    def short_names(self, profile: str) -> dict[str, str]:
        """Return the short name by number of what is handed out for a profile."""
        rows = (self.manifest.profile == profile) & (self.manifest.file != "")
        return dict(zip(self.manifest.number[rows], self.manifest.short_name[rows], strict=True))


def hand_out(
    packet: Packet,
    profiles: Sequence[Profile],
    formats: Mapping[str, Format],
    *,
    options: HandoutOptions | None = None,
    area: BaseGeometry | None = None,
    divisions: Divisions | None = None,
    earlier: Manifest | None = None,
) -> Handout:
    """Return the files of one hand-out and its manifest; nothing is written.

    Every spot of the list is given its name, so that another choice of spots changes no name. A hand-out of no spot
    has no files.

    Parameters
    ----------
    packet
        The numbered list in ``detections``.
    profiles
        The devices.
    formats
        The profiles' formats by name, as ``exchange.handout.writing.find_formats`` finds them.
    options
        Which spots, in what order, how written.
    area
        The perimeter.
    divisions
        Of the fire.
    earlier
        What was handed out before: its names are held.

    Raises
    ------
    ModelError
        When a spot has no number, or two have the same.
    OptionError
        When the options do not go together, or a profile has too few names.
    """
    options = options or HandoutOptions()
    spots = require_numbers(packet.detections)
    selected = select_spots(spots, options.selection, area=area, divisions=divisions)
    wanted, left_out = _leave_out_unplaced(spots, selected.rows)
    ordering = order_spots(spots.take(wanted), options.order, area=area, start=options.start)
    rows = wanted[ordering.rows]
    chosen = spots.take(rows)
    edge = measure_to_edge(chosen.longitude, chosen.latitude, area) if area is not None and len(chosen) else None
    work = _Work(spots, rows, chosen, edge, divisions, options, packet.incident)
    done = [work.fit(profile, formats[profile.format], earlier) for profile in profiles] if len(rows) else []
    held = _hold(earlier, [entry.manifest for entry in done])
    return Handout(
        files=tuple(file for entry in done for file in entry.files),
        manifest=Manifest.join([*(entry.manifest for entry in done), *([held] if len(held) else [])]),
        spots=chosen,
        ordering=ordering,
        listed=len(spots),
        title=work.title,
        problems=(
            *_tell_foreign_numbers(spots),
            *selected.problems,
            *left_out,
            *(problem for entry in done for problem in entry.problems),
        ),
    )


def require_numbers(spots: Detections) -> Detections:
    """Return a list whose every spot has a number of its own: its ``id``, or its name where it has none.

    Raises
    ------
    ModelError
        When a spot has no number, or two have the same.
    """
    numbers = np.where(spots.id == "", spots.name, spots.id)
    lacking = np.flatnonzero(numbers == "")
    if len(lacking):
        raise ModelError(
            f"{len(lacking)} of {len(spots)} spots have no number",
            path=spots.source[int(lacking[0])].file or None,
            record=spots.source[int(lacking[0])].record or None,
            remedy="Number them first: exchange merge FILE -o list.geojson.",
        )
    often, times = Counter(numbers.tolist()).most_common(1)[0] if len(numbers) else ("", 1)
    if times > 1:
        raise ModelError(
            f"{times} spots have the number {often[:60]!r}, so that nobody could tell which one is meant",
            path=spots.source[int(np.argmax(numbers == often))].file or None,
            remedy="Hand out one numbered list; exchange merge makes one of several.",
        )
    return spots.replace(id=numbers)


def _tell_foreign_numbers(spots: Detections) -> list[Problem]:
    """Return the note that spots have no permanent number, as those of a sortie that was not merged have none."""
    foreign = np.flatnonzero(~is_permanent(spots.id.tolist()))
    if not len(foreign):
        return []
    return [
        Problem(
            message="the numbers are those of the file, not permanent ones",
            severity="note",
            remedy="If it is a sortie, merge first: exchange merge FILE -o list.geojson.",
            path=spots.source[int(foreign[0])].file,
            value=spots.id[int(foreign[0])],
            count=len(foreign),
        )
    ]


class _Fitted(NamedTuple):
    """What one profile comes to."""

    files: list[HandoutFile]
    manifest: Manifest
    problems: list[Problem]


class _Work:
    """What every profile of a hand-out has in common."""

    def __init__(
        self,
        spots: Detections,
        rows: NDArray[np.int64],
        chosen: Detections,
        edge: EdgeDistance | None,
        divisions: Divisions | None,
        options: HandoutOptions,
        incident: str,
    ) -> None:
        self.spots, self.rows, self.chosen, self.edge = spots, rows, chosen, edge
        self.divisions, self.options, self.title = divisions, options, options.title or incident
        self.taken = set(_TAKEN)

    def fit(self, profile: Profile, fmt: Format, earlier: Manifest | None) -> _Fitted:
        """Return the files and the manifest of one profile."""
        given = give_short_names(
            self.spots.id.tolist(),
            length=profile.name_length,
            letters=profile.name_letters,
            earlier=_find_earlier(earlier, profile),
        )
        names = np.fromiter(given.names, dtype=object, count=len(self.spots))[self.rows]
        options = self.options
        limited = limit_spots(
            self.chosen,
            profile,
            names,
            shown_column=fmt.shown_column,
            edge=self.edge,
            units=options.units,
            resolution_m=options.resolution_m,
        )
        every = np.arange(len(self.chosen))
        parts = split_rows(self.chosen, every, profile.most_points, by=options.split_by, divisions=self.divisions)
        files = name_files(profile, [part.division for part in parts], fmt.suffixes[0], self.taken)
        problems = _tell(profile, limited.trimmed, given.renamed, len(parts))
        of_row = np.empty(len(every), dtype=object)
        made = []
        for part, file in zip(parts, files, strict=True):
            of_row[part.rows] = file
            made.append(self.make_file(profile, file, limited.spots.take(part.rows), part.rows, part.division))
        return _Fitted(made, self.list_names(profile, names, of_row, limited.comments), problems)

    def make_file(
        self, profile: Profile, name: str, spots: Detections, rows: NDArray[np.int64], division: str
    ) -> HandoutFile:
        """Return one file of a profile."""
        packet = Packet(detections=spots)
        return HandoutFile(name=name, profile=profile, packet=packet, numbers=self.chosen.id[rows], division=division)

    def list_names(
        self, profile: Profile, names: NDArray[np.object_], files: NDArray[np.object_], comments: NDArray[np.object_]
    ) -> Manifest:
        """Return the manifest of one profile."""
        count = len(self.chosen)
        return Manifest(
            number=self.chosen.id,
            short_name=names,
            profile=np.full(count, profile.name, dtype=object),
            file=files,
            longitude=self.chosen.longitude,
            latitude=self.chosen.latitude,
            status=self.chosen.status,
            aliases=to_texts(self.chosen.extra.get(ALIASES, np.full(count, "", dtype=object))),
            handed_out=np.full(count, self.options.handed_out),
            comment=comments,
            source=self.chosen.source,
        )


def _leave_out_unplaced(spots: Detections, wanted: NDArray[np.bool_]) -> tuple[NDArray[np.int64], list[Problem]]:
    """Return the wanted rows that have a position; without one no device can take a spot."""
    is_placed = spots.has_position()
    lost = int((wanted & ~is_placed).sum())
    message = "spots without a position cannot be handed out to a device"
    problems = [Problem(message=message, severity="skipped", count=lost)] if lost else []
    return np.flatnonzero(wanted & is_placed), problems


def _find_earlier(earlier: Manifest | None, profile: Profile) -> dict[str, str]:
    if earlier is None:
        return {}
    rows = earlier.profile == profile.name
    return dict(zip(earlier.number[rows], earlier.short_name[rows], strict=True))


def _hold(earlier: Manifest | None, manifests: Sequence[Manifest]) -> Manifest:
    """Return the earlier names that this hand-out does not give again, so that the next one holds to them too."""
    if earlier is None:
        return Manifest()
    again = {key for m in manifests for key in zip(m.profile, m.number, strict=True)}
    again_named = {key for m in manifests for key in zip(m.profile, m.short_name, strict=True)}
    kept = [
        (profile, number) not in again and (profile, name) not in again_named
        for profile, number, name in zip(earlier.profile, earlier.number, earlier.short_name, strict=True)
    ]
    return earlier.take(np.array(kept, np.bool_)).replace(file="")


def _tell(profile: Profile, trimmed: dict[str, int], renamed: list[str], files: int) -> list[Problem]:
    told = [
        Problem(message=f"trimmed to the profile {profile.name}", severity="note", field=name, count=count)
        for name, count in trimmed.items()
    ]
    if renamed:
        message = f"the earlier name does not fit the profile {profile.name} any more; the spot has a new one"
        told.append(Problem(message=message, severity="changed", value=renamed[0], count=len(renamed)))
    if files > 1:
        message = f"the profile {profile.name} is split into {files} files; {INDEX_NAME} tells which spots are in which"
        told.append(Problem(message=message, severity="note"))
    return told

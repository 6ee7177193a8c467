"""What each sortie could have seen, and so which spots were not seen again.

A spot counts as covered by a sortie where the whole circle of its accuracy lies in the sortie's coverage. Not seen
again is a hint where to look, never a word that a spot is out: heat hides under ash, canopy and rock.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError
from exchange.geo.edge import measure_to_edge
from exchange.geo.frame import LocalFrame
from exchange.merge.distinct import find_distinct
from exchange.merge.keys import code_texts
from exchange.merge.listing import SEEN_BY
from exchange.merge.naming_sets import SEPARATOR, name_sets
from exchange.model.detections import Detections
from exchange.model.packet import Packet
from exchange.model.perimeter import Perimeter
from exchange.model.problem import Problem
from exchange.model.track import Track

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

COVERED_BY = "covered_by"
SORTIES_COVERING = "sorties_covering"
NOT_SEEN_AGAIN = "not_seen_again"
NOT_SEEN_AGAIN_BY = "not_seen_again_by"
"""Foreign columns of the list: the sorties that saw a spot or covered it, how many; of those that covered it after it
was last seen and did not see it, how many and which."""

SIDEWAYS_PITCH_DEGREES = -60.0
"""A camera that looks less steeply down does not see what lies under the aircraft (common practice, from memory)."""

_MARKS = (COVERED_BY, SORTIES_COVERING, NOT_SEEN_AGAIN, NOT_SEEN_AGAIN_BY)

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Mask = NDArray[np.bool_]
NOT_A_TIME = np.datetime64("NaT", "ms")


@dataclass(frozen=True, kw_only=True)
class Coverage:
    """Hold what each sortie covered.

    Parameters
    ----------
    areas
        WGS 84 polygon or multipolygon of degrees by the sortie's name.
    begins
        When the sortie began, UTC, where the coverage tells it.
    problems
        What was assumed.
    """

    areas: Mapping[str, BaseGeometry]
    begins: Mapping[str, np.datetime64]
    problems: tuple[Problem, ...] = ()


def read_coverage(packet: Packet, *, swath_m: float = np.nan) -> Coverage:
    """Return what each sortie covered, from polygons and from flown tracks.

    Parameters
    ----------
    packet
        Polygons that name their sortie in a field ``sortie``, by their name or their number; tracks likewise. What
        several say of one sortie is taken together.
    swath_m
        Width of the ground that the camera showed along a track.

    Raises
    ------
    OptionError
        When a polygon or track names no sortie, when tracks come without a swath, or when there is neither.
    """
    if packet.tracks and not swath_m > 0:
        raise OptionError(
            "the coverage is a flown track, and nothing says how wide the camera saw",
            path=_file_of(packet.tracks[0]),
            field="--swath",
            remedy="Give the width on the ground, such as --swath 80m.",
        )
    pieces = [(_sortie_of_area(area), area.geometry, area.as_of) for area in packet.perimeters]
    pieces += [(_sortie_of_track(track), _swath_of(track, swath_m), _begin_of(track)) for track in packet.tracks]
    if not pieces:
        raise OptionError("no polygon and no track", field="--coverage", remedy="Give one polygon or track a sortie.")
    sideways = [_tell_sideways(track) for track in packet.tracks if _looks_sideways(track)]
    return Coverage(areas=_unite(pieces), begins=_earliest(pieces), problems=tuple(sideways))


def mark_not_seen_again(spots: Detections, sightings: Detections, coverage: Coverage) -> Detections:
    """Return the list with who covered each spot, and who covered it later without seeing it.

    Later is a sortie whose first sighting (or first fix, or the coverage's own time) comes after the spot was last
    seen; without times nothing can be later.

    Parameters
    ----------
    spots
        A merged list.
    sightings
        What it was made of; tells when each sortie began.
    coverage
        What each sortie covered.
    """
    names = sorted(coverage.areas)
    count = max(len(names), 1)
    seen = _list_seen(spots, names)
    covered = find_distinct(np.concatenate([seen, _list_covered(spots, [coverage.areas[name] for name in names])]))
    begins = _list_begins(names, sightings, coverage)
    # A time that is not known is neither before nor after.
    is_later = begins[covered % count] > spots.last_seen[covered // count]
    missed = covered[is_later & ~np.isin(covered, seen, assume_unique=True)]
    marks: dict[str, NDArray[Any]] = {}
    for which, names_column, count_column in (
        (covered, COVERED_BY, SORTIES_COVERING),
        (missed, NOT_SEEN_AGAIN_BY, NOT_SEEN_AGAIN),
    ):
        marks[names_column], marks[count_column] = name_sets(which // count, which % count, len(spots), names)
    return spots.replace(extra={**spots.extra, **{name: marks[name] for name in _MARKS}})


def compare_names(coverage: Coverage, sorties: Iterable[str]) -> tuple[Problem, ...]:
    """Return notes about sorties that have no coverage and about coverage of sorties without a sighting."""
    sorties = {name for name in sorties if name}
    without = sorted(sorties - set(coverage.areas))
    unseen = sorted(set(coverage.areas) - sorties)
    notes = []
    if without:
        notes.append(f"no coverage is given of {', '.join(without)}; what they did not see is not told")
    if unseen:
        notes.append(f"coverage is given of {', '.join(unseen)}, of which there is no sighting")
    return tuple(Problem(message=note, severity="note") for note in notes)


def _sortie_of_area(area: Perimeter) -> str:
    named = str(area.extra.get("sortie", "") or "").strip() or area.name or area.id
    if named:
        return named
    place = area.source
    raise OptionError(
        "the polygon names no sortie",
        path=place.file or None,
        layer=place.layer or None,
        record=place.record or None,
        remedy="Give it a field 'sortie', or the sortie's name as its name.",
    )


def _sortie_of_track(track: Track) -> str:
    if named := track.sortie or track.name:
        return named
    raise OptionError(
        "the track names no sortie", path=_file_of(track), remedy="State it with --sortie or name the track after it."
    )


def _file_of(track: Track) -> str | None:
    return (track.source[0].file or None) if len(track) else None


def _swath_of(track: Track, swath_m: float) -> BaseGeometry:
    """Return the ground within half a swath of the flown line, degrees."""
    import shapely

    known = track.take(np.flatnonzero(track.has_position()))
    frame = LocalFrame.around(known.longitude, known.latitude)
    x, y = frame.to_metres(known.longitude, known.latitude)
    steps = [step for rows in known.segment_rows() for step in _steps(np.column_stack([x[rows], y[rows]]), swath_m)]
    # Step by step: the buffer of one long line that crosses itself takes seconds.
    ground: BaseGeometry = frame.geometry_to_degrees(shapely.union_all(shapely.buffer(steps, swath_m / 2.0)))
    return ground


def _steps(corners: NDArray[np.float64], swath_m: float) -> list[BaseGeometry]:
    """Return the straight pieces of a flown line, wobbles far below the swath left out."""
    import shapely

    if len(corners) < 2:
        return [shapely.points(corners[0])]
    line = shapely.simplify(shapely.linestrings(corners), swath_m / 200.0, preserve_topology=False)
    kept = shapely.get_coordinates(line)
    return list(shapely.linestrings(np.stack([kept[:-1], kept[1:]], axis=1)))


def _begin_of(track: Track) -> np.datetime64:
    known = track.time[~np.isnat(track.time)]
    return known.min() if len(known) else NOT_A_TIME


def _looks_sideways(track: Track) -> bool:
    pitch = track.camera_pitch[np.isfinite(track.camera_pitch)]
    return bool(len(pitch) and np.median(pitch) > SIDEWAYS_PITCH_DEGREES)


def _tell_sideways(track: Track) -> Problem:
    return Problem(
        message=f"the camera of {_sortie_of_track(track)} looked sideways, but its swath is laid under the aircraft",
        severity="note",
        path=_file_of(track) or "",
        remedy="Give a polygon of what the images show instead.",
    )


def _unite(pieces: Sequence[tuple[str, BaseGeometry, np.datetime64]]) -> dict[str, BaseGeometry]:
    import shapely

    areas: dict[str, list[BaseGeometry]] = {}
    for name, area, _ in pieces:
        areas.setdefault(name, []).append(area)
    return {name: shapely.union_all(own) for name, own in areas.items()}


def _earliest(pieces: Sequence[tuple[str, BaseGeometry, np.datetime64]]) -> dict[str, np.datetime64]:
    begins: dict[str, np.datetime64] = {}
    for name, _, begin in pieces:
        if not np.isnat(begin):
            begins[name] = min(begins.get(name, begin), begin)
    return begins


def _list_begins(names: Sequence[str], sightings: Detections, coverage: Coverage) -> NDArray[np.datetime64]:
    """Return when each sortie began: its first sighting, or what its coverage tells."""
    begins = np.array([coverage.begins.get(name, NOT_A_TIME) for name in names], "datetime64[ms]")
    code, sorties = code_texts(sightings.sortie)
    first = np.full(len(sorties), NOT_A_TIME)
    np.fmin.at(first, code, sightings.time)
    at = {name: index for index, name in enumerate(sorties)}
    told = np.array([first[at[name]] if name in at else NOT_A_TIME for name in names], "datetime64[ms]")
    return np.where(np.isnat(told), begins, told)


def _list_seen(spots: Detections, names: Sequence[str]) -> Codes:
    """Return the couples of a spot and a sortie that saw it, as spot times the number of sorties plus sortie."""
    texts, kinds = code_texts(spots.extra.get(SEEN_BY, spots.sortie))
    place = {name: index for index, name in enumerate(names)}
    told = [
        sorted({place[one] for name in (text or "").split(SEPARATOR.strip()) if (one := name.strip()) in place})
        for text in kinds
    ]
    size = np.array([len(one) for one in told], np.int64)
    begin, listed = np.cumsum(size) - size, np.array([index for one in told for index in one], np.int64)
    own = size[texts]
    step = np.arange(int(own.sum())) - np.repeat(np.cumsum(own) - own, own)
    return np.repeat(np.arange(len(spots)), own) * len(names) + listed[np.repeat(begin[texts], own) + step]


def _list_covered(spots: Detections, areas: Sequence[BaseGeometry]) -> Codes:
    """Return the couples of a spot and a sortie in whose area it lies, as ``_list_seen`` does."""
    order = np.argsort(spots.longitude, kind="stable")
    longitude = spots.longitude[order]
    couples = [np.empty(0, np.int64)]
    for index, area in enumerate(areas):
        west, south, east, north = _widen(*area.bounds)
        some = order[np.searchsorted(longitude, west) : np.searchsorted(longitude, east, "right")]
        some = some[(spots.latitude[some] >= south) & (spots.latitude[some] <= north)]
        inside = some[_covers(spots.longitude[some], spots.latitude[some], spots.accuracy[some], area)]
        couples.append(inside * len(areas) + index)
    return np.concatenate(couples)


def _widen(west: float, south: float, east: float, north: float) -> tuple[float, float, float, float]:
    """Return bounds with room: what is straight on the ground bulges over a line of latitude, by 2 % at 1000 km."""
    room = 0.05 * max(east - west, north - south) + 1e-4
    return west - room, south - room, east + room, north + room


def _covers(longitude: Floats, latitude: Floats, accuracy: Floats, area: BaseGeometry) -> Mask:
    if not len(longitude):
        return np.zeros(0, bool)
    found = measure_to_edge(longitude, latitude, area)
    return np.asarray(found.is_inside & (found.distance_m >= np.nan_to_num(accuracy)))

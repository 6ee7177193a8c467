"""What each sortie could have seen, and so which spots were not seen again.

A spot counts as covered by a sortie where the whole circle of its accuracy lies in the sortie's coverage. Not seen
again is a hint where to look, never a word that a spot is out: heat hides under ash, canopy and rock.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from exchange.errors import OptionError
from exchange.geo.edge import measure_to_edge
from exchange.geo.frame import LocalFrame
from exchange.merge.listing import SEEN_BY, SEPARATOR
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
    seen = _split_seen(spots, names)
    covered = np.column_stack([_covers(spots, coverage.areas[name]) for name in names]) | seen
    begins = np.array([_begin(name, sightings, coverage) for name in names], "datetime64[ms]")
    with_time = ~np.isnat(begins)[None, :] & ~np.isnat(spots.last_seen)[:, None]
    missed = covered & ~seen & with_time & (begins[None, :] > spots.last_seen[:, None])
    marks = {
        COVERED_BY: _join_names(covered, names),
        SORTIES_COVERING: covered.sum(axis=1).astype(np.int64),
        NOT_SEEN_AGAIN: missed.sum(axis=1).astype(np.int64),
        NOT_SEEN_AGAIN_BY: _join_names(missed, names),
    }
    return spots.replace(extra={**spots.extra, **marks})


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

    names = dict.fromkeys(name for name, _, _ in pieces)
    return {name: shapely.union_all([area for other, area, _ in pieces if other == name]) for name in names}


def _earliest(pieces: Sequence[tuple[str, BaseGeometry, np.datetime64]]) -> dict[str, np.datetime64]:
    begins: dict[str, np.datetime64] = {}
    for name, _, begin in pieces:
        if not np.isnat(begin):
            begins[name] = min(begins.get(name, begin), begin)
    return begins


def _begin(name: str, sightings: Detections, coverage: Coverage) -> np.datetime64:
    times = sightings.time[(sightings.sortie == name) & ~np.isnat(sightings.time)]
    return times.min() if len(times) else coverage.begins.get(name, NOT_A_TIME)


def _split_seen(spots: Detections, names: Sequence[str]) -> Mask:
    """Return which of the sorties saw each spot, shape (spots, sorties)."""
    column = spots.extra.get(SEEN_BY, spots.sortie)
    lists: dict[str, list[bool]] = {}
    for text in set(column.tolist()):
        seen = {name.strip() for name in (text or "").split(SEPARATOR.strip())}
        lists[text] = [name in seen for name in names]
    return np.array([lists[text] for text in column.tolist()], bool).reshape(len(spots), len(names))


def _covers(spots: Detections, area: BaseGeometry) -> Mask:
    found = measure_to_edge(spots.longitude, spots.latitude, area)
    room = np.nan_to_num(spots.accuracy)
    return np.asarray(found.is_inside & (found.distance_m >= room))


def _join_names(mask: Mask, names: Sequence[str]) -> NDArray[np.object_]:
    known: dict[bytes, str] = {}
    joined = np.empty(len(mask), dtype=object)
    for row, which in enumerate(mask):
        if (code := which.tobytes()) not in known:
            known[code] = SEPARATOR.join(name for name, is_in in zip(names, which, strict=True) if is_in)
        joined[row] = known[code]
    return joined

"""The ``crs`` member of files older than RFC 7946."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from exchange.errors import AmbiguityError
from exchange.formats.options import ReadOptions
from exchange.formats.positions import POSITION_TEXT
from exchange.model import Problem
from exchange.model.columns import TextColumn

if TYPE_CHECKING:
    from exchange.geo.reference_system import ToWgs84
    from exchange_geojson.rows import Rows

_WGS_84 = ("urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:OGC::CRS84", "OGC:CRS84", "EPSG:4326")
_STATE_IT = "State the coordinate reference system with --crs, such as --crs EPSG:26911."


class Placement:
    """How the numbers of a file's positions become longitude and latitude.

    Parameters
    ----------
    members
        Of the outermost object of the file.
    options
        With ``--crs`` and ``--order``.

    Raises
    ------
    AmbiguityError
        When the file names a coordinate reference system that is not known, and no option states one.
    """

    def __init__(self, members: Mapping[str, Any], options: ReadOptions) -> None:
        self.problems: list[Problem] = []
        self._swap = options.position_order == "lat-lon"
        self._way = _find_way(members, options.crs, self.problems)
        self.problems += _tell_assumptions(members, options)
        if self._swap:
            self.problems.append(Problem(message="coordinates were taken as latitude, longitude", severity="note"))

    def place(self, rows: Rows) -> Rows:
        """Return the rows with longitude and latitude on WGS 84; what cannot be placed is kept as text and told."""
        x, y = (rows.latitude, rows.longitude) if self._swap else (rows.longitude, rows.latitude)
        if self._way is None:
            return replace(rows, longitude=x, latitude=y)
        longitude, latitude = self._way.transform(x, y)
        lost = np.isinf(longitude) | np.isinf(latitude)
        if not lost.any():
            return replace(rows, longitude=longitude, latitude=latitude)
        texts = rows.columns.get(POSITION_TEXT)
        columns = rows.columns | {POSITION_TEXT: _keep_texts(texts, x, y, lost)}
        first = int(np.argmax(lost))
        told = Problem(
            message=f"the position is outside of what {self._way.crs.name} covers",
            remedy="Check the coordinate reference system; --crs states another.",
            field="coordinates",
            record=int(rows.records[first]),
            value=columns[POSITION_TEXT][first],
            count=int(lost.sum()),
        )
        longitude, latitude = np.where(lost, np.nan, longitude), np.where(lost, np.nan, latitude)
        problems = [*rows.problems, told]
        return replace(rows, longitude=longitude, latitude=latitude, columns=columns, problems=problems)

    def finish(self) -> list[Problem]:
        """Return what there is to tell of the whole file."""
        if self._way is None or self._way.is_identity:
            return self.problems
        return [*self.problems, Problem(message=self._way.describe(), severity="note")]


def _keep_texts(texts: Any, x: Any, y: Any, lost: Any) -> TextColumn:
    kept = np.full(len(x), "", dtype=object) if texts is None else np.array(texts, dtype=object)
    for row in np.flatnonzero(lost):
        kept[row] = kept[row] or f"{float(x[row])!r} {float(y[row])!r}"
    return kept


def _find_way(members: Mapping[str, Any], stated: str, told: list[Problem]) -> ToWgs84 | None:
    from exchange.geo.reference_system import read_reference_system

    name = read_crs_member(members["crs"]) if "crs" in members else ""
    if name in _WGS_84 and not stated:
        return None
    if name:
        try:
            way = read_reference_system(name)
        except AmbiguityError:
            if not stated:
                raise
            told.append(Problem(message=f"the file states {name}, which is not known; --crs was used", severity="note"))
        else:
            if stated:
                told.append(Problem(message=f"the file states {name} itself; --crs was not used", severity="note"))
            return way
    if stated:
        return read_reference_system(stated)
    if "crs" in members:
        raise AmbiguityError(
            f"the file's own coordinate reference system {members['crs']!r} cannot be looked up",
            field="crs",
            remedy=_STATE_IT,
        )
    return None


def _tell_assumptions(members: Mapping[str, Any], options: ReadOptions) -> list[Problem]:
    name = read_crs_member(members.get("crs"))
    if not name.endswith("4326") or options.position_order:
        return []
    message = "coordinates were taken as longitude, latitude, which GeoJSON asks for whatever EPSG:4326 says"
    return [Problem(message=message, severity="note", remedy="Use --order lat-lon if they are the other way.")]


def read_crs_member(member: Any) -> str:
    """Return the name or code that a ``crs`` member gives; empty where it gives none that can be looked up.

    GeoJSON of 2008 knew ``{"type": "name"}`` and links; ``{"type": "EPSG", "properties": {"code": N}}`` is older still.
    """
    properties = member.get("properties") if isinstance(member, dict) else None
    if not isinstance(properties, dict):
        return ""
    if member.get("type") == "name" and isinstance(properties.get("name"), str):
        return str(properties["name"])
    code = properties.get("code")
    if member.get("type") == "EPSG" and isinstance(code, (int, str)) and not isinstance(code, bool):
        return f"EPSG:{code}"
    return ""

"""Features one by one: taken apart into points, tracks and perimeters, handed out in batches."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from exchange.errors import AmbiguityError, MalformedError, OptionError
from exchange.formats.options import ReadOptions
from exchange.formats.properties import KIND, PERIMETER, TABLES, TRACK
from exchange.formats.values import to_text
from exchange.model import Packet, Perimeter, Problem, Source, Track
from exchange_geojson.areas import build_foreign_perimeter, build_own_perimeter
from exchange_geojson.crs import Placement
from exchange_geojson.geometries import GeometryError, name_geometry, split_geometry
from exchange_geojson.lines import LineReader
from exchange_geojson.names import GEOMETRY_TYPES, MEMBER, read_header
from exchange_geojson.points import build_points
from exchange_geojson.rows import PendingRows, Rows

_STANDARD = frozenset(("type", "geometry", "properties", "id", "bbox"))
_GEOMETRY_MEMBERS = frozenset(("type", "coordinates", "geometries", "bbox", "crs"))
_GEOMETRIES: dict[str, frozenset[str | None]] = {
    **dict.fromkeys(TABLES, frozenset({None, "Point"})),
    TRACK: frozenset({None, "LineString", "MultiLineString"}),
    PERIMETER: frozenset({"Polygon", "MultiPolygon"}),
}


class FeatureGatherer:
    """Gather what features hold until a batch is full.

    Parameters
    ----------
    file_name
        As sources name it.
    members
        Of the outermost object, as far as they stand before the features.
    options
        What the file does not say of itself.

    Raises
    ------
    OptionError
        When a layer is asked for that is not the collection's name.
    """

    def __init__(self, file_name: str, members: Mapping[str, Any], options: ReadOptions) -> None:
        self.count = 0
        self.placement = Placement(members, options)
        self.problems: list[Problem] = []
        self._incident, self._instants = read_header(members)
        self._crs = members.get("crs")
        name = members.get("name")
        self._layer = name if isinstance(name, str) and members.get("type") == "FeatureCollection" else ""
        _refuse_missing_layer(self._layer, options)
        self._file = file_name
        self._options = options
        self._lines = LineReader(file_name, self._layer, options, self.placement)
        self._points: dict[str, PendingRows] = {}
        self._tracks: list[Track] = []
        self._perimeters: list[Perimeter] = []
        self._held = 0

    def is_full(self) -> bool:
        """Tell whether there is enough for a batch."""
        return self._held >= self._options.batch_rows

    def add_rows(self, kind: str, rows: Rows) -> None:
        """Take points that are columns already; ``kind`` is empty for a stranger's."""
        self._points.setdefault(kind, PendingRows()).add_rows(rows)
        self.count += len(rows)
        self._held += len(rows)

    def add_all(self, features: Iterable[Any]) -> None:
        """Take several GeoJSON objects; raises as ``add`` does.

        They become columns at once: while they are few, they are still in the processor's cache.
        """
        for feature in features:
            kind = _find_plain_kind(feature)
            if kind is None:
                self.add(feature)
                continue
            self.count += 1
            properties = feature["properties"]
            if "id" in feature:
                properties = {"id": feature["id"], **properties}
            self._add_point(kind, feature["geometry"]["coordinates"], properties)
        for pending in self._points.values():
            pending.close_part()

    def add(self, feature: Any) -> None:
        """Take one GeoJSON object that was read.

        Raises
        ------
        MalformedError
            When it is no GeoJSON object, or a feature of the house's own that cannot be read as such.
        """
        self.count += 1
        if not isinstance(feature, dict):
            raise self._refuse(f"{to_text(feature)[:40]!r} is no GeoJSON feature")
        if feature.get("type") == "FeatureCollection":
            raise self._refuse("a collection of features cannot be inside another")
        if feature.get("type") in GEOMETRY_TYPES:
            feature = {"type": "Feature", "geometry": feature, "properties": None}
        if feature.get("type") != "Feature":
            raise self._refuse(f"{to_text(feature.get('type'))[:40]!r} is no type of a GeoJSON feature")
        self._refuse_own_crs(feature)
        self._add_feature(feature, self._read_properties(feature))

    def take_packet(self) -> Packet:
        """Return what was gathered, and start anew."""
        packets = [
            build_points(kind, pending.take(), self._file, self._layer, self._options, self.placement, self._instants)
            for kind, pending in self._points.items()
        ]
        rest = Packet(
            incident=self._incident,
            tracks=tuple(self._tracks),
            perimeters=tuple(self._perimeters),
            problems=tuple(self.problems),
        )
        self._points, self._tracks, self._perimeters, self.problems, self._held = {}, [], [], [], 0
        return Packet.join([*packets, rest])

    def _add_feature(self, feature: dict[str, Any], properties: dict[str, Any]) -> None:
        geometry = feature.get("geometry")
        kind = _find_own_kind(geometry, properties)
        if kind in TABLES:
            self._add_point(kind, geometry and geometry.get("coordinates"), properties)
        elif kind == TRACK:
            track, problems = self._lines.read_own(geometry, properties, self.count)
            self._add_track(track, problems)
        elif kind == PERIMETER and geometry is not None:
            self._add_perimeter(build_own_perimeter(geometry, properties, self._source(), self.placement), [])
        else:
            for part in split_geometry(geometry):
                self._add_foreign(part, properties)

    def _add_foreign(self, part: Any, properties: dict[str, Any]) -> None:
        try:
            self._add_part(part, properties)
        except GeometryError as error:
            problem = Problem(
                message=f"the geometry cannot be used: {error}; it was kept as it is, beside the properties",
                remedy="Mend the geometry in the file.",
                layer=self._layer,
                record=self.count,
                field="geometry",
                value=to_text(part)[:200],
            )
            self.problems.append(problem)
            self._add_point("", None, properties | {"geometry": part})

    def _add_part(self, part: Any, properties: dict[str, Any]) -> None:
        name, coordinates = name_geometry(part)
        if name == "Point":
            self._add_point("", coordinates, properties)
        elif name in ("LineString", "MultiLineString"):
            self._add_track(*self._lines.read_foreign(name, coordinates, properties, self.count))
        else:
            perimeter = build_foreign_perimeter(name, coordinates, properties, self._source(), self.placement)
            self._add_perimeter(*perimeter)

    def _add_point(self, kind: str, position: Any, properties: dict[str, Any]) -> None:
        self._points.setdefault(kind, PendingRows()).add(position, properties, self.count)
        self._held += 1

    def _add_track(self, track: Track, problems: list[Problem]) -> None:
        self._tracks.append(track)
        self.problems += problems
        self._held += len(track)

    def _add_perimeter(self, perimeter: Perimeter, problems: list[Problem]) -> None:
        self._perimeters.append(perimeter)
        self.problems += problems
        self._held += 1

    def _read_properties(self, feature: dict[str, Any]) -> dict[str, Any]:
        properties = feature.get("properties")
        if properties is None:
            properties = {}
        if not isinstance(properties, dict):
            properties = {"properties": properties}
            message = "the properties are no JSON object; they were kept as one property"
            self.problems.append(Problem(message=message, severity="changed", record=self.count, field="properties"))
        geometry = feature.get("geometry")
        plain_geometry = not isinstance(geometry, dict) or len(geometry) <= 2
        if plain_geometry and len(feature) <= 3 and feature.keys() <= _STANDARD - {"id"}:
            return properties
        return _add_members(feature, properties)

    def _refuse_own_crs(self, feature: dict[str, Any]) -> None:
        geometry = feature.get("geometry")
        for holder in (feature, geometry if isinstance(geometry, dict) else {}):
            if holder.get("crs") is not None and holder["crs"] != self._crs:
                raise AmbiguityError(
                    "a single feature states a coordinate reference system of its own",
                    record=self.count,
                    field="crs",
                    remedy="Save the file with one coordinate reference system for all features.",
                )

    def _refuse(self, message: str) -> MalformedError:
        return MalformedError(message, record=self.count, remedy="Take that record out of the file, or mend it.")

    def _source(self) -> Source:
        return Source(self._file, self._layer, self.count)


def _find_plain_kind(feature: Any) -> str | None:
    """Return the kind of a point that has nothing but properties and an id; ``None`` for all else."""
    try:
        geometry, properties = feature["geometry"], feature["properties"]
        is_point = feature["type"] == "Feature" and geometry["type"] == "Point" and "coordinates" in geometry
        kind = properties.get(KIND, "")
    except (KeyError, TypeError, AttributeError):
        return None
    has_id = "id" in feature
    if not is_point or len(geometry) != 2 or len(feature) != 3 + has_id or (has_id and "id" in properties):
        return None
    return kind if kind == "" or (isinstance(kind, str) and kind in TABLES) else None


def _find_own_kind(geometry: Any, properties: dict[str, Any]) -> str:
    """Return what the house's writer said a feature is; empty where it is a stranger's or was changed since."""
    kind = properties.get(KIND)
    if not isinstance(kind, str) or not (geometry is None or isinstance(geometry, dict)):
        return ""
    fitting = _GEOMETRIES.get(kind, frozenset())
    return kind if (geometry["type"] if geometry and "type" in geometry else None) in fitting else ""


def _add_members(feature: dict[str, Any], properties: dict[str, Any]) -> dict[str, Any]:
    """Return the properties with what the feature has beside them."""
    members = {MEMBER + name: value for name, value in feature.items() if name not in _STANDARD and name != "crs"}
    if "id" in feature:
        members["id" if "id" not in properties else MEMBER + "id"] = feature["id"]
    if "bbox" in feature and not (is_bbox(feature["bbox"]) and feature.get("geometry")):
        members[MEMBER + "bbox"] = feature["bbox"]
    geometry = feature.get("geometry")
    if isinstance(geometry, dict):
        own = {f"{MEMBER}geometry.{name}": v for name, v in geometry.items() if name not in _GEOMETRY_MEMBERS}
        members |= own
    return members | properties


def is_bbox(value: Any) -> bool:
    """Tell whether a value is a bounding box of two or three dimensions; west may exceed east (RFC 7946 §5.2)."""
    return (
        isinstance(value, list)
        and len(value) in (4, 6)
        and all(isinstance(side, (int, float)) and not isinstance(side, bool) for side in value)
    )


def _refuse_missing_layer(layer: str, options: ReadOptions) -> None:
    missing = [wanted for wanted in options.layers if wanted != layer]
    if missing:
        known = f"Layers in the file: {layer!r}." if layer else "The file has no layers."
        raise OptionError(f"there is no layer {missing[0]!r}", field="--layer", remedy=known)

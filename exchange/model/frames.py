"""Tables of points as GeoDataFrames and back; needs the ``geopandas`` extra."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from exchange.errors import AmbiguityError, MissingExtraError, ModelError

if TYPE_CHECKING:
    import geopandas

    from exchange.model.points import PointTable

    AnyPoints = TypeVar("AnyPoints", bound=PointTable)

_POSITION = ("longitude", "latitude")


def _import_geopandas() -> Any:
    try:
        import geopandas
    except ImportError as error:
        raise MissingExtraError(
            "geopandas is not installed", remedy="Install it with: pip install 'hotspot-exchange[geopandas]'"
        ) from error
    return geopandas


def to_geopandas(table: PointTable) -> geopandas.GeoDataFrame:
    """Return the table as a GeoDataFrame in EPSG:4326; see ``PointTable.to_geopandas``.

    Raises
    ------
    MissingExtraError
        When geopandas is not installed.
    """
    frames = _import_geopandas()
    declared = {name: getattr(table, name) for name in table.column_names() if name not in _POSITION}
    foreign = {_frame_name(name, table.column_names()): values for name, values in table.extra.items()}
    points = frames.points_from_xy(table.longitude, table.latitude)
    points[~table.has_position()] = None
    return frames.GeoDataFrame({**declared, **foreign}, geometry=points, crs="EPSG:4326")


def from_geopandas(kind: type[AnyPoints], frame: geopandas.GeoDataFrame) -> AnyPoints:
    """Return a table of ``kind`` from a GeoDataFrame; see ``PointTable.from_geopandas``.

    Raises
    ------
    MissingExtraError
        When geopandas is not installed.
    AmbiguityError
        When the frame states no coordinate reference system.
    ModelError
        When a geometry is no point, or a declared column holds the wrong kind of value.
    """
    _import_geopandas()
    if frame.crs is None:
        raise AmbiguityError("the frame states no coordinate reference system", remedy="Call frame.set_crs(...) first.")
    geometry = frame.geometry.to_crs("EPSG:4326")
    if not (geometry.isna() | (geometry.geom_type == "Point")).all():
        raise ModelError("the frame holds geometries that are no points")
    plain = {str(name): frame[name].to_numpy() for name in frame.columns if name != frame.geometry.name}
    declared = {name: plain[name] for name in kind.column_names() if name in plain}
    foreign = {_foreign_name(name): values for name, values in plain.items() if name not in declared}
    position = {"longitude": _numbers(geometry.x), "latitude": _numbers(geometry.y)}
    return kind(**{**declared, **position}, extra=foreign)


def _frame_name(name: str, declared: tuple[str, ...]) -> str:
    clashes = name in declared or name == "geometry" or name.startswith("extra.")
    return f"extra.{name}" if clashes else name


def _foreign_name(name: str) -> str:
    return name.removeprefix("extra.")


def _numbers(values: Any) -> Any:
    return np.asarray(values, dtype=np.float64)

"""Coordinates as text: DD, DDM, DMS, UTM, USNG and MGRS, read strictly and written with the carry right."""

from exchange.geo.coordinates.columns import (
    AngleColumn,
    PositionColumn,
    parse_angle_column,
    parse_position_column,
)
from exchange.geo.coordinates.degrees import Angle, parse_angle
from exchange.geo.coordinates.formatting import (
    format_angles,
    format_columns,
    format_position,
    format_positions,
    nearest_grid_reference,
)
from exchange.geo.coordinates.position import Position, parse_position
from exchange.geo.coordinates.utm import from_lettered_utm, from_utm, standard_zone, to_utm

__all__ = [
    "Angle",
    "AngleColumn",
    "Position",
    "PositionColumn",
    "format_angles",
    "format_columns",
    "format_position",
    "format_positions",
    "from_lettered_utm",
    "from_utm",
    "nearest_grid_reference",
    "parse_angle",
    "parse_angle_column",
    "parse_position",
    "parse_position_column",
    "standard_zone",
    "to_utm",
]

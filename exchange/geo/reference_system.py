"""Any coordinate reference system to WGS 84 and what that costs in accuracy; longitude always first."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import AmbiguityError

if TYPE_CHECKING:
    import pyproj

Floats = NDArray[np.float64]

WGS_84 = "EPSG:4326"
STATE_IT = "State the coordinate reference system with --crs, such as --crs EPSG:26911."


@dataclass
class ToWgs84:
    """Transform positions of one coordinate reference system to WGS 84 longitude and latitude.

    Attributes
    ----------
    crs
        Of the positions given.
    is_identity
        Whether they are longitude and latitude on WGS 84 already.
    operations
        The datum shifts used so far, each with its accuracy in metres; NaN where it is not published.
    """

    crs: pyproj.CRS
    is_identity: bool = False
    operations: dict[str, float] = field(default_factory=dict)

    def transform(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Return longitude and latitude in degrees; infinite where there is no way to WGS 84, NaN stays NaN.

        Parameters
        ----------
        x, y
            Easting and northing, or longitude and latitude, shape (n,), whatever order the system itself names.
        """
        if self.is_identity or not len(x):
            return x, y
        transformer = _make_transformer(self.crs)
        longitude, latitude = transformer.transform(x, y)
        missing = np.isnan(x) | np.isnan(y)
        self._remember(transformer)
        return np.where(missing, np.nan, longitude), np.where(missing, np.nan, latitude)

    def describe(self) -> str:
        """Return in words what was done, and how well it is known to be right."""
        shifts = [
            f"{name} ({'accuracy not published' if accuracy != accuracy else f'accurate to {accuracy:g} m'})"
            for name, accuracy in self.operations.items()
        ]
        return f"positions were brought from {self.crs.name} to WGS 84" + (f" by {'; '.join(shifts)}" if shifts else "")

    def _remember(self, transformer: Any) -> None:
        try:
            used = transformer.get_last_used_operation()
        except Exception:  # pyproj raises its own error where no position could be transformed
            return
        accuracy = used.accuracy if used.accuracy is not None and used.accuracy >= 0 else float("nan")
        self.operations[_shorten(used.description)] = accuracy


def read_reference_system(text: str) -> ToWgs84:
    """Return the way to WGS 84 from a system given by its code, name, WKT or PROJ text.

    Raises
    ------
    AmbiguityError
        When it is no known coordinate reference system, or not one of places on the earth.
    """
    import pyproj

    try:
        crs = pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError as error:
        raise AmbiguityError(f"{text!r} is no known coordinate reference system", remedy=STATE_IT) from error
    horizontal = crs.sub_crs_list[0] if crs.is_compound else crs
    source = horizontal.source_crs if horizontal.is_bound and horizontal.source_crs else horizontal
    if not (source.is_geographic or source.is_projected or source.is_geocentric) or source.is_geocentric:
        raise AmbiguityError(f"{crs.name!r} does not place anything on the earth in two dimensions", remedy=STATE_IT)
    return ToWgs84(horizontal, is_identity=_is_wgs_84(horizontal))


def _is_wgs_84(crs: pyproj.CRS) -> bool:
    import pyproj

    plain = crs.to_2d() if hasattr(crs, "to_2d") else crs
    return bool(plain.equals(pyproj.CRS.from_user_input(WGS_84), ignore_axis_order=True))


@lru_cache(maxsize=32)
def _make_transformer(crs: pyproj.CRS) -> Any:
    import pyproj

    return pyproj.Transformer.from_crs(crs, WGS_84, always_xy=True)


def _shorten(description: str) -> str:
    """Return the steps of an operation that say which datum shift it was, left out what only turns axes."""
    steps = [step.strip() for step in description.split(" + ")]
    told = [step for step in steps if not step.startswith(("axis order change", "Inverse of UTM", "noop"))]
    return " + ".join(told) if told else description

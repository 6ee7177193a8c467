"""Places that no one here chose: points that other people measured, out of the example data of a general library.

libpysal 4.14.1 (BSD-3-Clause) carries them; nothing of it is kept in this tree. They are no hot spots: what is taken
from them is only how real things crowd together. The deaths of the Soho cholera of 1854 were mapped by J. Snow ('On the
Mode of Communication of Cholera', London 1855); the lodgings of a district of Berlin come from T. Oshan and others
(2018, doi:10.31219/osf.io/bphw9).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer

from tests.reference.packages import package_files

Floats = NDArray[np.float64]

_FILES = {"deaths": "snow_maps/SohoPeople.shp", "lodgings": "berlin/prenzlauer.zip"}


def read_places(name: str) -> tuple[Floats, Floats]:
    """Return longitude and latitude of the places called ``deaths`` or ``lodgings``, each place once."""
    import fiona

    path = package_files("libpysal", "4.14.1") / "libpysal/examples" / _FILES[name]
    with fiona.open(f"zip://{path}" if path.suffix == ".zip" else str(path)) as layer:
        given = np.array([feature.geometry.coordinates[:2] for feature in layer], np.float64)
        to_degrees = Transformer.from_crs(layer.crs.to_wkt(), "EPSG:4326", always_xy=True)
    x, y = np.unique(given, axis=0).T
    longitude, latitude = to_degrees.transform(x, y)
    return np.asarray(longitude), np.asarray(latitude)

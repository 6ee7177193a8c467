"""How the house draws things: identifiers and colours of its own styles."""

from __future__ import annotations

from exchange_kml.names import HOUSE

NO_STATUS_COLOR = "#ffffff"
"""Of a spot whose status is not known: white, so that nothing is taken for one of the status colours."""

PLACE_COLOR = "#ffffff"
FOREIGN_STYLE = f"{HOUSE}-foreign-"
"""What identifiers of styles begin with that came from elsewhere and could not keep their own."""

PLACE_STYLE = f"{HOUSE}-style-place"
TRACK_STYLE = f"{HOUSE}-style-track"
PERIMETER_STYLE = f"{HOUSE}-style-perimeter"
TRACK_COLOR = "#0072B2"
PERIMETER_COLOR = "#000000"
"""Of the palette of Okabe and Ito (Wong, Nature Methods 8:441, 2011), as the status colours are."""

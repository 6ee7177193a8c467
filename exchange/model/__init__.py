"""What the trade exchanges: tracks, perimeters, detections, status notes and places, carried in a packet.

All positions are WGS 84 longitude and latitude in degrees, heights in metres, times UTC instants,
temperatures degrees Celsius. Missing is NaN, NaT or the empty text, never a made-up value.
"""

from exchange.model.detections import Detection, Detections
from exchange.model.manifest import Manifest, ManifestEntry
from exchange.model.notes import StatusNote, StatusNotes
from exchange.model.packet import Packet
from exchange.model.perimeter import Perimeter
from exchange.model.places import Place, Places
from exchange.model.points import PointTable
from exchange.model.problem import Problem, gather_problems
from exchange.model.row import Row
from exchange.model.source import Source, Sources
from exchange.model.status import STATUS_STYLES, STATUS_WORDS
from exchange.model.table import Table
from exchange.model.track import Fix, Track

__all__ = [
    "STATUS_STYLES",
    "STATUS_WORDS",
    "Detection",
    "Detections",
    "Fix",
    "Manifest",
    "ManifestEntry",
    "Packet",
    "Perimeter",
    "Place",
    "Places",
    "PointTable",
    "Problem",
    "Row",
    "Source",
    "Sources",
    "StatusNote",
    "StatusNotes",
    "Table",
    "Track",
    "gather_problems",
]

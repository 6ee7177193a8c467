"""From what crews report to the current status of each spot.

``place_returns`` finds the spot and the status of every report; ``settle_status`` puts the reports in order. Both are
pure: what a person must look at comes back as ``Questions``. ``out`` is a person's word and never comes from here.
"""

from exchange.status.keep import add_notes
from exchange.status.options import REACH_M, SAME_TIME_MINUTES, PlaceOptions, SettleOptions
from exchange.status.place import place_returns
from exchange.status.placed import Placed
from exchange.status.questions import Question, Questions
from exchange.status.settle import Settled, settle_status
from exchange.status.words import StatusWords

__all__ = [
    "REACH_M",
    "SAME_TIME_MINUTES",
    "PlaceOptions",
    "Placed",
    "Question",
    "Questions",
    "SettleOptions",
    "Settled",
    "StatusWords",
    "add_notes",
    "place_returns",
    "settle_status",
]

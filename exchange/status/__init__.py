"""From what crews report to the current status of each spot.

``place_returns`` finds the spot and the status of every report; ``settle_status`` puts the reports in order. Both are
pure: what a person must look at comes back as ``Questions``. ``out`` is a person's word and never comes from here.
"""

from exchange.status.options import PlaceOptions, SettleOptions
from exchange.status.place import Placed, place_returns
from exchange.status.questions import Question, Questions
from exchange.status.settle import Settled, settle_status
from exchange.status.words import StatusWords

__all__ = [
    "PlaceOptions",
    "Placed",
    "Question",
    "Questions",
    "SettleOptions",
    "Settled",
    "StatusWords",
    "place_returns",
    "settle_status",
]

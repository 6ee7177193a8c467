"""Which sightings are one spot."""

from exchange.merge.grouping.doubt import Grouping
from exchange.merge.grouping.group import group_by_accuracy, group_sightings
from exchange.merge.grouping.yardstick import Yardstick, learn_yardstick

__all__ = ["Grouping", "Yardstick", "group_by_accuracy", "group_sightings", "learn_yardstick"]

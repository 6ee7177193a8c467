"""Which sightings are one spot."""

from exchange.merge.grouping.doubt import Grouping
from exchange.merge.grouping.group import group_sightings, link_by_accuracy
from exchange.merge.grouping.learning import learn_yardstick
from exchange.merge.grouping.yardstick import Yardstick

__all__ = ["Grouping", "Yardstick", "group_sightings", "learn_yardstick", "link_by_accuracy"]

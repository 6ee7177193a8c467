"""Which sightings are one spot."""

from exchange.merge.grouping.group import Grouping, group_sightings

__all__ = ["Grouping", "group_sightings"]

"""Fold the sightings of several sorties into one list, in which each hot spot stands once, with a number that stays.

``merge_detections`` is the door: ``Detections`` in, ``Merged`` out. The steps in their order:

1. ``sightings`` puts the rows into one canonical order and into metres, and finds which were taken in one image.
2. ``shifts`` estimates by how much each sortie lies off the others.
3. ``grouping`` decides which sightings are one spot.
4. ``fusing`` makes the spot of its sightings, ``numbering`` gives it its number, ``flagging`` says what is doubtful.

A merged list helps people to look; it proves nothing about the ground. Whether a spot is out is decided by the
people who stand at it, under the incident's command.
"""

from exchange.merge.earlier import Earlier
from exchange.merge.merge import merge_detections
from exchange.merge.merged import Evidence, Merged
from exchange.merge.options import MergeOptions
from exchange.merge.report import MergeReport, SortieReport

__all__ = ["Earlier", "Evidence", "MergeOptions", "MergeReport", "Merged", "SortieReport", "merge_detections"]

"""What a merge returns."""

from __future__ import annotations

from dataclasses import dataclass

from exchange.merge.report import MergeReport
from exchange.model.columns import NumberColumn, TextColumn
from exchange.model.detections import Detections


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """Say, for each row of ``Merged.sightings``, why it is part of its spot.

    Attributes
    ----------
    distance
        From the spot, in standard deviations of sighting and spot; its square is to be compared with a chi-square
        of 2 degrees of freedom. NaN without a position.
    runner_up
        Number of the spot that explains the row second best; empty where none is near.
    runner_up_worse
        How much worse it does, in natural logarithms of the likelihood; near 0 is a coin's throw. Infinity without one.
    """

    distance: NumberColumn
    runner_up: TextColumn
    runner_up_worse: NumberColumn


@dataclass(frozen=True, kw_only=True, eq=False)
class Merged:
    """Hold the list, the sightings it was made of, and what is to be told.

    Attributes
    ----------
    spots
        One row a spot, in the order of the numbers. Foreign columns: ``temperature_last``, ``hottest_at``,
        ``hottest_by``, ``last_by``, ``sorties_seen``, ``seen_by``, ``aliases``, ``flags``, ``sighting_keys``.
    sightings
        The rows given, in their order, then the earlier ones that were not given again. Foreign columns ``spot``,
        ``shift_east_m`` and ``shift_north_m`` (what was taken off), ``flags``.
    evidence
        Row by row of ``sightings``.
    report
        Counts, shifts, flags.
    """

    spots: Detections
    sightings: Detections
    evidence: Evidence
    report: MergeReport

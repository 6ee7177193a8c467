"""What an earlier merge is known to have said."""

from __future__ import annotations

from dataclasses import dataclass

from exchange.model.detections import Detections


@dataclass(frozen=True, kw_only=True, eq=False)
class Earlier:
    """Hold the list whose numbers are to be kept.

    Parameters
    ----------
    spots
        The earlier list, with its numbers in ``id`` and, where there are any, the foreign columns ``aliases`` and
        ``sighting_keys`` (what each spot was made of, as a merge writes it).
    sightings
        The sightings that the list was made of, each with its number in the foreign column ``spot``, if they are
        known. Those that are not given again take part in full. Without them an earlier spot whose sightings are not
        all given again takes part with its position and accuracy, as one sighting.
    """

    spots: Detections
    sightings: Detections | None = None

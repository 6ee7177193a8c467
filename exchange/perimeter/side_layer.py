"""The fixes that a trace took out, as a layer of markers beside the perimeter."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from exchange.model import Places, Track


def to_places(removed: Iterable[Track]) -> Places:
    """Return one marker for each removed fix, named by the reason, with its file, layer and record.

    Parameters
    ----------
    removed
        Tracks of removed fixes with the foreign column ``reason``, as ``Traced.removed`` holds them.

    Examples
    --------
    >>> spike = Track(name="D-1", longitude=[-114.0], latitude=[44.5], extra={"reason": ["spike"]})
    >>> to_places([spike]).row(0).name
    'spike'
    """
    return Places.join([_of_track(track) for track in removed if len(track)]).with_source_columns()


def _of_track(track: Track) -> Places:
    count = len(track)
    return Places(
        name=np.asarray(track.extra["reason"], dtype=object),
        kind=np.full(count, "removed fix", dtype=object),
        longitude=track.longitude,
        latitude=track.latitude,
        altitude=track.altitude,
        time=track.time,
        extra={"track": np.full(count, track.name, dtype=object)},
        source=track.source,
    )

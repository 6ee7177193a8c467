"""Where each sighting first came from, also when it went through a file that a merge wrote."""

from __future__ import annotations

import numpy as np

from exchange.model.detections import Detections

FILE, LAYER, RECORD = "source_file", "source_layer", "source_record"
"""Foreign columns, as ``Table.with_source_columns`` names them."""


def name_origins(sightings: Detections) -> Detections:
    """Return the sightings with their first file, layer and record in foreign columns.

    A row that names its origin already, because an earlier merge wrote it down, keeps it.
    """
    named = sightings.with_source_columns()
    known = sightings.extra.get(FILE)
    if known is None:
        return named
    keeps = np.array([bool(file) for file in known.tolist()], bool)
    extra = dict(named.extra)
    for column in (FILE, LAYER, RECORD):
        before = sightings.extra.get(column, np.full(len(sightings), None, object)).astype(object)
        now = extra.get(column, np.full(len(sightings), "", object)).astype(object)
        extra[column] = np.where(keeps, before, now)
    return named.replace(extra=extra)

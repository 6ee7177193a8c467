"""What was handed out, under which names, so that what comes back finds its spot."""

from __future__ import annotations

from collections.abc import Mapping
from sqlite3 import Connection
from typing import Any

from exchange.ledger.act import Act
from exchange.ledger.cells import write_json
from exchange.ledger.rows import insert, read_rows, write_rows
from exchange.model.manifest import Manifest


def write_handout(act: Act, manifest: Manifest, *, profile: str, options: Mapping[str, Any] | None = None) -> int:
    """Enter what was handed out for one profile; return its number."""
    columns = {"act": [act.number], "profile": [profile], "options": [write_json(options or {})]}
    (fid,) = insert(act.connection, "handout", columns, 1).tolist()
    write_rows(act.connection, "handed_name", manifest, handout=fid)
    return int(fid)


def read_manifests(connection: Connection, *, at_act: int) -> list[Manifest]:
    """Return the manifest of every handout up to an act, the latest last."""
    where = "t.handout IN (SELECT h.fid FROM handout h WHERE h.act <= ?)"
    batches = list(read_rows(connection, "handed_name", Manifest, where=where, values=(at_act,)))
    if not batches:
        return []
    owner = [handout for batch in batches for handout in batch.fields["handout"]]
    names = Manifest.join([batch.table for batch in batches])
    return [names.take([row for row, own in enumerate(owner) if own == fid]) for fid in sorted(set(owner))]

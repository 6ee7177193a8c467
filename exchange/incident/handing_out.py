"""Enter in the ledger what was handed out, so that what comes back under short names finds its spot."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from exchange.ledger.act import begin_act
from exchange.ledger.database import OnWait, open_to_read
from exchange.ledger.handouts import read_manifests, write_handout
from exchange.ledger.history import last_act
from exchange.model.manifest import Manifest


def record_handout(
    path: Path,
    manifest: Manifest,
    *,
    options: Mapping[str, Any] | None = None,
    command: str = "",
    on_wait: OnWait | None = None,
) -> None:
    """Enter a handout in one act, profile by profile.

    Parameters
    ----------
    path
        The ledger.
    manifest
        Which spot goes by which name.
    options
        Which spots were chosen and how they were ordered.
    command
        The command line, for the log.
    on_wait
        Called once when another program is writing.

    Raises
    ------
    LedgerError
        When the ledger cannot be written.
    """
    with begin_act(path, "handout", command=command, on_wait=on_wait) as act:
        profiles = list(dict.fromkeys(manifest.profile.tolist()))
        for profile in profiles:
            write_handout(act, manifest.take(manifest.profile == profile), profile=profile, options=options)
        act.report["profiles"] = profiles


def read_handed_out(path: Path) -> Manifest | None:
    """Return everything that was ever handed out from a ledger, the latest last; ``None`` where nothing was.

    Raises
    ------
    LedgerError
        When the ledger cannot be read.
    """
    with open_to_read(path) as connection:
        manifests = read_manifests(connection, at_act=last_act(connection))
    return Manifest.join(manifests) if manifests else None

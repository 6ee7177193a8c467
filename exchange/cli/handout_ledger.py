"""``exchange handout`` from a ledger: the names it ever handed out are held, and it keeps the new manifest."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from exchange.cli.ledger import command_line, say_waiting

if TYPE_CHECKING:
    from exchange.model import Manifest


def hold_handed_out(file: str, earlier: Manifest | None) -> Manifest | None:
    """Return what was handed out before: by the ledger, where the list is one, and what is known otherwise."""
    from exchange.incident.handing_out import read_handed_out
    from exchange.ledger.database import is_ledger

    if not is_ledger(Path(file)):
        return earlier
    handed_out = read_handed_out(Path(file))
    known = [manifest for manifest in (handed_out, earlier) if manifest is not None]
    return type(known[0]).join(known) if known else None


def enter_handout(file: str, manifest: Manifest, folder: str) -> None:
    """Enter a handout in the ledger, where the list is one."""
    from exchange.incident.handing_out import record_handout
    from exchange.ledger.database import is_ledger

    if is_ledger(Path(file)):
        record_handout(Path(file), manifest, options={"folder": folder}, command=command_line(), on_wait=say_waiting)

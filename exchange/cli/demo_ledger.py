"""The invented fire's two operational periods, through one ledger."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from exchange.demo_fire import WrittenFile

Step = tuple[str, list[str]]

LEDGER = "marrow-flat.ledger.gpkg"


def plan_ledger(written: Sequence[WrittenFile], folder: Path, *, overwrite: bool) -> Iterator[Step]:
    """Yield what the demonstration says and the command that follows, in the order of work."""
    ledger, replace = str(folder / LEDGER), ["--overwrite"] if overwrite else []
    if overwrite:
        _remove_former(folder)
    yield "The incident's own file is started:", ["ledger", "start", ledger, "--incident", "Marrow Flat"]
    edge = _of(written, "track", period=1)[0]
    outline = str(folder / "exchanged" / "edge.geojson")
    yield "The flown edge becomes a perimeter, which the ledger keeps:", [
        "perimeter", str(edge.path), *edge.options, "-o", outline, "--ledger", ledger, *replace,
    ]  # fmt: skip
    yield from _add_sorties(written, ledger, period=1)
    (listed,) = _of(written, "list")
    yield "One numbered list; the numbers that the map desk gave by hand are kept:", [
        "merge", "--ledger", ledger, "--onto", str(listed.path),
    ]  # fmt: skip
    yield "The list for handhelds that keep six capital letters:", [
        "handout", ledger, "--profile", "six-capitals", "-o", str(folder / "handed-out"), *replace,
    ]  # fmt: skip
    for file in _of(written, "return"):
        yield f"What came back. {file.about}", ["reconcile", str(file.path), *file.options, "--ledger", ledger]
    yield from _add_sorties(written, ledger, period=2)
    yield "The second period joins the list; heat at a spot reported out reopens it:", ["merge", "--ledger", ledger]
    (wrong,) = _of(written, "wrong")
    yield f"A mistake. {wrong.about}", ["ledger", "add", ledger, str(wrong.path), *wrong.options]
    yield "It makes spots that are none:", ["merge", "--ledger", ledger]
    yield "It is taken out again:", ["ledger", "withdraw", ledger, wrong.path.name]
    yield "Where the incident stands:", ["ledger", "show", ledger]
    yield "Whether the ledger is whole:", ["ledger", "check", ledger]
    yield "Everything, for a map program:", [
        "ledger", "export", ledger, "-o", str(folder / "exchanged" / "incident.kmz"), *replace,
    ]  # fmt: skip


def _add_sorties(written: Sequence[WrittenFile], ledger: str, *, period: int) -> Iterator[Step]:
    for file in _of(written, "sortie", period=period):
        yield f"{file.about}", ["ledger", "add", ledger, str(file.path), *file.options]


def _of(written: Sequence[WrittenFile], role: str, *, period: int = 0) -> list[WrittenFile]:
    return [file for file in written if file.role == role and period in (0, file.period)]


def _remove_former(folder: Path) -> None:
    # A ledger is never replaced by a command; the one of an earlier demonstration is only a demonstration.
    for name in (LEDGER, LEDGER.replace(".gpkg", ".copy.gpkg")):
        (folder / name).unlink(missing_ok=True)

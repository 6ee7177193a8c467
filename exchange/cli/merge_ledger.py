"""``exchange merge --ledger``: what several sorties saw, into the list that a ledger keeps."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from exchange.cli.console import open_inputs, show_progress
from exchange.cli.ledger import command_line, say_waiting
from exchange.cli.merge_inputs import MergeSettings, ReadBeside
from exchange.cli.merge_outputs import MergeWork
from exchange.errors import OptionError

if TYPE_CHECKING:
    from exchange.formats.host import Host
    from exchange.formats.options import ReadOptions
    from exchange.incident.merging import MergedLedger
    from exchange.model import Detections, Problem


def merge_into_ledger(
    ledger: str, files: tuple[str, ...], settings: MergeSettings, host: Host, options: ReadOptions, format_name: str
) -> MergeWork:
    """Add the files in one act, and merge all sightings in force in another; return what is to be written and told.

    Raises
    ------
    OptionError
        When an earlier list is given with its sightings, which the ledger keeps itself, or cells to work in.
    LedgerError
        When the ledger cannot be written, or has a list and another one is given.
    """
    from exchange.incident.merging import merge_ledger
    from exchange.merge.ranking import add_priority
    from exchange.model import Packet

    if settings.onto_sightings:
        raise OptionError("a ledger keeps the sightings itself", field="--onto-sightings", remedy="Leave it out.")
    for option, value in (("--cells", settings.cells), ("--scheduler", settings.scheduler)):
        if value:
            raise OptionError("a ledger is merged as a whole", field=option, remedy="Leave it out.")
    beside = ReadBeside(host, options)
    earlier, area, coverage = beside.read_earlier(settings), beside.read_area(settings), beside.read_coverage(settings)
    merge_options = settings.to_options(beside.read_control(settings))
    problems = _add(ledger, files, host, options, format_name) if files else ()
    done = merge_ledger(
        Path(ledger),
        options=merge_options,
        sortie_from=settings.sortie_from,
        onto=None if earlier is None else earlier.spots,
        coverage=coverage,
        command=command_line(),
        on_wait=say_waiting,
    )
    told = (*problems, *beside.problems, *done.problems, *_ask(done), *(coverage.problems if coverage else ()))
    spots: Detections = add_priority(done.spots, area)
    return MergeWork(Packet(), done.merged, spots, told)


def _add(
    ledger: str, files: tuple[str, ...], host: Host, options: ReadOptions, format_name: str
) -> tuple[Problem, ...]:
    from exchange.incident.adding import add_files

    with open_inputs(files, format_name=format_name) as inputs:
        added = add_files(
            Path(ledger), inputs, host=host, options=options, format_name=format_name, command=command_line(),
            on_wait=say_waiting, passing=show_progress,
        )  # fmt: skip
    return tuple(problem for one in added for problem in one.problems)


def _ask(done: MergedLedger) -> tuple[Problem, ...]:
    from exchange.incident.settling import to_findings

    return tuple(finding.problem for finding in to_findings("status", done.questions))

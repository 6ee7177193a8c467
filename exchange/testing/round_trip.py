"""Write a packet, read it back, and hold both against each other."""

from __future__ import annotations

from pathlib import Path

from exchange.formats.format import Format
from exchange.formats.host import OWN_DISTRIBUTION, Host
from exchange.formats.options import ReadOptions, WriteOptions
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Packet, Problem, gather_problems


def host_with(*formats: Format) -> Host:
    """Return a host that holds these formats only, whatever is installed."""
    return Host.with_formats(formats, distribution=OWN_DISTRIBUTION)


def check_round_trip(
    fmt: Format,
    packet: Packet,
    folder: Path,
    *,
    read_options: ReadOptions | None = None,
    write_options: WriteOptions | None = None,
) -> tuple[Problem, ...]:
    """Check that model -> file -> model is equal in all that the format says it can hold.

    Parameters
    ----------
    fmt
        The format to check.
    packet
        What to write.
    folder
        An existing folder to write into.
    read_options, write_options
        Options for both ways.

    Returns
    -------
    tuple of Problem
        What the writer told that the format could not hold.

    Raises
    ------
    AssertionError
        When what came back differs from what ``fmt.holds`` promises, or when a loss was not told.
    """
    host = host_with(fmt)
    expected, losses = fmt.holds.limit(packet)
    path = folder / f"round-trip{fmt.suffixes[0]}"
    told = write(packet, path, host=host, options=write_options, format_name=fmt.name, overwrite=True)
    returned = read(path, host=host, options=read_options, format_name=fmt.name)
    _refuse(expected.differences(returned), f"{fmt.name} does not read back what it wrote")
    silent = [loss for loss in gather_problems(losses) if loss not in told]
    _refuse([str(loss) for loss in silent], f"{fmt.name} lost this without a word")
    return told


def _refuse(differences: list[str], what: str) -> None:
    if differences:
        raise AssertionError("\n  ".join([f"{what}:", *differences[:20]]))

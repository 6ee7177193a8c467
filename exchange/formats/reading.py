"""Read files into packets, whatever format they are in."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from exchange.errors import ExchangeError, ReadError
from exchange.formats.choose import choose_reader, find_format
from exchange.formats.format import Format, InputFile
from exchange.formats.host import Host
from exchange.formats.options import ReadOptions
from exchange.formats.positions import settle_positions
from exchange.model import Packet, Problem


def read(
    paths: str | os.PathLike[str] | Iterable[str | os.PathLike[str]],
    *,
    host: Host | None = None,
    options: ReadOptions | None = None,
    format_name: str = "",
) -> Packet:
    """Read one file or several into one packet.

    Parameters
    ----------
    paths
        One path, or several.
    host
        The loaded plugins; by default those installed.
    options
        What the files do not say of themselves.
    format_name
        The format's name where suffix and content do not tell.

    Raises
    ------
    ReadError
        When a file cannot be opened, is malformed, unsafe or of no known format.
    AmbiguityError
        When a file leaves something open without which nothing in it can be used.
    OptionError
        When ``format_name`` or an option is not usable.
    PluginError
        When a plugin's own code fails.
    """
    host = host or Host.with_installed_plugins()
    several = [paths] if isinstance(paths, (str, os.PathLike)) else list(paths)
    files = [as_input(path) for path in several]
    return Packet.join(
        packet for file in files for packet in read_packets(file, host=host, options=options, format_name=format_name)
    )


def as_input(path: str | os.PathLike[str]) -> InputFile:
    """Return the input file at a path, named as it was given."""
    return InputFile(Path(path), os.fspath(path))


def choose_format(file: InputFile, *, host: Host, format_name: str = "") -> Format:
    """Return the format to read a file in: the one given by name, else the one that fits; raises as ``read`` does."""
    return find_format(host, format_name) if format_name else choose_reader(host, file)


def read_packets(
    file: InputFile, *, host: Host, options: ReadOptions | None = None, format_name: str = ""
) -> Iterator[Packet]:
    """Read one file batch by batch; raises as ``read`` does."""
    fmt = choose_format(file, host=host, format_name=format_name)
    for packet in _guarded_read(host, fmt, file, options or ReadOptions()):
        yield _name_file(settle_positions(packet), file.name)


def _guarded_read(host: Host, fmt: Format, file: InputFile, options: ReadOptions) -> Iterator[Packet]:
    try:
        yield from fmt.read(file, options)
    except ExchangeError as error:
        error.path = error.path or file.name
        raise
    except OSError as error:
        raise ReadError(f"cannot be read: {error.strerror or error}", path=file.name) from error
    except RecursionError as error:
        raise ReadError("is nested too deeply to be honest", path=file.name) from error
    except Exception as error:
        raise host.guard(fmt, error) from error


def _name_file(packet: Packet, name: str) -> Packet:
    named: tuple[Problem, ...] = tuple(p if p.path else replace(p, path=name) for p in packet.problems)
    return packet.replace(problems=named)

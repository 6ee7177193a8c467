"""Which format a file is read or written in. A reader is never chosen by a race."""

from __future__ import annotations

from pathlib import Path

from exchange.errors import NotThisFormatError, OptionError, ReadError, UnknownFormatError
from exchange.formats.format import Format, InputFile
from exchange.formats.host import Host


def find_format(host: Host, name: str) -> Format:
    """Return a loaded format by its name.

    Raises
    ------
    OptionError
        When no loaded format has that name.
    """
    if name not in host.formats:
        known = ", ".join(sorted(host.formats)) or "none"
        raise OptionError(f"no format is called {name!r}", remedy=f"Loaded formats: {known}.")
    return host.formats[name]


def find_by_suffix(host: Host, file_name: str) -> Format | None:
    """Return the format that claims the longest suffix of a file name, or ``None``."""
    claims = host.claims()
    fitting = [suffix for suffix in claims if file_name.lower().endswith(suffix)]
    return claims[max(fitting, key=len)] if fitting else None


def choose_reader(host: Host, file: InputFile) -> Format:
    """Return the format to read a file in: the one its suffix names if it agrees, else the only one that agrees.

    Raises
    ------
    UnknownFormatError
        When no loaded format recognises the file, or several do and the suffix does not decide.
    NotThisFormatError
        When the suffix names a format that does not recognise the file, and no other does.
    ReadError
        When the file cannot be opened or is empty.
    """
    head = _read_head(file)
    named = find_by_suffix(host, file.name)
    if named and named.can_read and _recognises(host, named, file, head):
        return named
    others = [f for _, f in sorted(host.formats.items()) if f.can_read and _recognises(host, f, file, head)]
    if len(others) == 1:
        return others[0]
    if named and not others:
        raise NotThisFormatError(
            f"the file is named like {named.title}, but does not hold it",
            path=file.name,
            remedy="State what it is with --from NAME; 'exchange formats' lists the names.",
        )
    what = "several formats fit: " + ", ".join(f.name for f in others) if others else "no loaded format knows it"
    raise UnknownFormatError(what, path=file.name, remedy="State what it is with --from NAME.")


def choose_writer(host: Host, target: Path, format_name: str) -> Format:
    """Return the format to write a file in: the one given by name, else the one its suffix names.

    Raises
    ------
    OptionError
        When the name or the suffix is unknown, or the format is read only.
    """
    fmt = find_format(host, format_name) if format_name else find_by_suffix(host, target.name)
    if fmt is None:
        known = ", ".join(sorted(suffix for suffix, f in host.claims().items() if f.can_write))
        raise OptionError(
            f"the name {target.name!r} does not say which format to write",
            remedy=f"Use --to NAME, or one of these suffixes: {known}.",
        )
    if not fmt.can_write:
        raise OptionError(f"format {fmt.name!r} can be read, not written")
    return fmt


def _read_head(file: InputFile) -> bytes:
    try:
        head = file.read_head()
    except OSError as error:
        reason = error.strerror or str(error)
        raise ReadError(
            f"cannot be opened: {reason}", path=file.name, remedy="Check the name and the rights."
        ) from error
    if not head:
        raise ReadError("the file is empty", path=file.name, remedy="Ask its sender for it again.")
    return head


def _recognises(host: Host, fmt: Format, file: InputFile, head: bytes) -> bool:
    try:
        return fmt.recognise_file(file, head)
    except Exception as error:
        raise host.guard(fmt, error) from error

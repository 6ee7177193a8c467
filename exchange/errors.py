"""The errors of the exchange: one root, each naming where it happened and what to do about it."""

from __future__ import annotations

import os


class ExchangeError(Exception):
    """Tell what failed, where, and what to do.

    Parameters
    ----------
    message
        What failed, with the offending value in ``!r``.
    path, layer, record, field
        Where: the file, the layer or folder path in it, the record counted from 1, the field. Unknown is ``None``.
    remedy
        What the reader of the message can do about it, in one sentence.
    """

    def __init__(
        self,
        message: str,
        *,
        path: str | os.PathLike[str] | None = None,
        layer: str | None = None,
        record: int | None = None,
        field: str | None = None,
        remedy: str | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.path = os.fspath(path) if path is not None else None
        self.layer = layer
        self.record = record
        self.field = field
        self.remedy = remedy

    def __str__(self) -> str:
        """Return the place, the message and the remedy in one or two lines."""
        place = describe_place(self.path, self.layer, self.record, self.field)
        first = f"{place}: {self.message}" if place else self.message
        return f"{first}\n  {self.remedy}" if self.remedy else first


def describe_place(path: str | None, layer: str | None, record: int | None, field: str | None) -> str:
    """Return 'file, layer L, record N, field F' from whatever of the four is known."""
    parts = [path or ""]
    parts += [f"layer {layer}"] if layer else []
    parts += [f"record {record}"] if record else []
    parts += [f"field {field}"] if field else []
    return ", ".join(part for part in parts if part)


class ReadError(ExchangeError, ValueError):
    """A file cannot be read as what it claims to be."""


class UnknownFormatError(ReadError):
    """No loaded format recognises the file or its suffix."""


class NotThisFormatError(ReadError):
    """The file is of another kind than its suffix or the given format says."""


class MalformedError(ReadError):
    """The file breaks the rules of its own format, or ends too early."""


class UnsafeInputError(ReadError):
    """The file tries something that no honest file needs: a DOCTYPE, an entity, a path upwards, a bomb."""


class WriteError(ExchangeError, OSError):
    """The output cannot be written; nothing half-written is left behind."""

    def __str__(self) -> str:
        """Return the same text as every other error of the exchange, not that of ``OSError``."""
        return ExchangeError.__str__(self)


class OptionError(ExchangeError, ValueError):
    """An option, or a combination of options, is not usable."""


class AmbiguityError(ExchangeError, ValueError):
    """The file leaves a unit, zone, axis order or datum open; the message names the option that states it."""


class CoordinateError(ExchangeError, ValueError):
    """A text is no coordinate, or the coordinate is not on the earth."""


class UnitError(ExchangeError, ValueError):
    """A unit is unknown or measures another quantity."""


class ModelError(ExchangeError, ValueError):
    """Columns do not fit together: unequal lengths, an unknown column, a wrong kind of value."""


class PluginError(ExchangeError, RuntimeError):
    """A plugin could not be loaded or registered, or failed while it was called."""


class MissingExtraError(ExchangeError, ImportError):
    """A feature needs an optional dependency that is not installed."""


class LedgerError(ExchangeError, RuntimeError):
    """A ledger cannot be opened or written, is newer than the program, or an act asks what it must refuse."""


class BusyLedgerError(LedgerError):
    """Another program is writing to the ledger; nothing was changed."""


class DamagedLedgerError(LedgerError):
    """A ledger is cut short, or holds what no act has written; the message says where the last whole copy is."""

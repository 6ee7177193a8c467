"""The small TOML file a GIS unit keeps per source: what each of its columns means."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, Self

from exchange.errors import OptionError
from exchange.formats.columns.header import is_unit
from exchange.formats.columns.targets import EPOCH_STEPS, SHARE_RATIOS, TARGETS
from exchange.formats.time_text import parse_zone
from exchange.model import STATUS_WORDS

EXTRA = "extra"
"""The meaning of a column that is to stay a foreign field, without further words."""

POSITION_FORMS = ("dd", "ddm", "dms", "utm", "usng", "mgrs", "wkt")
_FIXED = ("sortie", "aircraft", "height_reference")
_HEIGHT_REFERENCES = ("ground", "take-off")


@dataclass(frozen=True, kw_only=True)
class ColumnMeaning:
    """What one foreign column is.

    Attributes
    ----------
    column
        The model's column, or ``extra``.
    unit
        Of its numbers, as a word; ``s`` or ``ms`` for a count since 1970.
    timezone
        Of its times where they carry none.
    time_format
        How its times are written where that is not ISO 8601, in the codes of ``strptime``.
    """

    column: str
    unit: str = ""
    timezone: str = ""
    time_format: str = ""


@dataclass(frozen=True, kw_only=True)
class PositionMeaning:
    """Where and how a source writes positions; empty is to be found out."""

    longitude: str = ""
    latitude: str = ""
    column: str = ""
    form: str = ""
    order: str = ""
    zone: str = ""
    crs: str = ""


@dataclass(frozen=True, kw_only=True)
class ColumnMapping:
    """What the columns of one source mean.

    Attributes
    ----------
    path
        The file it came from, for messages.
    columns
        Meaning by the foreign column's name, as it is written in the files.
    fixed
        ``sortie``, ``aircraft`` and ``height_reference`` to enter where the rows name none.
    status
        The model's status word by the source's own.
    position
        Where and how positions are written.
    points_as
        ``detections``, ``places``, or empty to go by what the file says.
    timezone
        Zone of times that carry none.
    names
        Names of the columns of a table without a header, in order.
    """

    path: str = ""
    columns: Mapping[str, ColumnMeaning] = field(default_factory=dict)
    fixed: Mapping[str, str] = field(default_factory=dict)
    status: Mapping[str, str] = field(default_factory=dict)
    position: PositionMeaning = field(default_factory=PositionMeaning)
    points_as: str = ""
    timezone: str = ""
    names: tuple[str, ...] = ()

    @classmethod
    def from_file(cls, path: str | os.PathLike[str]) -> Self:
        """Read a mapping from a TOML file.

        Raises
        ------
        OptionError
            When the file cannot be read, is no TOML, or holds a key or value that is not allowed; names the key and
            what is allowed.
        """
        try:
            text = Path(path).read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            reason = getattr(error, "strerror", None) or error
            raise OptionError(
                f"the column mapping cannot be read: {reason}",
                path=path,
                field="--columns",
                remedy="Check the name and the rights; it is a TOML file in UTF-8.",
            ) from error
        return cls.from_text(text, path=os.fspath(path))

    @classmethod
    def from_text(cls, text: str, *, path: str = "") -> Self:
        """Read a mapping from TOML text; raises as ``from_file`` does.

        >>> mapping = ColumnMapping.from_text('columns.tmpMax = { is = "temperature", unit = "F" }')
        >>> mapping.columns["tmpMax"].column
        'temperature'
        """
        try:
            table = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise OptionError(f"the column mapping is no TOML: {error}", path=path, field="--columns") from error
        return cls(**_Reader(path).read(table), path=path)


class _Reader:
    """Check a mapping's table key by key; every refusal names the file and the key."""

    def __init__(self, path: str) -> None:
        self.path = path

    def read(self, table: dict[str, Any]) -> dict[str, Any]:
        allowed = {f.name for f in fields(ColumnMapping)} - {"path"}
        self.require_known("", table, allowed)
        columns = {name: self.read_column(name, value) for name, value in self.table(table, "columns").items()}
        return {
            "columns": columns,
            "fixed": self.read_fixed(self.texts("fixed", self.table(table, "fixed"))),
            "status": self.read_status(self.texts("status", self.table(table, "status"))),
            "position": self.read_position(self.texts("position", self.table(table, "position"))),
            "points_as": self.choose(
                "points_as", self.text("points_as", table.get("points_as", "")), ("detections", "places")
            ),
            "timezone": self.zone("timezone", self.text("timezone", table.get("timezone", ""))),
            "names": self.read_names(table.get("names", [])),
        }

    def read_column(self, name: str, value: Any) -> ColumnMeaning:
        key = f"columns.{name}"
        given = {"is": value} if isinstance(value, str) else value
        if not isinstance(given, dict):
            raise self.refuse(
                key, value, 'Write the model column as text, or a table such as { is = "temperature", unit = "F" }.'
            )
        self.require_known(key, given, {"is", "unit", "timezone", "format"})
        texts = self.texts(key, given)
        column = texts.get("is", "")
        self.choose(f"{key}.is", column, (*TARGETS, EXTRA), required=True)
        self.check_unit(f"{key}.unit", column, texts.get("unit", ""))
        zone = self.zone(f"{key}.timezone", texts.get("timezone", ""))
        return ColumnMeaning(
            column=column, unit=texts.get("unit", ""), timezone=zone, time_format=texts.get("format", "")
        )

    def check_unit(self, key: str, column: str, unit: str) -> None:
        problem = describe_wrong_unit(column, unit) if unit else ""
        if problem:
            raise self.refuse(key, unit, problem)

    def read_fixed(self, given: dict[str, str]) -> dict[str, str]:
        self.require_known("fixed", given, set(_FIXED))
        self.choose("fixed.height_reference", given.get("height_reference", ""), _HEIGHT_REFERENCES)
        return given

    def read_status(self, given: dict[str, str]) -> dict[str, str]:
        for word, status in given.items():
            self.choose(f"status.{word}", status, STATUS_WORDS, required=True)
        return given

    def read_position(self, given: dict[str, str]) -> PositionMeaning:
        self.require_known("position", given, {f.name for f in fields(PositionMeaning)})
        self.choose("position.form", given.get("form", ""), POSITION_FORMS)
        self.choose("position.order", given.get("order", ""), ("lat-lon", "lon-lat"))
        return PositionMeaning(**given)

    def read_names(self, given: Any) -> tuple[str, ...]:
        if not isinstance(given, list) or not all(isinstance(name, str) and name for name in given):
            raise self.refuse("names", given, 'Write the columns in order: names = ["id", "lat", "lon"].')
        if len(set(given)) != len(given):
            raise self.refuse("names", given, "Every column needs a name of its own.")
        return tuple(given)

    def table(self, table: dict[str, Any], key: str) -> dict[str, Any]:
        value = table.get(key, {})
        if not isinstance(value, dict):
            raise self.refuse(key, value, f"Write it as a table headed [{key}].")
        return value

    def texts(self, key: str, table: dict[str, Any]) -> dict[str, str]:
        return {name: self.text(f"{key}.{name}", value) for name, value in table.items()}

    def text(self, key: str, value: Any) -> str:
        if not isinstance(value, str):
            raise self.refuse(key, value, "Write it as text in quotes.")
        return value

    def zone(self, key: str, text: str) -> str:
        try:
            if text:
                parse_zone(text)
        except OptionError as error:
            raise self.refuse(key, text, error.remedy or "") from error
        return text

    def choose(self, key: str, value: str, allowed: tuple[str, ...], *, required: bool = False) -> str:
        if value not in allowed and (value or required):
            raise self.refuse(key, value, f"Allowed: {', '.join(allowed)}.")
        return value

    def require_known(self, key: str, given: dict[str, Any], allowed: set[str]) -> None:
        unknown = [name for name in given if name not in allowed]
        if unknown:
            place = f"{key}.{unknown[0]}" if key else unknown[0]
            raise self.refuse(
                place, unknown[0], f"Allowed here: {', '.join(sorted(allowed))}.", what="is no key of a column mapping"
            )

    def refuse(self, key: str, value: Any, remedy: str, *, what: str = "is not allowed here") -> OptionError:
        return OptionError(f"{value!r} {what}", path=self.path or None, field=key, remedy=remedy)


def describe_wrong_unit(column: str, unit: str) -> str:
    """Return why a word is no unit for a model column and what is, or the empty text where it is one."""
    target = TARGETS.get(column)
    if target is None or (
        target.kind not in ("number", "epoch", "time") or (target.kind == "number" and not target.quantity)
    ):
        return f"The column {column!r} takes no unit."
    if target.kind in ("epoch", "time"):
        return "" if unit in EPOCH_STEPS else "A count since 1970 is in s or in ms."
    if target.quantity == "share":
        return "" if unit.lower() in SHARE_RATIOS else f"Known: {', '.join(SHARE_RATIOS)}."
    return "" if target.quantity and is_unit(unit, target.quantity) else f"It is no unit of {target.quantity}."

"""Which foreign column is which column of the model: stated by a mapping, or by an exact plain word; never by two."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from exchange.errors import OptionError
from exchange.formats.columns.header import Header, read_header, read_zone_text
from exchange.formats.columns.mapping import ColumnMapping, ColumnMeaning, describe_wrong_unit
from exchange.formats.columns.targets import HEIGHT_REFERENCES, TARGETS, Target
from exchange.formats.options import ReadOptions


@dataclass(frozen=True)
class Claim:
    """One foreign column that is a column of the model.

    Attributes
    ----------
    column
        The model's column, ``date`` for the day beside a time of day.
    name
        The foreign column.
    target
        How its values are read.
    unit, timezone, time_format
        As stated by the mapping, the header or an option; empty where nothing does.
    height_reference
        What a height is measured from, where the word says so.
    is_stated
        Whether a mapping says so; else a plain word does.
    """

    column: str
    name: str
    target: Target
    unit: str = ""
    timezone: str = ""
    time_format: str = ""
    height_reference: str = ""
    is_stated: bool = False


@dataclass(frozen=True)
class Plan:
    """What becomes of the foreign columns of a table.

    Attributes
    ----------
    claims
        By model column.
    conflicts
        The claims of several foreign columns to one model column, by that column.
    unclaimed
        Names that nothing is known of, for suggestions.
    """

    claims: Mapping[str, Claim] = field(default_factory=dict)
    conflicts: Mapping[str, tuple[Claim, ...]] = field(default_factory=dict)
    unclaimed: tuple[str, ...] = ()


def plan_columns(names: Collection[str], targets: Collection[str], options: ReadOptions) -> Plan:
    """Return which of the foreign columns are which columns of the model.

    Parameters
    ----------
    names
        Of the foreign columns.
    targets
        The keys of ``TARGETS`` that the rows have a use for.
    options
        Whose mapping and units bind.

    Raises
    ------
    OptionError
        When a unit option names no column with a unit, or an unknown unit.
    """
    check_units(options.units)
    mapping = options.columns or ColumnMapping()
    claims: list[Claim] = []
    unclaimed: list[str] = []
    for name in names:
        meaning, header = mapping.columns.get(name), read_header(name)
        if meaning is not None:
            claims += [_claim_by_mapping(name, meaning, header, options)] if meaning.column in targets else []
        elif header and header.target in targets:
            claims.append(_claim_by_word(header, options))
        elif header is None:
            unclaimed.append(name)
    return _settle(_take_lone_date(claims), tuple(unclaimed))


def check_units(units: Mapping[str, str]) -> None:
    """Check what ``--unit`` states.

    Raises
    ------
    OptionError
        When it names no column with a unit, or an unknown unit.
    """
    for column, unit in units.items():
        wrong = describe_wrong_unit(column, unit)
        if wrong:
            raise OptionError(f"{column}={unit} is no unit of a column", field="--unit", remedy=wrong)


def _claim_by_mapping(name: str, meaning: ColumnMeaning, header: Header | None, options: ReadOptions) -> Claim:
    same = header if header and header.target == meaning.column else None
    claim = _claim_by_word(Header(name, meaning.column, same.stated if same else ""), options)
    is_count = TARGETS[meaning.column].kind == "time" and meaning.unit
    return replace(
        claim,
        target=TARGETS["epoch"] if is_count else claim.target,
        unit=meaning.unit or claim.unit,
        timezone=meaning.timezone or claim.timezone,
        time_format=meaning.time_format,
        is_stated=True,
    )


def _claim_by_word(header: Header, options: ReadOptions) -> Claim:
    target = TARGETS[header.target]
    column = "height" if header.target in HEIGHT_REFERENCES else header.target
    if target.kind in ("time", "date", "epoch"):
        return _claim_time(header, options)
    return Claim(
        column=column,
        name=header.name,
        target=target,
        unit=header.stated or options.units.get(header.target, "") or options.units.get(column, ""),
        height_reference=HEIGHT_REFERENCES.get(header.target, ""),
    )


def _claim_time(header: Header, options: ReadOptions) -> Claim:
    mapping = options.columns or ColumnMapping()
    target = TARGETS[header.target]
    column = "time" if target.kind == "epoch" else header.target
    zone = read_zone_text(header.stated) or options.assume_timezone or mapping.timezone
    if target.kind == "epoch":
        return Claim(column, header.name, target, unit=header.stated or options.units.get("epoch", ""))
    if header.stated == "" and column in options.units:
        return Claim(column, header.name, TARGETS["epoch"], unit=options.units[column])
    return Claim(column, header.name, target, timezone=zone)


def _take_lone_date(claims: list[Claim]) -> list[Claim]:
    """Return the claims with the date as the time, where no other column is."""
    if any(claim.column == "time" for claim in claims):
        return claims
    return [replace(c, column="time", target=TARGETS["time"]) if c.column == "date" else c for c in claims]


def _settle(claims: list[Claim], unclaimed: tuple[str, ...]) -> Plan:
    rivals: dict[str, list[Claim]] = {}
    for claim in claims:
        rivals.setdefault(claim.column, []).append(claim)
    for column, several in rivals.items():
        stated = [claim for claim in several if claim.is_stated]
        rivals[column] = stated or several
    return Plan(
        claims={column: several[0] for column, several in rivals.items() if len(several) == 1},
        conflicts={column: tuple(several) for column, several in rivals.items() if len(several) > 1},
        unclaimed=unclaimed,
    )

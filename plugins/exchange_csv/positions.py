"""Find the columns of a table that hold the positions, and read them in the form they are written in."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import AmbiguityError, ExchangeError, OptionError
from exchange.formats.arrow_columns import to_numbers, to_texts
from exchange.formats.columns.header import Header, read_header
from exchange.formats.columns.mapping import POSITION_FORMS, PositionMeaning
from exchange.formats.columns.targets import POSITION_TARGETS
from exchange.formats.options import ReadOptions
from exchange.model import Problem, Sources
from exchange.model.columns import NumberColumn, TextColumn
from exchange_csv.cells import empty_to_null

_ZONE = re.compile(r"0?([1-9]|[1-5][0-9]|60)\s*([NS])", re.IGNORECASE)
_SINGLE = ("position", "usng", "mgrs", "wkt")
_STATED_FORMS = {"dd": "DD", "ddm": "DDM", "dms": "DMS"}


@dataclass(frozen=True)
class PositionColumns:
    """Where and how a table holds its positions.

    Attributes
    ----------
    names
        The columns: longitude and latitude, easting and northing with or without a zone, one that holds all, or none
        where the rows have no place.
    form
        ``DD``, ``DDM``, ``DMS``, ``UTM``, ``USNG``, ``MGRS``, ``WKT``, or empty for what the text itself tells.
    order, zone, crs
        As stated by an option or the mapping.
    decimal_mark
        Of the numbers.
    """

    names: tuple[str, ...]
    form: str = ""
    order: str = ""
    zone: str = ""
    crs: str = ""
    decimal_mark: str = "."

    @property
    def consumed(self) -> frozenset[str]:
        """The columns whose text the position replaces; grid text stays a foreign field, since its digits say more."""
        return frozenset() if self.form in ("UTM", "USNG", "MGRS") else frozenset(self.names)

    @property
    def is_pair(self) -> bool:
        """Whether longitude and latitude have a column each."""
        return len(self.names) == 2 and self.form not in ("UTM", "USNG", "MGRS", "WKT")


@dataclass(frozen=True)
class ReadPositions:
    """The positions of some rows; ``texts`` keeps what was no position, ``None`` where all were."""

    longitude: NumberColumn
    latitude: NumberColumn
    altitude: NumberColumn | None = None
    texts: TextColumn | None = None
    problems: tuple[Problem, ...] = ()


def find_position_columns(names: Sequence[str], options: ReadOptions, path: str) -> PositionColumns:
    """Return which columns hold the positions: those stated, else those with a plain word for a name.

    Raises
    ------
    AmbiguityError
        When no column or several may be it, or a UTM table states no zone.
    OptionError
        When a stated column is not there, or a stated form is none.
    """
    meaning = options.columns.position if options.columns else PositionMeaning()
    form = _read_form(options.position_form or meaning.form)
    headers = [header for name in names if (header := read_header(name)) and header.target in POSITION_TARGETS]
    chosen = _take_stated(names, options, meaning) or _find_by_words(headers, form, path)
    if not chosen and _has_numbers(names, options):
        return PositionColumns(())
    if not chosen:
        raise _no_position(names, path)
    found = _complete(chosen, headers, form, options, meaning)
    if found.form == "UTM" and len(found.names) < 3 and not found.zone and not found.crs and len(found.names) == 2:
        raise AmbiguityError(
            "the table holds UTM coordinates, but no zone",
            path=path,
            field=found.names[0],
            remedy="State it with --utm-zone, such as --utm-zone 11N (N or S is the hemisphere).",
        )
    return found


def _has_numbers(names: Sequence[str], options: ReadOptions) -> bool:
    """Tell whether rows without a place speak of numbered spots, as a crew's list does."""
    headers = [header for name in names if (header := read_header(name))]
    mapped = options.columns.columns if options.columns else {}
    is_mapped = any(name in names and meaning.column == "id" for name, meaning in mapped.items())
    return not options.points_as and not options.rows_as_track and (is_mapped or any(h.target == "id" for h in headers))


def _read_form(text: str) -> str:
    if text and text.lower() not in POSITION_FORMS:
        raise OptionError(
            f"{text!r} is no form of coordinates",
            field="--coordinates",
            remedy=f"Give one of: {', '.join(POSITION_FORMS)}.",
        )
    return text.upper()


def _take_stated(names: Sequence[str], options: ReadOptions, meaning: PositionMeaning) -> tuple[str, ...]:
    longitude = options.longitude_column or ("" if options.position_column else meaning.longitude)
    latitude = options.latitude_column or ("" if options.position_column else meaning.latitude)
    single = options.position_column or ("" if longitude or latitude else meaning.column)
    if bool(longitude) != bool(latitude):
        raise OptionError(
            "only one of the two coordinate columns is stated",
            field="--longitude-column, --latitude-column",
            remedy="State both.",
        )
    stated = (longitude, latitude) if longitude else (single,) if single else ()
    for name in stated:
        if name not in names:
            raise OptionError(f"the table has no column {name!r}", remedy=f"Its columns are: {', '.join(names)}.")
    return stated


def _find_by_words(headers: Sequence[Header], form: str, path: str) -> tuple[str, ...]:
    by_target = {t: [h.name for h in headers if h.target == t] for t in POSITION_TARGETS}
    wanted = [form.lower()] if form in ("USNG", "MGRS", "WKT") else []
    if form == "UTM" or not (by_target["longitude"] or by_target["latitude"]):
        wanted += ["easting+northing"]
    if form not in ("USNG", "MGRS", "WKT", "UTM"):
        wanted = ["longitude+latitude", *wanted, *_SINGLE]
    for want in [*wanted, "position"]:
        parts = want.split("+")
        if all(by_target[part] for part in parts):
            return tuple(_only(by_target[part], part, path) for part in parts)
    return ()


def _only(names: Sequence[str], target: str, path: str) -> str:
    if len(names) == 1:
        return names[0]
    raise AmbiguityError(
        f"{' and '.join(map(repr, names))} both claim to be the {target}",
        path=path,
        remedy="State the right ones with --longitude-column and --latitude-column, or --position-column.",
    )


def _complete(
    chosen: tuple[str, ...], headers: Sequence[Header], form: str, options: ReadOptions, meaning: PositionMeaning
) -> PositionColumns:
    by_name = {header.name: header for header in headers}
    header = by_name.get(chosen[0])
    if not form and header:
        form = _STATED_FORMS.get(header.stated.lower(), "")
        form = {"easting": "UTM", "usng": "USNG", "mgrs": "MGRS", "wkt": "WKT"}.get(header.target, form)
    zone = options.utm_zone or meaning.zone
    zones = [h.name for h in headers if h.target == "utm_zone"] if form == "UTM" and not zone else []
    return PositionColumns(
        (*chosen, *zones[:1]),
        form=form,
        order=options.position_order or meaning.order,
        zone=zone,
        crs=options.crs or meaning.crs,
        decimal_mark=options.decimal_mark or ".",
    )


def _no_position(names: Sequence[str], path: str) -> AmbiguityError:
    lowered = {name.strip().lower(): name for name in names}
    hint = ""
    if {"x", "y"} <= set(lowered):
        hint = f" If they are degrees: --longitude-column {lowered['x']} --latitude-column {lowered['y']}."
    datums = [name for name in names if re.search(r"nad\s*\W?(27|83)|ed\s*50", name, re.IGNORECASE)]
    if datums:
        hint = f" {datums[0]!r} names a datum: state it with --crs too, such as --crs EPSG:4267 for NAD27."
    return AmbiguityError(
        f"no column says where: the columns are {', '.join(map(repr, names[:20]))}",
        path=path,
        remedy=f"State them with --longitude-column and --latitude-column, or --position-column.{hint}",
    )


def read_positions(columns: Mapping[str, Any], position: PositionColumns, source: Sources) -> ReadPositions:
    """Return the positions of a block's rows; what is no position stays text and is told.

    Raises
    ------
    AmbiguityError
        When a stated coordinate reference system is not known.
    OptionError
        When a stated zone is none.
    """
    cells = [columns[name] for name in position.names]
    if position.crs:
        return _read_projected(cells, position, source)
    if position.form == "UTM" and len(cells) >= 2:
        return _read_utm(cells, position, source)
    if position.is_pair:
        return _read_pair(cells, position, source)
    return _read_single(cells[0], position, source)


def read_numbers(cells: Any, decimal_mark: str) -> NumberColumn | None:
    """Return a column of plain numbers as float64, empty cells NaN, or ``None`` where a cell is something else."""
    import pyarrow as pa
    import pyarrow.compute as pc

    given = empty_to_null(pc.utf8_trim_whitespace(cells))
    if decimal_mark == ",":
        if pc.any(pc.match_substring(given, ".")).as_py():
            return None
        given = pc.replace_substring(given, ",", ".")
    try:
        return to_numbers(given.cast(pa.float64()))
    except pa.ArrowInvalid:
        return None


def _read_numbers_or_nan(cells: Any, decimal_mark: str) -> NumberColumn:
    numbers = read_numbers(cells, decimal_mark)
    if numbers is not None:
        return numbers
    return np.array([_to_number(text, decimal_mark) for text in to_texts(cells)], dtype=np.float64)


def _to_number(text: str, decimal_mark: str) -> float:
    try:
        return float(text.strip().replace(",", ".") if decimal_mark == "," else text.strip())
    except ValueError:
        return float("nan")


def _read_projected(cells: Sequence[Any], position: PositionColumns, source: Sources) -> ReadPositions:
    from exchange.geo.reference_system import read_reference_system

    way = read_reference_system(position.crs)
    x, y = (_read_numbers_or_nan(column, position.decimal_mark) for column in cells[:2])
    longitude, latitude = way.transform(x, y)
    told = Problem(message=way.describe(), severity="note", path=_file_of(source), count=max(len(source), 1))
    read = keep_texts(longitude, latitude, cells, source, "the text is no position in the stated system")
    return ReadPositions(read.longitude, read.latitude, None, read.texts, (*read.problems, told))


def _read_utm(cells: Sequence[Any], position: PositionColumns, source: Sources) -> ReadPositions:
    from exchange.geo.coordinates.utm import from_utm

    easting, northing = (_read_numbers_or_nan(column, position.decimal_mark) for column in cells[:2])
    texts = [position.zone] * len(easting) if position.zone else to_texts(cells[2]).tolist()
    zones = {text: _read_zone(text) for text in set(texts)}
    if position.zone and zones and not zones[position.zone][0]:
        raise OptionError(f"{position.zone!r} is no UTM zone", field="--utm-zone", remedy="Give one such as 11N.")
    number = np.fromiter((zones[text][0] for text in texts), dtype=np.int64, count=len(texts))
    is_north = np.fromiter((zones[text][1] for text in texts), dtype=bool, count=len(texts))
    longitude, latitude = from_utm(number, is_north, easting, northing)
    return keep_texts(
        longitude,
        latitude,
        cells,
        source,
        "the text is no UTM position",
        remedy="A zone needs its hemisphere, such as 11N; where the table states none, use --utm-zone.",
    )


def _read_zone(text: str) -> tuple[int, bool]:
    match = _ZONE.fullmatch(text.strip())
    return (int(match[1]), match[2].upper() == "N") if match else (0, False)


def _read_pair(cells: Sequence[Any], position: PositionColumns, source: Sources) -> ReadPositions:
    from exchange.geo.coordinates import parse_angle_column

    if position.form in ("", "DD"):
        longitude, latitude = (read_numbers(column, position.decimal_mark) for column in cells)
        if longitude is not None and latitude is not None:
            return keep_texts(longitude, latitude, cells, source, "the text is no position")
    columns = (
        parse_angle_column(_leave_form(cells[0], position.form), axis="longitude"),
        parse_angle_column(_leave_form(cells[1], position.form), axis="latitude"),
    )
    reasons = [reason for column in columns for reason in column.reasons]
    if position.form in ("DDM", "DMS"):
        reasons.append(f"The columns are said to be in {position.form}: decimal degrees are not taken there.")
    remedy = reasons[0] if reasons else ""
    return keep_texts(columns[0].degrees, columns[1].degrees, cells, source, "the text is no position", remedy=remedy)


def _leave_form(cells: Any, form: str) -> Any:
    """Return the cells without those that are decimal degrees, where the column is said to hold minutes."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if form not in ("DDM", "DMS"):
        return cells
    is_decimal = pc.match_substring_regex(cells, r"^\s*[+-]?[0-9]+([.,][0-9]*)?\s*$")
    return pc.if_else(is_decimal, pa.nulls(len(cells), pa.string()), cells)


def _read_single(cells: Any, position: PositionColumns, source: Sources) -> ReadPositions:
    from exchange.geo.coordinates import parse_position_column

    if position.form == "":
        standard = _read_standard(cells)
        if standard is not None:
            return standard
    form: Any = position.form or None
    order: Any = position.order or None
    found = parse_position_column(cells, form=form, order=order)
    remedy = found.reasons[0].replace("\n ", "") if found.reasons else ""
    what = "the text is no position that can be read"
    return keep_texts(found.longitude, found.latitude, [cells], source, what, remedy=remedy)


def _read_standard(cells: Any) -> ReadPositions | None:
    """Return the positions of a column that is wholly ISO 6709 or WKT points, with their heights; else ``None``."""
    from exchange.geo.coordinates import parse_position

    texts = to_texts(cells).tolist()
    if not all(text.rstrip().endswith(("/", ")")) for text in texts if text.strip()):
        return None
    try:
        found = [parse_position(text) if text.strip() else None for text in texts]
    except ExchangeError:
        return None
    nothing = (float("nan"),) * 3
    table = np.array([(p.longitude, p.latitude, p.height_m) if p else nothing for p in found]).reshape(-1, 3)
    return ReadPositions(table[:, 0], table[:, 1], table[:, 2])


def keep_texts(
    longitude: NumberColumn,
    latitude: NumberColumn,
    cells: Sequence[Any],
    source: Sources,
    what: str,
    *,
    remedy: str = "",
) -> ReadPositions:
    """Return the positions with the text of those rows that hold some, but no position."""
    with np.errstate(invalid="ignore"):
        lost: NDArray[np.bool_] = ~(np.isfinite(longitude) & np.isfinite(latitude))
    if not lost.any():
        return ReadPositions(longitude, latitude)
    columns = [to_texts(column) for column in cells]
    texts = np.full(len(longitude), "", dtype=object)
    for row in np.flatnonzero(lost):
        texts[row] = " ".join(column[row] for column in reversed(columns)).strip()
    cleared = [np.where(lost, np.nan, values) for values in (longitude, latitude)]
    held = np.flatnonzero(texts != "")
    if not len(held):
        return ReadPositions(cleared[0], cleared[1])
    place = source[int(held[0])]
    problem = Problem(
        message=f"{what}; the record is kept without one",
        remedy=remedy or "Mend the position in the file.",
        path=place.file,
        record=place.record,
        field="position",
        value=texts[held[0]],
        count=len(held),
    )
    return ReadPositions(cleared[0], cleared[1], None, texts, (problem,))


def _file_of(source: Sources) -> str:
    return source.places[0][0] if source.places else ""

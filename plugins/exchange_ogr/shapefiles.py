"""Shapefiles, zipped or not: tables of short names and short text, with a sidecar for the rest."""

from __future__ import annotations

import re
import stat
import tempfile
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path, PurePosixPath
from typing import Any

import numpy as np

from exchange.errors import MalformedError, UnsafeInputError, WriteError
from exchange.formats.format import InputFile
from exchange.formats.options import ReadOptions
from exchange.formats.properties import PERIMETER
from exchange.formats.values import to_text
from exchange.model import Packet, Problem
from exchange.model.columns import ForeignColumn, to_items
from exchange_ogr.fence import refuse_cut_shapefile
from exchange_ogr.own_table import FIX, MARK, TRACK_FIELD, OwnTable, field_values, own_tables, track_numbers
from exchange_ogr.reading import read_layers
from exchange_ogr.rows import build_records
from exchange_ogr.sidecar import SUFFIX, Sidecar
from exchange_ogr.writing import write_collection

MAX_FILES = 1000
MAX_BYTES = 2**31
MAX_RATIO = 200
"""Members that unpack to more than this many times their size are refused above a megabyte (CWE-409)."""

NAME_LENGTH, TEXT_BYTES = 10, 254
"""dBASE III: the longest field name and the widest text field."""

_CONTROL = re.compile(r"[\x00-\x1f]")
_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg", ".sbn", ".sbx", ".xml", ".qix", SUFFIX)


def read_shapefiles(file: InputFile, options: ReadOptions) -> Iterator[Packet]:
    """Read a shapefile, or every one in an archive.

    Raises
    ------
    MalformedError
        When the archive is broken or holds no shapefile.
    UnsafeInputError
        When a member would leave the folder, is a link, is encrypted, or unpacks to too much.
    """
    if not zipfile.is_zipfile(file.path):
        refuse_cut_shapefile(file.path, file.name)
        yield from read_layers(file, [str(file.path)], options)
        return
    with tempfile.TemporaryDirectory(prefix="exchange-") as folder:
        unpack(file, Path(folder))
        found = sorted(path for path in Path(folder).rglob("*") if path.suffix.lower() == ".shp")
        if not found:
            raise MalformedError("the archive holds no shapefile", path=file.name, remedy="Look what is in it.")
        for path in found:
            refuse_cut_shapefile(path, file.name)
        yield from read_layers(file, [str(path) for path in found], options)


def unpack(file: InputFile, folder: Path) -> None:
    """Unpack an archive's shapefiles into a folder; raises as ``read_shapefiles`` does."""
    try:
        with zipfile.ZipFile(file.path) as archive:
            members = [member for member in archive.infolist() if not member.is_dir()]
            _refuse_unsafe(members, file.name)
            for member in members:
                if member.filename.lower().endswith(_PARTS):
                    archive.extract(member, folder)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError) as error:
        raise MalformedError(f"the archive is broken: {error}", path=file.name, remedy="Ask for it again.") from error


def _refuse_unsafe(members: Sequence[zipfile.ZipInfo], path: str) -> None:
    if len(members) > MAX_FILES or sum(member.file_size for member in members) > MAX_BYTES:
        raise UnsafeInputError("the archive unpacks to more than any honest one", path=path)
    for member in members:
        reason = _find_danger(member)
        if reason:
            raise UnsafeInputError(f"{member.filename!r} in the archive {reason}", path=path)


def _find_danger(member: zipfile.ZipInfo) -> str:
    name = PurePosixPath(member.filename.replace("\\", "/"))
    if name.is_absolute() or ".." in name.parts or re.match(r"[A-Za-z]:", member.filename):
        return "points out of its folder"
    if stat.S_ISLNK(member.external_attr >> 16):
        return "is a link"
    if member.flag_bits & 0x1:
        return "is encrypted"
    bomb = member.file_size > 2**20 and member.file_size > MAX_RATIO * max(member.compress_size, 1)
    return "unpacks to far more than its size" if bomb else ""


def write_shapefiles(packet: Packet, target: Path) -> Sequence[Problem]:
    """Write one shapefile for each kind of thing; a name that does not end in ``.shp`` gets them all in one archive.

    Raises
    ------
    WriteError
        When several kinds of thing should go into one bare shapefile, or GDAL cannot write.
    """
    tables = list(own_tables(packet)) or [OwnTable("detections", "detection", "Point", [], {})]
    if target.suffix.lower() == ".shp":
        if len(tables) > 1:
            kinds = ", ".join(table.layer for table in tables)
            raise WriteError(f"one shapefile holds one kind of thing, not {kinds}", remedy="Write a .shp.zip or .gpkg.")
        return _write_shapefile(tables[0], target, packet)
    with tempfile.TemporaryDirectory(prefix="exchange-") as folder:
        problems = [p for t in tables for p in _write_shapefile(t, Path(folder) / f"{t.layer}.shp", packet)]
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in sorted(Path(folder).iterdir()):
                archive.write(path, path.name)
    return problems


def _write_shapefile(table: OwnTable, target: Path, packet: Packet) -> list[Problem]:
    sidecar = Sidecar()
    fields, left = table.split(_dbase_type)
    short = _shorten(fields)
    sidecar.names = {short[name]: name for name in fields if short[name] != name}
    sidecar.types = {name: _text_type(table.columns[name]) for name in fields if _text_type(table.columns[name])}
    for row, values in enumerate(left):
        sidecar.keep(row, values)
    columns = {short[name]: _dbase_values(table.columns[name]) for name in fields}
    types = {short[name]: kind for name, kind in fields.items()} | {MARK: "str:10"}
    if table.mark == FIX:
        columns["track"], types["track"] = track_numbers(packet), "int:9"
        sidecar.names["track"] = TRACK_FIELD
    records = build_records(table.geometries, columns | {MARK: [table.mark] * len(left)})
    # A shapefile's polygons may have several parts, whatever the first one has.
    kind = "Polygon" if table.mark == PERIMETER else table.geometry_type
    write_collection(target, "ESRI Shapefile", {"geometry": kind, "properties": types}, records, encoding="UTF-8")
    if sidecar != Sidecar():
        sidecar.save(target.with_suffix(SUFFIX))
    return []


def _dbase_type(name: str, column: ForeignColumn) -> str:
    """Return the type of the dBASE field that gives a column back exactly, or the empty text."""
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_]*", name):
        return ""
    if column.dtype.kind == "f":
        return "float:24.15" if _fit_decimals(column) else ""
    if column.dtype.kind == "i":
        return "int:18" if all(abs(value) < 10**16 for value in column.tolist()) else ""
    texts = [to_text(value) for value in to_items(column)] if _text_type(column) else column.tolist()
    return "str:254" if set(map(type, texts)) <= {str} and _fit_texts(texts) else ""


def _fit_decimals(column: ForeignColumn) -> bool:
    # Neighbours among the doubles beyond 16 are further apart than half a unit of the 15th decimal, 5e-16.
    size = np.abs(column)
    return all(map(_fits_decimal, column[(size <= 16) | (size >= 1e8)].tolist()))


def _fits_decimal(value: float) -> bool:
    return abs(value) < 1e8 and float(f"{value:.15f}") == value and str(value) != "-0.0"


def _fit_texts(texts: Sequence[str]) -> bool:
    if _CONTROL.search("".join(texts)):
        return False
    return all(text == text.strip() and len(text.encode()) <= TEXT_BYTES for text in texts)


def _text_type(column: ForeignColumn) -> str:
    return {"b": "bool", "M": "dateTime"}.get(column.dtype.kind, "")


def _dbase_values(column: ForeignColumn) -> list[Any]:
    if _text_type(column):
        return [to_text(value) or None for value in to_items(column)]
    return field_values(column)


def _shorten(names: Any) -> dict[str, str]:
    """Return for each name a name of ten letters at most, unique whatever the case; ``track`` is kept free."""
    taken = {MARK, "track"}
    short: dict[str, str] = {}
    for name in sorted(names, key=len):
        candidate, number = name[:NAME_LENGTH], 0
        while candidate.lower() in taken:
            number += 1
            candidate = f"{name[: NAME_LENGTH - len(str(number))]}{number}"
        taken.add(candidate.lower())
        short[name] = candidate
    return short

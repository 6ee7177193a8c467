"""Which extensions kept as text may be written back as the elements they were."""

from __future__ import annotations

import io
import secrets
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from exchange.errors import ReadError
from exchange.formats.text_columns import TextCells, join_rows, wrap_cells, write_rows
from exchange.formats.xml.canonical import canonicalise
from exchange.formats.xml.stream import Run, stream_records
from exchange_gpx.columns import PointBuffer
from exchange_gpx.document import is_foreign

if TYPE_CHECKING:
    from lxml.etree import _Element


def find_lawful(cells: TextCells) -> NDArray[np.bool_]:
    """Return which texts are foreign elements in canonical XML and nothing else, shape (n,).

    They are parsed as they would stand in the file, all at once, and must come out as they went in.
    """
    # A name that no text can know, so that none can close the element it is put in.
    name = f"e{secrets.token_hex(8)}"
    document = io.BytesIO()
    document.write(f"<{name}s>".encode())
    write_rows(document, join_rows([wrap_cells(f"<{name}>", _fill(cells), f"</{name}>")]))
    document.write(f"</{name}s>".encode())
    document.seek(0)
    try:
        read = _read_elements(document, name)
    except ReadError:
        return _find_lawful_one_by_one(cells)
    return _equal(read, cells) if len(read) == len(cells) else _find_lawful_one_by_one(cells)


def _read_elements(document: io.BytesIO, name: str) -> TextCells:
    buffer = PointBuffer()
    for kind, what in stream_records(document, records=(name,), variable=(), take=_take, tags=[name]):
        if isinstance(what, Run):
            buffer.add_run(what)
        elif kind == "end":
            buffer.add(_take(what))
            what.clear()
    if not buffer.length:
        return _fill_none(0)
    points = buffer.take_all()
    return points.cells.get("text", _fill_none(points.length))


def _take(element: _Element) -> dict[str, str]:
    if not len(element) or not all(map(is_foreign, element)):
        return {}
    return {"text": "".join(map(canonicalise, element))}


def _find_lawful_one_by_one(cells: TextCells) -> NDArray[np.bool_]:
    if len(cells) == 1:
        return np.array([False])
    return np.array(
        [cells[row].as_py() is not None and bool(find_lawful(cells.slice(row, 1))[0]) for row in range(len(cells))]
    )


def _equal(first: TextCells, second: TextCells) -> Any:
    import pyarrow.compute as pc

    return np.array(pc.fill_null(pc.equal(first, second), False).to_pylist(), dtype=bool)


def _fill(cells: TextCells) -> TextCells:
    import pyarrow.compute as pc

    return pc.fill_null(cells, "")


def _fill_none(length: int) -> TextCells:
    import pyarrow as pa

    return pa.nulls(length, pa.string())

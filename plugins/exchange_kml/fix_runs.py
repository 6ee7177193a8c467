"""Long tracks: runs of times, positions and angles that are all alike, many thousand at a time."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from exchange.formats.arrow_columns import to_numbers, to_texts
from exchange.formats.text_columns import TextCells
from exchange.formats.xml.scan import scan_records
from exchange.formats.xml.shapes import Layout
from exchange.formats.xml.simplify import has_asides
from exchange_kml.fixes import Numbers, Times
from exchange_kml.names import is_extension, is_kml

if TYPE_CHECKING:
    from lxml.etree import _Element

TEXT = "text"
_NAMES = ("when", "coord", "angles")
_REGULAR = r"^-?[0-9]+(\.[0-9]+)? -?[0-9]+(\.[0-9]+)? -?[0-9]+(\.[0-9]+)?$"


@dataclass
class FixRuns:
    """Cut runs of fixes out of blocks, leave a stand-in for each, and give them back when the parser meets it."""

    mark: str = field(default_factory=lambda: f"run-{secrets.token_hex(8)}")
    _runs: dict[str, TextCells] = field(default_factory=dict)
    _count: int = 0

    def find_end(self, data: bytes, root: _Element) -> int:
        """Return the offset behind the last fix's element in a block that lies within a track; 0 for none."""
        closings = [b"</" + name + b">" for name in _element_names(root)]
        return max((data.rfind(closing) + len(closing) for closing in closings if closing in data), default=0)

    def cut(self, data: bytes, root: _Element, context: tuple[bytes, bytes]) -> bytes:
        """Return a block within a track with a stand-in for each run of fixes; as it is where that is not regular."""
        if has_asides(data) or b"\r" in data:
            return data
        found = ((data.find(b"<" + name + b">"), name) for name in _element_names(root))
        starts = sorted(each for each in found if each[0] >= 0)
        if not starts:
            return data
        ends = [start for start, _ in starts[1:]] + [len(data)]
        pieces = [
            self._cut_run(data[start:end], name, context) for (start, name), end in zip(starts, ends, strict=True)
        ]
        return data[: starts[0][0]] + b"".join(pieces)

    def _cut_run(self, data: bytes, name: bytes, context: tuple[bytes, bytes]) -> bytes:
        scan = scan_records(data, Layout([name], [], _take_text, context))
        if scan is None or not scan.joined[1:].all():
            return data
        self._count += 1
        self._runs[str(self._count)] = scan.columns[TEXT]
        stand_in = b"<" + name + f' {self.mark}="{self._count}"/>'.encode()
        return data[: int(scan.start[0])] + stand_in + data[int(scan.stop[-1]) :]

    def add_to(self, gathered: Times | Numbers, element: _Element) -> bool:
        """Add the run that an element stands for to what has been gathered; tell whether it stands for one."""
        key = element.get(self.mark) if self._runs else None
        if key is None:
            return False
        cells = self._runs.pop(key)
        rows = read_rows(cells) if isinstance(gathered, Numbers) else None
        if isinstance(gathered, Numbers) and rows is not None:
            gathered.add_many(rows)
        else:
            import pyarrow.compute as pc

            gathered.add_texts(to_texts(pc.utf8_trim_whitespace(cells)).tolist())
        return True


def read_rows(cells: TextCells) -> NDArray[np.float64] | None:
    """Return texts of three numbers each as rows, shape (n, 3); ``None`` where one is anything else."""
    import pyarrow as pa
    import pyarrow.compute as pc

    if not pc.all(pc.match_substring_regex(cells, _REGULAR)).as_py():
        return None
    values: NDArray[np.float64] = to_numbers(pc.list_flatten(pc.split_pattern(cells, " ")).cast(pa.float64()))
    return values.reshape(-1, 3)


def _take_text(element: _Element) -> dict[str, str]:
    return {TEXT: element.text or ""}


def _element_names(root: _Element) -> list[bytes]:
    """Return how a fix's elements are written in a file with this root: by the prefixes that it declares."""
    prefixes = [
        f"{prefix}:" if prefix else ""
        for prefix, uri in root.nsmap.items()
        if is_kml(str(uri)) or is_extension(str(uri))
    ]
    return [(prefix + name).encode() for prefix in dict.fromkeys([*prefixes, ""]) for name in _NAMES]

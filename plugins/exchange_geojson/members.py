"""The outermost object of a file, member by member, up to the features and on behind them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from exchange.errors import AmbiguityError, MalformedError
from exchange.formats.format import InputFile
from exchange.formats.values import to_text
from exchange.model import Problem
from exchange_geojson.careful import CarefulDecoder
from exchange_geojson.features import is_bbox
from exchange_geojson.names import HEADER, is_geojson_type
from exchange_geojson.source_bytes import Window

_TAIL_BYTES = 1 << 12
_ENDS_WITH_FEATURES = re.compile(rb"[\[}]\s*\]\s*\}\s*$")
_CRS = b'"crs"'
_KNOWN = frozenset(("type", "features", "bbox", "crs", "name", HEADER))


class MemberReader:
    """Read the members of the outermost object; the features are left to the caller."""

    def __init__(self, decoder: CarefulDecoder) -> None:
        self.decoder = decoder
        self.members: dict[str, Any] = {}
        self._is_begun = False
        self._has_looked_ahead = False

    def look_ahead(self, file: InputFile, window: Window) -> None:
        """Read the members behind the features first, where a ``crs`` may be among them.

        What the features' numbers mean must be known before the first of them is handed out.
        """
        if not may_have_late_crs(file):
            return
        with Window(file, encoding=window.encoding) as ahead:
            reader = MemberReader(CarefulDecoder())
            reader._has_looked_ahead = True
            if reader.advance(ahead):
                reader.skip_features(ahead)
            if "crs" in reader.members:
                self.members["crs"] = reader.members["crs"]
        self._has_looked_ahead = True

    def advance(self, window: Window) -> bool:
        """Read on; return whether the array of features begins, else the object has ended and nothing follows.

        Raises
        ------
        MalformedError
            When it is no JSON object, or something follows it.
        AmbiguityError
            When a coordinate reference system is stated behind the features and was not known before.
        """
        if not self._is_begun:
            self._expect(window, b"{")
            if window.skip_blank() == b"}":
                return self._finish(window)
        elif window.skip_blank() == b"}":
            return self._finish(window)
        else:
            self._expect(window, b",")
        is_late, self._is_begun = self._is_begun, True
        while True:
            name = self._read_name(window)
            if name == "features" and window.skip_blank() == b"[":
                if is_late and "features" in self.members:
                    raise MalformedError("the collection has two arrays of features")
                window.position += 1
                self.members[name] = ()
                return True
            self._keep(name, self.decoder.decode_next(window), is_late=is_late)
            if window.skip_blank() == b"}":
                return self._finish(window)
            self._expect(window, b",")

    def skip_features(self, window: Window) -> None:
        """Read past the features and to the end of the object."""
        while window.skip_blank() != b"]":
            if not self.decoder.decode_several(window, separator=",", limit=1 << 20):
                self.decoder.decode_next(window)
                if window.skip_blank() == b",":
                    window.position += 1
            if window.unused() < 1 << 20:
                window.fill()
        window.position += 1
        self.advance(window)

    def _read_name(self, window: Window) -> str:
        if window.skip_blank() != b'"':
            raise MalformedError("a name was expected", remedy="Mend the file, or ask its sender for it again.")
        name = self.decoder.decode_next(window)
        self._expect(window, b":")
        window.skip_blank()
        return str(name)

    def _keep(self, name: str, value: Any, *, is_late: bool) -> None:
        if name == "crs" and is_late and not self._has_looked_ahead:
            raise AmbiguityError(
                "the coordinate reference system is stated behind the features",
                field="crs",
                remedy="State it with --crs, or move the member before the features.",
            )
        if name in self.members and not (name == "crs" and self._has_looked_ahead):
            self.decoder.repairs.append(
                Problem(
                    message="a name is given twice in one object; the last value was taken",
                    severity="changed",
                    field=name,
                    value=to_text(self.members[name])[:200],
                )
            )
        self.members[name] = value

    def _finish(self, window: Window) -> bool:
        window.position += 1
        rest = window.skip_blank()
        if rest:
            shown = window.data[window.position : window.position + 20].decode(errors="replace")
            raise MalformedError(
                f"something follows the end of the object: {shown!r}",
                remedy="For one object after the other state --from geojson-seq; else mend the file.",
            )
        if not is_geojson_type(self.members.get("type")):
            raise MalformedError(
                f"is JSON, but its type {to_text(self.members.get('type'))[:40]!r} is none of GeoJSON's", field="type"
            )
        if "features" in self.members and self.members["type"] != "FeatureCollection":
            raise MalformedError(f"a {self.members['type']} cannot have features", field="features")
        return False

    def _expect(self, window: Window, mark: bytes) -> None:
        found = window.skip_blank()
        if not found:
            raise MalformedError(
                "the file ends before its outermost object does", remedy="Ask its sender for the whole file."
            )
        if found != mark:
            shown = window.data[window.position : window.position + 20].decode(errors="replace")
            raise MalformedError(f"is no JSON: {mark.decode()!r} was expected, found {shown!r}")
        window.position += 1


def may_have_late_crs(file: InputFile) -> bool:
    """Tell whether a ``crs`` member may stand behind the features: cheaply no for most files."""
    with file.open() as stream:
        size = stream.seek(0, 2)
        stream.seek(max(size - _TAIL_BYTES, 0))
        if _ENDS_WITH_FEATURES.search(stream.read()):
            return False
        stream.seek(0)
        kept = b""
        while block := stream.read(1 << 20):
            if _CRS in kept + block or b"\0" in block:
                return True
            kept = block[-len(_CRS) :]
    return False


def tell_members(members: Mapping[str, Any], *, has_features: bool) -> list[Problem]:
    """Tell which members of a collection have no place in the model."""
    told = []
    if "bbox" in members and not is_bbox(members["bbox"]):
        told.append(
            Problem(
                message="the bounding box is none; it was left out",
                severity="changed",
                field="bbox",
                value=to_text(members["bbox"])[:200],
            )
        )
    if has_features:
        told += [
            Problem(
                message="a member of the whole collection is not carried on",
                severity="note",
                field=name,
                value=to_text(value)[:200],
            )
            for name, value in members.items()
            if name not in _KNOWN
        ]
    return told

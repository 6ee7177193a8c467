"""What is written at the head and the end of a GPX file: metadata, extensions, and files carried along."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from exchange.errors import ExchangeError
from exchange.formats.xml.canonical import canonicalise
from exchange.formats.xml.parse import parse_fragment
from exchange_gpx.cells import escape
from exchange_gpx.document import (
    EXTENSIONS,
    FIELDS,
    HOME,
    METADATA_EXTENSIONS,
    is_foreign,
    name_attachment,
)
from exchange_gpx.names import METADATA

# GPX 1.0 has these fields; what else there is travels as a file.
_OLD_FIELDS = ("name", "desc", "time", "keywords")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)?")


@dataclass(frozen=True)
class Head:
    """What a file says of itself, as elements: fields in the schema's order, extensions, the house's own."""

    fields: Sequence[str]
    metadata_extensions: Sequence[str]
    own: Sequence[str]
    extensions: Sequence[str]


def make_head(attachments: Mapping[str, bytes], *, title: str, incident: str, version: str) -> Head:
    """Return the elements that a packet's attachments, its incident's name and a title become.

    An attachment that is no such element, or has no place of its own, is carried along as a file.
    """
    fields: dict[str, list[str]] = {}
    extensions: dict[str, list[str]] = {METADATA_EXTENSIONS: [], EXTENSIONS: []}
    files = []
    for name, data in attachments.items():
        folder, _, rest = name.rpartition("/")
        field = rest.partition("-")[0]
        if folder == FIELDS and _may_stand(field, data, name, fields, title=title, version=version):
            fields.setdefault(field, []).append(_write_field(data, version))
        elif folder in extensions and _is_attached(data, name, f"{folder}/", tag=""):
            extensions[folder].append(data.decode())
        else:
            files.append(f'<x:file n="{escape(name)}">{base64.b64encode(data).decode()}</x:file>\n')
    own = [f"<x:incident>{escape(incident)}</x:incident>"] if incident else []
    if (title or incident) and "name" not in fields:
        fields["name"] = [f"<name>{escape(title or incident)}</name>"]
        own.append("<x:made>name</x:made>")
    ordered = [text for name in METADATA for text in fields.get(name, ())]
    return Head(ordered, extensions[METADATA_EXTENSIONS], own, [*extensions[EXTENSIONS], *files])


def _may_stand(
    field: str, data: bytes, name: str, taken: Mapping[str, Sequence[str]], *, title: str, version: str
) -> bool:
    """Tell whether an attachment is a field of the metadata that still has its place free."""
    if field not in (METADATA if version == "1.1" else _OLD_FIELDS) or (field == "name" and title):
        return False
    if not _is_attached(data, name, f"{FIELDS}/{field}-", tag=HOME + field):
        return False
    is_time = field != "time" or bool(_TIME.fullmatch(parse_fragment(data).text or ""))
    return is_time and (field == "link" or field not in taken)


def _is_attached(data: bytes, name: str, stem: str, *, tag: str) -> bool:
    """Tell whether data is what ``read_document`` attached under this name: an element of the tag, or a foreign one."""
    if name != name_attachment(stem, data):
        return False
    try:
        element = parse_fragment(data)
    except ExchangeError:
        return False
    if canonicalise(element).encode() != data:
        return False
    return element.tag == tag if tag else is_foreign(element)


def _write_field(data: bytes, version: str) -> str:
    if version == "1.1":
        return data.decode()
    element = parse_fragment(data)
    name = str(element.tag).removeprefix(HOME)
    return f"<{name}>{escape(element.text or '')}</{name}>"

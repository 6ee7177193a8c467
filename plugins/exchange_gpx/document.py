"""What a GPX file says of itself: its metadata and its extensions, carried as attachments of a packet.

A packet has no column for them, so each element travels as a file of its own: ``gpx/metadata/author-HASH.xml``,
``gpx/metadata-extensions/HASH.xml``, ``gpx/extensions/HASH.xml``. The hash of its content in the name keeps those of
several files apart when they are joined.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from typing import TYPE_CHECKING, Any

from exchange.errors import MalformedError
from exchange.formats.xml.canonical import canonicalise
from exchange.formats.xml.characters import restore_text
from exchange_gpx.names import METADATA, NAMESPACES, NEWEST, OWN_TAG, POINTS, local_name

if TYPE_CHECKING:
    from lxml.etree import _Element

FIELDS, METADATA_EXTENSIONS, EXTENSIONS = "gpx/metadata", "gpx/metadata-extensions", "gpx/extensions"
INCIDENT, MADE, FILE = f"{OWN_TAG}incident", f"{OWN_TAG}made", f"{OWN_TAG}file"
OF_METADATA = f"{OWN_TAG}metadata"
"""Holds the extensions of the metadata in GPX 1.0, which has no metadata."""

HOME = f"{{{NAMESPACES[NEWEST]}}}"
"""The namespace that fields of the metadata are kept in."""
_DEFAULT: Any = {None: NAMESPACES[NEWEST]}
_RECORDS = (*POINTS, "trk", "rte", "trkseg")


def read_incident(element: _Element) -> str:
    """Return the incident's name that the house wrote in the metadata, or among the root's children in GPX 1.0."""
    found = element.find(f".//{INCIDENT}")
    return "" if found is None else restore_text(found.text or "")


def read_document(root: _Element) -> tuple[str, dict[str, bytes]]:
    """Return the incident's name and the attachments that a file's metadata and extensions are.

    Raises
    ------
    MalformedError
        When an attached file that the house wrote cannot be read.
    """
    attachments: dict[str, bytes] = {}
    home = str(root.tag).rpartition("}")[0]
    fields: list[_Element] = []
    for child in root:
        space, _, name = str(child.tag).rpartition("}")
        if child.tag == OF_METADATA:
            for extension in child:
                _read_extension(extension, METADATA_EXTENSIONS, attachments)
        elif space != home:
            _read_extension(child, EXTENSIONS, attachments)
        elif name == "metadata":
            fields += child
        elif name == "extensions":
            for extension in child:
                _read_extension(extension, EXTENSIONS, attachments)
        elif name not in _RECORDS:
            fields.append(child)
    made = (root.findtext(f".//{MADE}") or "").split()
    _read_fields([field for field in fields if local_name(field.tag) not in made], home, attachments)
    return read_incident(root), attachments


def _read_fields(fields: list[_Element], home: str, attachments: dict[str, bytes]) -> None:
    old: dict[str, str] = {}
    for field in fields:
        name = local_name(field.tag)
        if name == "extensions":
            for extension in field:
                _read_extension(extension, METADATA_EXTENSIONS, attachments)
        elif name in ("author", "email", "url", "urlname") and not len(field):
            old[name] = field.text or ""
        elif name in METADATA:
            _attach(_rename(field, home), f"{FIELDS}/{name}-", attachments)
        elif name != "bounds":
            _attach(field, f"{FIELDS}/{name}-", attachments)
    for element in _make_new_fields(old):
        _attach(element, f"{FIELDS}/{local_name(element.tag)}-", attachments)


def _read_extension(element: _Element, folder: str, attachments: dict[str, bytes]) -> None:
    if element.tag == FILE:
        try:
            attachments[restore_text(element.get("n", ""))] = base64.b64decode(element.text or "", validate=True)
        except binascii.Error as error:
            raise MalformedError(f"the attached file {element.get('n')!r} is damaged ({error})") from error
    elif not str(element.tag).startswith(OWN_TAG):
        _attach(element, f"{folder}/", attachments)


def _attach(element: _Element, stem: str, attachments: dict[str, bytes]) -> None:
    data = canonicalise(element).encode()
    attachments[name_attachment(stem, data)] = data


def name_attachment(stem: str, data: bytes) -> str:
    """Return the name under which an element's canonical XML is attached."""
    return f"{stem}{hashlib.sha256(data).hexdigest()[:16]}.xml"


def _rename(element: _Element, home: str) -> _Element:
    """Return an element of another version's namespace in that of the newest."""
    from lxml import etree

    if home == HOME[:-1]:
        return element
    space, _, name = str(element.tag).rpartition("}")
    renamed = etree.Element(
        HOME + name if space == home else str(element.tag),
        {str(key): str(value) for key, value in element.attrib.items()},
        nsmap=_DEFAULT,
    )
    renamed.text, renamed.tail = element.text, element.tail
    renamed.extend(_rename(child, home) for child in element)
    return renamed


def _make_new_fields(old: dict[str, str]) -> list[_Element]:
    """Return the fields of GPX 1.0 that later became elements with children."""
    from lxml import etree

    made: list[_Element] = []
    mail = old.get("email", "").partition("@")
    if "author" in old or mail[1]:
        author = etree.Element(f"{HOME}author", nsmap=_DEFAULT)
        if old.get("author"):
            etree.SubElement(author, f"{HOME}name").text = old["author"]
        if mail[1]:
            etree.SubElement(author, f"{HOME}email", id=mail[0], domain=mail[2])
        made.append(author)
    if old.get("url"):
        link = etree.Element(f"{HOME}link", nsmap=_DEFAULT, href=old["url"])
        if old.get("urlname"):
            etree.SubElement(link, f"{HOME}text").text = old["urlname"]
        made.append(link)
    return made


def is_foreign(element: _Element) -> bool:
    """Tell whether an element may stand among extensions: in a namespace that is neither GPX's nor the house's."""
    space = str(element.tag).rpartition("}")[0].lstrip("{")
    return bool(space) and space not in NAMESPACES.values() and not str(element.tag).startswith(OWN_TAG)

"""Go through a document's elements: folders, styles, schemas and links are kept in mind, placemarks handed on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import TYPE_CHECKING

import numpy as np

from exchange.errors import NotThisFormatError
from exchange.formats.xml.characters import restore_text
from exchange.formats.xml.parse import Event, discard
from exchange_kml.fields import Schemas
from exchange_kml.fix_runs import FixRuns
from exchange_kml.fixes import Numbers, Times, TrackParts
from exchange_kml.names import CONTAINERS, HOUSE, KIND_FOLDERS, SKIPPED, STATUS_FOLDER, is_kml, name_of, split_tag
from exchange_kml.problems import Teller
from exchange_kml.serialise import read_text, serialise
from exchange_kml.styles import SharedStyles
from exchange_kml.take import Taken, take_placemark

if TYPE_CHECKING:
    from lxml.etree import _Element

    from exchange.model.columns import TextColumn

_FEATURES = ("Placemark", "NetworkLink", *sorted(SKIPPED))
_STREAMED = ("Track", "when", "coord", "angles", "SimpleArrayData")
TAGS = tuple(
    f"{{*}}{name}" for name in (*sorted(CONTAINERS), *_FEATURES, *_STREAMED, "Style", "StyleMap", "Schema", "kml")
)
"""The elements whose events the walker needs."""

_OWN_FOLDERS = frozenset(f"{HOUSE}-folder-{kind}" for kind in KIND_FOLDERS)
_GATHERED = {"coord": "positions", "angles": "angles"}
_UNSHOWN = frozenset(("name", "Style", "StyleMap", "Schema", "styleUrl", *CONTAINERS, *_FEATURES))
_OF_THE_VIEW = frozenset(("open", "visibility", "LookAt", "Camera", "Snippet", "Region", "TimeStamp", "TimeSpan"))


@dataclass(eq=False)
class Container:
    """An open Document or Folder.

    Attributes
    ----------
    element
        Its element; ``None`` above all containers.
    parent
        What it stands in.
    is_root
        Whether it is the document that holds everything, whose name is no part of a path.
    """

    element: _Element | None
    parent: Container | None
    is_root: bool = False
    name: str = ""
    is_house: bool = False
    told: set[str] = field(default_factory=set)

    def path(self) -> str:
        """Return the names of the folders down to this one, joined by ``/``; the house's own folders do not count."""
        above = self.parent.path() if self.parent else ""
        own = "" if self.is_root or self.is_house else self.name
        return f"{above}/{own}" if above and own else above or own


@dataclass
class Streamed:
    """What streamed out of one placemark: its tracks, and the columns that stand beside a line."""

    tracks: list[TrackParts] = field(default_factory=list)
    arrays: dict[tuple[str, str], TextColumn] = field(default_factory=dict)


TakeRow = Callable[[Taken, Container, Streamed], None]
TakeRun = Callable[["_Element", Container], bool]


class Walker:
    """Follow the events of the parser.

    Parameters
    ----------
    teller
        Where problems go.
    zone
        Of fixes whose time carries none.
    take_row
        Is given each placemark, the container it stands in and what streamed out of it.
    take_run
        Is given each placemark before that, and tells whether it was a stand-in for others.

    Attributes
    ----------
    styles, schemas
        What the document has declared so far.
    fix_runs
        Fixes that stand-ins in open tracks are for.
    links
        XML of its network links.
    incident
        The name of a document of the house.
    root
        The start of the root element, once it is known.
    """

    def __init__(self, teller: Teller, zone: tzinfo | None, take_row: TakeRow, take_run: TakeRun) -> None:
        self.teller, self.zone = teller, zone
        self.take_row, self.take_run = take_row, take_run
        self.styles, self.schemas = SharedStyles(), Schemas()
        self.fix_runs = FixRuns()
        self.links: list[str] = []
        self.incident = ""
        self.root: _Element | None = None
        self.is_house = False
        self._container = Container(None, None)
        self._skipping = 0
        self._placemarks = 0
        self._streamed = Streamed()
        self._track: TrackParts | None = None

    @property
    def is_in_track(self) -> bool:
        """Whether a track is open."""
        return self._track is not None

    def follow(self, event: Event) -> None:
        """Take one event.

        Raises
        ------
        NotThisFormatError
            When the root element is not KML's.
        """
        kind, element = event
        name = name_of(element.tag)
        if kind == "start":
            if self.root is None:
                self._begin(element, name)
            self._open(element, name)
        else:
            self._close(element, name)

    def _begin(self, element: _Element, name: str) -> None:
        root = element.getroottree().getroot()
        self.root = root
        namespace, local = split_tag(str(root.tag))
        if local != "kml":
            raise NotThisFormatError(
                f"the root element is {local!r}, not 'kml'", remedy="State the format with --from NAME."
            )
        if not is_kml(namespace):
            raise NotThisFormatError(f"the root element kml is in the namespace {namespace!r}, which is none of KML's")
        if not namespace:
            self.teller.tell("the file states no namespace; it is read as KML 2.2", severity="note")

    def _open(self, element: _Element, name: str) -> None:
        if name in SKIPPED:
            self._skipping += 1
        elif name in CONTAINERS and not self._skipping:
            is_root = name == "Document" and self._container.element is None
            self._container = Container(element, self._container, is_root, is_house=self._is_own(element, is_root))
        elif self._skipping:
            return
        elif name == "Placemark":
            self._placemarks += 1
        elif name == "Track" and self._placemarks:
            self._track = TrackParts(Times(self.zone))

    def _is_own(self, element: _Element, is_root: bool) -> bool:
        """Tell whether a folder is the house's own, so that its name is no part of a layer."""
        identifier = element.get("id") or ""
        self.is_house = self.is_house or (is_root and identifier == HOUSE)
        return self.is_house and (identifier in _OWN_FOLDERS or identifier.startswith(STATUS_FOLDER))

    def _close(self, element: _Element, name: str) -> None:
        if name in SKIPPED:
            self._skipping -= 1
            if not self._skipping:
                self.teller.tell(
                    f"a {name} holds nothing that can be taken; it is left out", layer=self._container.path()
                )
                discard(element)
        elif self._skipping:
            return
        elif name == "Placemark":
            self._close_placemark(element)
        elif name in CONTAINERS:
            self._close_container(element)
        elif name == "NetworkLink":
            self._keep_link(element)
            discard(element)
        elif name in ("Style", "StyleMap", "Schema"):
            self._declare(element, name)
        else:
            self._stream(element, name)

    def _close_placemark(self, element: _Element) -> None:
        self._placemarks -= 1
        self.name_container(self._container)
        if not self.take_run(element, self._container):
            streamed, self._streamed = self._streamed, Streamed()
            self.take_row(take_placemark(element), self._container, streamed)
        discard(element)

    def take_again(self, placemark: _Element) -> None:
        """Take a placemark that another parser has read, as if it stood where this one is."""
        self.take_row(take_placemark(placemark), self._container, Streamed())
        discard(placemark)

    def name_container(self, container: Container) -> None:
        """Enter the name of a container, and of those it stands in, from what has been read of them so far."""
        here: Container | None = container
        while here is not None and here.element is not None and not here.name:
            self._read_head(here, here.element)
            here = here.parent

    def _read_head(self, container: Container, element: _Element) -> None:
        for child in element:
            name = name_of(child.tag)
            if name == "name":
                container.name = container.name or read_text(child).strip()
                if container.is_root and self.is_house:
                    self.incident = restore_text(read_text(child))
            elif name not in _UNSHOWN and not self.is_house and name not in container.told:
                container.told.add(name)
                self._tell_head(container, child, name)
        if container.is_root and not self.is_house and container.name and "name" not in container.told:
            container.told.add("name")
            self.teller.tell(
                "the document has a title, which is no incident's name", severity="note", value=container.name
            )

    def _tell_head(self, container: Container, child: _Element, name: str) -> None:
        if name not in _OF_THE_VIEW:
            self.teller.tell(
                "a folder or the document says this of itself; it is told here and not carried on",
                severity="note",
                layer=container.path(),
                field=split_tag(name)[1],
                value=read_text(child).strip(),
            )

    def _close_container(self, element: _Element) -> None:
        self.name_container(self._container)
        self._container = self._container.parent or self._container
        discard(element)

    def _declare(self, element: _Element, name: str) -> None:
        parent = element.getparent()
        if parent is None or name_of(parent.tag) not in (*CONTAINERS, "kml"):
            return
        if name == "Schema":
            fields = {
                child.get("name", ""): child.get("type", "string")
                for child in element
                if name_of(child.tag) in ("SimpleField", "SimpleArrayField")
            }
            self.schemas.add(element.get("id", ""), element.get("name", ""), fields)
        else:
            self.styles.add(element)

    def _keep_link(self, element: _Element) -> None:
        self.links.append(serialise(element))
        href = next((child.text or "" for child in element.iter() if name_of(child.tag) == "href"), "")
        self.name_container(self._container)
        self.teller.tell(
            "the file links to another; it is not fetched",
            severity="note",
            layer=self._container.path(),
            field="NetworkLink",
            value=href.strip(),
            remedy="Fetch it yourself if you trust its sender, and give it as a file of its own.",
        )

    def _stream(self, element: _Element, name: str) -> None:
        track = self._track
        if name == "Track" and track is not None:
            texts = [child.text or "" for child in element if name_of(child.tag) == "altitudeMode"]
            track.altitude_mode = texts[0].strip() if texts else ""
            self._streamed.tracks.append(track)
            self._track = None
        elif name == "SimpleArrayData" and self._placemarks:
            self._take_array(element)
        elif track is not None and name in ("when", "coord", "angles"):
            gathered: Times | Numbers = track.times if name == "when" else getattr(track, _GATHERED[name])
            if not self.fix_runs.add_to(gathered, element):
                gathered.add(element.text or "")
            _discard_in_track(element)

    def _take_array(self, element: _Element) -> None:
        parent = element.getparent()
        url = parent.get("schemaUrl", "") if parent is not None else ""
        texts = [child.text or "" for child in element if name_of(child.tag) == "value"]
        arrays = self._track.arrays if self._track is not None else self._streamed.arrays
        arrays[url, element.get("name", "")] = np.fromiter(texts, dtype=object, count=len(texts))
        element.clear(keep_tail=True)  # type: ignore[call-arg]  # missing in lxml-stubs


def _discard_in_track(element: _Element) -> None:
    """Free a fix's element; the altitude mode that stands before the first of them stays."""
    element.clear(keep_tail=True)  # type: ignore[call-arg]  # missing in lxml-stubs
    parent, before = element.getparent(), element.getprevious()
    if parent is not None and before is not None and name_of(before.tag) in ("when", "coord", "angles"):
        parent.remove(before)

"""What the tests of the ledger share: a small invented incident, and reading all of a ledger back."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from exchange.ledger.act import begin_act, start_ledger
from exchange.ledger.contents import SourceWriter
from exchange.ledger.findings import Finding, open_findings
from exchange.ledger.handouts import write_handout
from exchange.ledger.placements import write_placements
from exchange.ledger.reading import LAYERS, read_ledger
from exchange.ledger.sources import close_source, find_source, write_source
from exchange.ledger.spots import write_memberships, write_spots
from exchange.model import Detections, Packet, Perimeter, Places, Problem, StatusNotes, Track
from exchange.model.manifest import Manifest


def add(path: Path, packet: Packet, name: str = "sortie.csv") -> None:
    """Add a packet as a file of its own."""
    with begin_act(path, "add", command=f"exchange ledger add {path.name} {name}") as act:
        source = write_source(act, name=name, sha256=f"sha of {name}", size_bytes=1, reader="csv")
        writer = SourceWriter(act.connection, source)
        writer.write(packet)
        writer.finish()


def read_all(path: Path, *, at_act: int | None = None) -> Packet:
    """Return everything that every layer of a ledger gives."""
    return Packet.join(read_ledger(path, at_act=at_act, layers=LAYERS))


def seen(count: int, *, start: float = 0.0, sortie: str = "D-1") -> Detections:
    """Return sightings in a row, 100 m and more apart."""
    steps = start + np.arange(count) / 500
    return Detections(longitude=-114.2 + steps, latitude=44.5 + steps, sortie=sortie, temperature=300.0 + steps)


def make_incident(path: Path) -> None:
    """Make a ledger with something in every table: the invented Marrow Flat fire."""
    start_ledger(path, incident="Marrow Flat")
    add(path, _first_sortie())
    place = Places(longitude=[-114.0], latitude=[44.0], name="DP 1")
    add(path, Packet(detections=seen(3, start=0.1), places=place), "b")
    spots = seen(4).replace(id=["H-001", "H-002", "H-003", "H-004"])
    with begin_act(path, "merge") as act:
        write_spots(act, spots.replace(extra={"aliases": ["H-009", "", "", ""]}))
        write_memberships(act, np.arange(1, 9), [*spots.id, *["H-001"] * 4])
    with begin_act(path, "handout") as act:
        manifest = Manifest(number=["H-001", "H-002"], short_name=["H1", "H2"], profile="six letters")
        write_handout(act, manifest, profile="six letters", options={"status": ["hot"]})
    add(path, Packet(notes=StatusNotes(detection=["H1", "H 9"], status=["hot", "out"])), "crew.gpx")
    with begin_act(path, "reconcile") as act:
        write_placements(act, np.array([1, 2]), ["H-001", ""], ["manifest", "nothing"])
        open_findings(act, [Finding(kind="reconcile", problem=Problem(message="no spot is called 'H 9'"), note=2)])
        write_spots(act, spots.replace(status=["hot", "unchecked", "unchecked", "unchecked"]))
    with begin_act(path, "withdraw") as act:
        close_source(act, find_source(act.connection, "b", path=path))
        write_memberships(act, np.arange(1, 7), [*spots.id, *["H-001"] * 2])


def _first_sortie() -> Packet:
    from shapely.geometry import box

    track = Track(name="edge", longitude=[-114.2, -114.3], latitude=[44.5, 44.6], segment=[0, 0])
    drawn = box(-114.3, 44.4, -114.1, 44.6)
    perimeter = Perimeter(geometry=drawn, name="edge", as_of=np.datetime64("2026-08-14", "ms"))
    return Packet(detections=seen(6), perimeters=(perimeter,), tracks=(track,), attachments={"a.png": b"\x89PNG"})

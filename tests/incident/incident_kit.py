"""What the tests of the acts share: small invented sorties on disk, and an incident to add them to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from exchange.formats.host import OWN_DISTRIBUTION, Host
from exchange.formats.reading import as_input
from exchange.incident.adding import Added, add_files
from exchange.incident.merging import MergedLedger, merge_ledger
from exchange.incident.reconciling import Reconciled, reconcile_files
from exchange.incident.withdrawing import Withdrawn, withdraw_source
from exchange.ledger.act import start_ledger
from exchange.ledger.check import check_ledger
from exchange.ledger.database import open_to_read
from exchange.ledger.history import last_act
from exchange.ledger.reading import LAYERS, read_ledger
from exchange.ledger.spots import read_aliases, read_memberships, read_numbers, read_spots
from exchange.merge import MergeOptions
from exchange.model import Packet
from exchange_csv.format import CsvFormat
from exchange_geojson.format import GeoJson

HOST = Host.with_formats([CsvFormat(), GeoJson()], distribution=OWN_DISTRIBUTION)
NO_SHIFT = MergeOptions(shift="none", accuracy_m=4.0)

METRE = 1 / 111_320
"""About one metre in degrees of latitude; enough for tests in which spots lie far apart."""


def sortie_text(places: Sequence[tuple[float, float]], *, sortie: str, hour: int = 5) -> str:
    """Return a table of sightings at places given in metres east and north of a point of the Marrow Flat fire."""
    lines = ["lat,lon,temp (C),time,sortie"]
    for row, (east, north) in enumerate(places):
        latitude, longitude = 44.5 + north * METRE, -114.2 + east * METRE / 0.7133
        time = f"2026-08-13T{hour:02d}:{row // 60:02d}:{row % 60:02d}Z"
        lines.append(f"{latitude:.8f},{longitude:.8f},{300 + row},{time},{sortie}")
    return "\n".join(lines) + "\n"


@dataclass
class Incident:
    """A ledger in a folder, and short words for its acts."""

    folder: Path
    path: Path = field(init=False)

    def __post_init__(self) -> None:
        """Start the ledger."""
        self.path = self.folder / "fire.gpkg"
        start_ledger(self.path, incident="Marrow Flat")

    def write(self, name: str, text: str) -> Path:
        """Write a file beside the ledger."""
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return path

    def add(self, name: str, text: str | None = None) -> Added:
        """Add a file, written first where its text is given."""
        path = self.folder / name if text is None else self.write(name, text)
        return add_files(self.path, [as_input(path)], host=HOST, command=f"exchange ledger add {name}")[0]

    def merge(self, options: MergeOptions = NO_SHIFT) -> MergedLedger:
        """Merge all sightings."""
        return merge_ledger(self.path, options=options, command="exchange merge --ledger")

    def reconcile(self, name: str, text: str) -> Reconciled:
        """Put a returned file into the ledger."""
        return reconcile_files(self.path, [as_input(self.write(name, text))], host=HOST, command="exchange reconcile")

    def withdraw(self, name: str) -> Withdrawn:
        """Withdraw a source by the end of its name."""
        return withdraw_source(self.path, name, command="exchange ledger withdraw")

    def state(self, at_act: int | None = None) -> State:
        """Return where the incident stands, or stood after an act."""
        with open_to_read(self.path) as connection:
            act = last_act(connection) if at_act is None else at_act
            members, numbers = read_memberships(connection, at_act=act)
            return State(
                act=act,
                spots=read_spots(connection, at_act=act).id.tolist(),
                members=dict(zip(members.tolist(), numbers.tolist(), strict=True)),
                aliases=read_aliases(connection, at_act=act),
                numbers=list(read_numbers(connection, at_act=act)),
                packet=Packet.join(read_ledger(self.path, at_act=act, layers=LAYERS)),
            )

    def is_sound(self) -> bool:
        """Tell whether the check finds nothing."""
        return check_ledger(self.path).problems == ()


@dataclass(frozen=True)
class State:
    """What a ledger says at one moment."""

    act: int
    spots: list[str]
    members: dict[int, str]
    aliases: dict[str, str]
    numbers: list[str]
    packet: Packet

    def status(self) -> dict[str, str]:
        """Return the status of each spot by its number."""
        rows = self.packet.detections
        return {number: word for number, word in zip(rows.id.tolist(), rows.status.tolist(), strict=True) if number}

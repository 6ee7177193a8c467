"""What the demonstration runs, step by step: the invented fire's two operational periods through every command."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from exchange.cli.main import FAILED, NEEDS_PERSON

if TYPE_CHECKING:
    from exchange.demo_fire import NumberedSpot, WrittenFile

INCIDENT = "Marrow Flat (invented)"
PROFILES = ("six-capitals", "phone-map")
FIRST_PERIOD = ("d1_heat.kml", "n1_export.csv")
AFTERNOON = ("s1_norte.csv", "s1_sur.zip", "d2_heat.kmz", "d2_late.gpx")
EVENING = ("n2_spots.geojson", "n2_grid.tsv")


@dataclass(frozen=True)
class Step:
    """Hold what is said before a command, the command, and the exit codes that are right for it."""

    words: str
    arguments: list[str]
    codes: tuple[int, ...] = (0, NEEDS_PERSON)


@dataclass(frozen=True)
class Story:
    """Tell the steps in the order of work.

    Attributes
    ----------
    written
        The files of the fire.
    folder
        Where they are, and where everything else goes.
    overwrite
        Whether earlier outputs are replaced.
    """

    written: Sequence[WrittenFile]
    folder: Path
    overwrite: bool = False

    def steps(self) -> Iterator[Step]:
        """Yield every step; what comes between two commands is done when the next one is asked for."""
        yield Step("What can be read and written here:", ["formats"])
        yield from self._read_everything()
        yield from self._trace_the_edge()
        yield from self._first_period()
        yield from self._second_period()
        yield from self._take_out_what_was_wrong()

    def _read_everything(self) -> Iterator[Step]:
        sorties = [file for file in self.written if file.role == "sortie"]
        for file in sorties:
            yield Step(file.about, ["inspect", str(file.path), *file.options])
        exchanged = self._make_folder("exchanged")
        for file in sorties:
            part = str(exchanged / f"{file.path.stem}.geojson")
            yield self._writing("Each sortie in one common form:", ["convert", str(file.path), *file.options], part)
        parts = [str(exchanged / f"{file.path.stem}.geojson") for file in sorties]
        for name, words in _OUTPUTS.items():
            yield self._writing(words, ["convert", *parts], str(exchanged / name))

    def _trace_the_edge(self) -> Iterator[Step]:
        flown = [str(self._find(f"tracks/{name}").path) for name in ("d1_edge.gpx", "d1_island.gpx")]
        picture = ["--picture", str(self.folder / "perimeter.png")]
        words = "The flown edge and its unburned island become a perimeter:"
        yield self._writing(words, ["perimeter", *flown, *picture], str(self._edge))
        half = str(self._find("tracks/s1_half_ring.gpx").path)
        refused = str(self.folder / "half.geojson")
        words = "Half a ring is refused, and it is told what to fly:"
        yield Step(words, ["perimeter", half, "-o", refused, *self._replace], (FAILED,))

    def _first_period(self) -> Iterator[Step]:
        ledger = str(self._ledger)
        if self.overwrite:
            self._remove_former_ledger()
        yield Step("The incident's ledger:", ["ledger", "start", ledger, "--incident", INCIDENT])
        yield from self._add("Both sorties of the first period go into it:", FIRST_PERIOD)
        yield Step("The perimeter too:", ["ledger", "add", ledger, str(self._edge)])
        yield self._merge("Two sorties, one numbered list:")
        profiles = [word for name in PROFILES for word in ("--profile", name)]
        arguments = ["handout", ledger, *profiles, "--sheet", "--radio", "--order-by", "walk", "-o", str(self._handout)]
        yield Step("The list for an old handheld, a phone, paper and the radio:", [*arguments, *self._replace])

    def _second_period(self) -> Iterator[Step]:
        yield from self._add("The sorties of the morning after:", AFTERNOON)
        yield self._merge("The same numbers, and new ones for what is new:")
        for file in self._write_returns():
            arguments = ["reconcile", str(file.path), *file.options, "--ledger", str(self._ledger)]
            yield Step(f"{file.about}", arguments)
        yield from self._add("The evening's sortie sees heat again where crews had said out:", EVENING)
        yield self._merge("What was out and is hot again is to be looked at again:")

    def _take_out_what_was_wrong(self) -> Iterator[Step]:
        ledger, wrong = str(self._ledger), self._find("wrong/n3_spots.geojson")
        yield Step(wrong.about, ["ledger", "add", ledger, str(wrong.path), *wrong.options])
        yield self._merge("It makes spots that are none:")
        yield Step("It is taken out again:", ["ledger", "withdraw", ledger, wrong.path.name])
        yield Step("Nothing is lost, and every rule holds:", ["ledger", "check", ledger], (0,))
        yield Step("Where the incident stands:", ["ledger", "show", ledger])
        everything = ["ledger", "export", ledger]
        yield self._writing("Everything for a map program:", everything, str(self.folder / "incident.kmz"))

    def _add(self, words: str, names: Sequence[str]) -> Iterator[Step]:
        for name in names:
            file = self._find(f"sorties/{name}")
            yield Step(words, ["ledger", "add", str(self._ledger), str(file.path), *file.options])

    def _merge(self, words: str) -> Step:
        return Step(words, ["merge", "--ledger", str(self._ledger)])

    def _writing(self, words: str, arguments: list[str], target: str) -> Step:
        return Step(words, [*arguments, "-o", target, *self._replace])

    def _write_returns(self) -> list[WrittenFile]:
        """Let the crews answer the list that they were handed, under the names they were handed it by."""
        from exchange.demo_fire import write_returns

        listed, short_names = _read_handed_out(self._handout)
        return write_returns(self._make_folder("field"), listed, short_names=short_names, overwrite=self.overwrite)

    def _remove_former_ledger(self) -> None:
        # No command replaces a ledger; the one of an earlier demonstration is only a demonstration.
        for path in (self._ledger, self._ledger.with_suffix(".copy.gpkg")):
            path.unlink(missing_ok=True)

    def _find(self, name: str) -> WrittenFile:
        return next(file for file in self.written if file.path == self.folder / name)

    def _make_folder(self, name: str) -> Path:
        made = self.folder / name
        made.mkdir(exist_ok=True)
        return made

    @property
    def _replace(self) -> list[str]:
        return ["--overwrite"] if self.overwrite else []

    @property
    def _ledger(self) -> Path:
        return self.folder / "incident.gpkg"

    @property
    def _edge(self) -> Path:
        return self.folder / "perimeter.geojson"

    @property
    def _handout(self) -> Path:
        return self.folder / "handout"


def _read_handed_out(folder: Path) -> tuple[list[NumberedSpot], dict[str, str]]:
    from exchange.demo_fire import NumberedSpot
    from exchange.formats.manifest_file import MANIFEST_NAME, read_manifest

    manifest = read_manifest(str(folder / MANIFEST_NAME))
    rows = (manifest.profile == PROFILES[0]).nonzero()[0]
    numbers, names = manifest.number[rows].tolist(), manifest.short_name[rows].tolist()
    places = zip(numbers, manifest.longitude[rows].tolist(), manifest.latitude[rows].tolist(), strict=True)
    return [NumberedSpot(*place) for place in places], dict(zip(numbers, names, strict=True))


_OUTPUTS = {
    "all-sorties.kmz": "All sorties for a map program, icons inside:",
    "all-sorties.gpx": "All sorties for handhelds:",
    "all-sorties.csv": "All sorties for a spreadsheet:",
    "all-sorties.gpkg": "All sorties for a GIS:",
}

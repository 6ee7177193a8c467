"""What ``exchange merge`` reads: the sightings, and the files that stand beside them."""

from __future__ import annotations

import math
from contextlib import nullcontext
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from exchange.cli.console import open_inputs, show_progress
from exchange.cli.lengths import to_metres
from exchange.errors import OptionError, ReadError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.formats.host import Host
    from exchange.formats.options import ReadOptions
    from exchange.merge import Earlier, Merged, MergeOptions
    from exchange.merge.coverage import Coverage
    from exchange.model import Detections, Packet, Problem


@dataclass(frozen=True)
class MergeSettings:
    """Hold the options of the merge itself."""

    onto: str | None
    onto_sightings: str | None
    within: str | None
    accuracy: str | None
    no_shift: bool
    control: str | None
    sortie_from: Any
    coverage: tuple[str, ...]
    swath: str | None
    perimeter: str | None
    cells: str | None
    scheduler: str | None
    series: str

    @classmethod
    def take(cls, values: dict[str, Any]) -> MergeSettings:
        """Take them out of the command's keyword arguments; what is left are the reading options.

        Raises
        ------
        OptionError
            When a scheduler is named and no cells are asked for.
        """
        settings = cls(**{name: values.pop(name) for name in cls.__dataclass_fields__})
        if settings.scheduler and not settings.cells:
            raise OptionError("a scheduler is to work on cells, and nothing says how large", field="--scheduler",
                              remedy="Give their side as well, such as --cells 20000.")  # fmt: skip
        return settings

    def merge(self, sightings: Detections, onto: Earlier | None, control: Detections | None) -> Merged:
        """Merge by these options, in cells where they are asked for."""
        from exchange.merge import merge_detections

        options = self.to_options(control)
        if self.cells:
            return self._merge_cells(sightings, onto, options, to_metres(self.cells, "--cells"))
        return merge_detections(sightings, onto=onto, options=options)

    def _merge_cells(self, sightings: Detections, onto: Earlier | None, options: MergeOptions, cell_m: float) -> Merged:
        from exchange.merge.scale import merge_cells, reach_cluster

        with reach_cluster(self.scheduler) if self.scheduler else nullcontext() as client:
            return merge_cells(sightings, onto=onto, options=options, cell_m=cell_m, client=client)

    def to_options(self, control: Detections | None) -> MergeOptions:
        """Return them as the merge takes them."""
        from exchange.merge import MergeOptions

        within_m = to_metres(self.within, "--within") if self.within else math.nan
        accuracy_m = to_metres(self.accuracy, "--accuracy") if self.accuracy else math.nan
        try:
            return MergeOptions(
                within_m=within_m,
                accuracy_m=accuracy_m,
                shift="none" if self.no_shift else "estimate",
                control=control,
                series=self.series,
            )
        except OptionError as error:
            error.field = f"--{(error.field or '').removesuffix('_m')}"
            raise


def read_sightings(files: tuple[str, ...], host: Host, format_name: str, options: ReadOptions) -> Packet:
    """Read all files into one packet, and refuse one without a hotspot."""
    from exchange.formats.reading import read_packets
    from exchange.model import Packet

    with open_inputs(files, format_name=format_name) as inputs:
        packet = Packet.join(
            one
            for file in inputs
            for one in show_progress(read_packets(file, host=host, options=options, format_name=format_name), file.name)
        )
    if len(packet.detections):
        return packet
    held = ", ".join(f"{count} {kind}" for kind, count in packet.counts().items() if count)
    raise ReadError(
        f"no hotspot in {', '.join(files)}, but {held or 'nothing'}",
        remedy="If its markers are hotspots, say so with --points-as detections.",
    )


class ReadBeside:
    """Read the files that stand beside the sightings, and keep what is to be told of them."""

    def __init__(self, host: Host, options: ReadOptions) -> None:
        from exchange.formats.options import ReadOptions

        self.problems: tuple[Problem, ...] = ()
        self._host = host
        # How the sightings are written says nothing of these; only the zone of a bare time is everyone's.
        self._options = ReadOptions(assume_timezone=options.assume_timezone)

    def read_earlier(self, settings: MergeSettings) -> Earlier | None:
        """Read the list whose numbers are kept, and its sightings where they are given."""
        from exchange.merge import Earlier

        if not settings.onto:
            if settings.onto_sightings:
                raise OptionError("the sightings of an earlier list need that list", field="--onto-sightings",
                                  remedy="Give it with --onto.")  # fmt: skip
            return None
        spots = self._read(settings.onto, "detections").detections
        if not len(spots):
            raise ReadError("holds no hotspot, so there is no number to keep", path=settings.onto)
        told = self._read(settings.onto_sightings, "detections").detections if settings.onto_sightings else None
        return Earlier(spots=spots, sightings=told)

    def read_control(self, settings: MergeSettings) -> Detections | None:
        """Read what fixes the shifts."""
        if not settings.control:
            return None
        control = self._read(settings.control, "detections").detections
        if not len(control):
            raise ReadError("holds no point to fix the shifts by", path=settings.control)
        return control

    def read_coverage(self, settings: MergeSettings) -> Coverage | None:
        """Read what each sortie covered."""
        from exchange.merge.coverage import read_coverage
        from exchange.model import Packet

        if not settings.coverage:
            return None
        packet = Packet.join([self._read(file) for file in settings.coverage])
        return read_coverage(packet, swath_m=to_metres(settings.swath, "--swath") if settings.swath else math.nan)

    def read_area(self, settings: MergeSettings) -> BaseGeometry | None:
        """Read the perimeter, several as one."""
        if not settings.perimeter:
            return None
        from shapely import union_all

        perimeters = self._read(settings.perimeter).perimeters
        if not perimeters:
            raise ReadError("holds no perimeter", path=settings.perimeter)
        area: BaseGeometry = union_all([perimeter.geometry for perimeter in perimeters])
        return area

    def _read(self, file: str, points_as: str = "") -> Packet:
        from exchange.formats.reading import read

        packet = read(file, host=self._host, options=replace(self._options, points_as=points_as, layers=()))
        self.problems += packet.problems
        return packet

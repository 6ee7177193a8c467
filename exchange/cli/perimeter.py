"""``exchange perimeter``: flown tracks into one clean perimeter, or a refusal that tells what to fly again."""

from __future__ import annotations

import dataclasses
import math
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from exchange.cli.console import load_host, print_report, read_all, tell_problems
from exchange.cli.lengths import to_metres
from exchange.cli.main import FAILED, NEEDS_PERSON
from exchange.cli.options import json_option, output_option, overwrite_option, reading_options, to_read_options
from exchange.cli.perimeter_words import tell_trace, to_report
from exchange.errors import OptionError, ReadError

if TYPE_CHECKING:
    from exchange.formats.host import Host
    from exchange.formats.options import ReadOptions
    from exchange.model import Packet, Perimeter, Problem
    from exchange.perimeter import Traced, TraceOptions
    from exchange.perimeter.compare import Growth

_NAMES_OF_OPTIONS = {"camera_angle_degrees": "--camera-angle", "height_m": "--height", "simplify_m": "--simplify"}


@click.command(
    "perimeter",
    epilog="Example: exchange perimeter flight-1.gpx flight-2.kml --picture check.png -o perimeter.geojson",
)
@click.argument("files", nargs=-1, required=True, metavar="TRACKFILE...")
@output_option
@click.option("--to", "target_format", metavar="FORMAT", default="", help="Format of the output; needed for '-o -'.")
@click.option("--edge-side", type=click.Choice(("left", "right")), help="Side on which the camera saw the edge.")
@click.option("--camera-angle", type=float, metavar="DEGREES", help="Angle of the line of sight from the vertical.")
@click.option("--height", metavar="LENGTH", help="Height above the ground where the log has none: 60m or 200ft.")
@click.option("--elevation", metavar="FILE.asc", help="Elevation model: ASCII grid of WGS 84 degrees, metres.")
@click.option("--simplify", metavar="LENGTH", default="0.3m", show_default=True, help="Greatest shift of the line.")
@click.option("--max-vertices", type=click.IntRange(min=4), metavar="N", help="Greatest number of vertices.")
@click.option("--allow-open", is_flag=True, help="Close an open ring by an invented line, and mark it.")
@click.option("--compare", metavar="EARLIER", help="Tell growth since the perimeter in this file.")
@click.option("--picture", metavar="OUT.png", help="Draw the track, what was removed or bridged, and the ring.")
@click.option("--removed", metavar="FILE", help="Write the removed fixes as markers, each with its reason.")
@click.option("--ledger", metavar="LEDGER", default="", help="Keep the perimeter in this ledger too.")
@overwrite_option
@json_option
@reading_options
@click.pass_context
def command(
    ctx: click.Context,
    /,
    *,
    files: tuple[str, ...],
    output: str,
    target_format: str,
    compare: str | None,
    picture: str | None,
    removed: str | None,
    ledger: str,
    overwrite: bool,
    as_json: bool,
    format_name: str,
    **values: Any,
) -> None:
    """Turn the flown tracks in TRACKFILES into one clean perimeter, or tell what to fly again.

    Where there is no perimeter to be had, nothing but the picture is written and the exit code is 1. A perimeter that
    needs a look before use comes with exit code 3, and its flags travel in the output.
    """
    from exchange.cli.outputs import check_outputs, check_picture
    from exchange.model import Packet, gather_problems
    from exchange.perimeter import trace_perimeter

    check_picture(picture)
    inputs = (*files, compare, values["elevation"], ledger)
    check_outputs(
        output, picture, removed, inputs=inputs, target_format=target_format, overwrite=overwrite, as_json=as_json
    )
    if ledger:
        _check_ledger(Path(ledger))
    options, host = _to_trace_options(values), load_host()
    packet = _read_tracks(files, host, format_name, to_read_options(values))
    earlier = _read_perimeter(compare, host) if compare else None
    traced = trace_perimeter(packet.tracks, options=options)
    growth = _compare(earlier, traced.perimeter)
    if picture:
        _write_picture(Path(picture), packet, traced, earlier, overwrite=overwrite)
    losses: tuple[Problem, ...] = ()
    if traced.perimeter is not None:
        result = Packet(incident=packet.incident, perimeters=(traced.perimeter,))
        losses = _write(result, output, host, target_format, overwrite=overwrite)
        losses += _write_removed(removed, traced, host, overwrite=overwrite)
        if ledger:
            _enter(Path(ledger), traced.perimeter, files)
    unread = _ease_heights(packet.problems, traced, options)
    problems = gather_problems((*unread, *_name_unused(packet), *losses))
    if as_json:
        print_report(to_report(files, output, traced, growth, problems))
    else:
        tell_problems(problems)
        tell_trace(output, traced, growth, picture)
    ctx.exit(_exit_code(traced, growth, problems))


def _check_ledger(ledger: Path) -> None:
    """Refuse before anything is written what is no ledger."""
    from exchange.ledger.database import open_to_read

    with open_to_read(ledger):
        pass


def _enter(ledger: Path, perimeter: Perimeter, files: tuple[str, ...]) -> None:
    from exchange.cli.ledger import command_line
    from exchange.incident.adding import add_perimeters

    add_perimeters(ledger, [perimeter], name=f"perimeter traced from {', '.join(files)}", command=command_line())


def _to_trace_options(values: dict[str, Any]) -> TraceOptions:
    from exchange.geo.elevation import read_elevation
    from exchange.perimeter import TraceOptions

    angle, height, grid = (values.pop(name) for name in ("camera_angle", "height", "elevation"))
    if angle is not None and math.isnan(angle):
        raise OptionError("'nan' is no angle", field="--camera-angle", remedy="Give 0 to 85 from the vertical.")
    try:
        return TraceOptions(
            edge_side=values.pop("edge_side") or "",
            camera_angle_degrees=math.nan if angle is None else angle,
            height_m=math.nan if height is None else to_metres(height, "--height"),
            elevation=read_elevation(grid) if grid else None,
            simplify_m=to_metres(values.pop("simplify"), "--simplify"),
            max_vertices=values.pop("max_vertices"),
            allow_open=values.pop("allow_open"),
        )
    except OptionError as error:
        named = _NAMES_OF_OPTIONS.get(error.field or "", error.field)
        raise OptionError(error.message, field=named, remedy=error.remedy) from error


def _read_tracks(files: tuple[str, ...], host: Host, format_name: str, options: ReadOptions) -> Packet:
    packet = read_all(files, host, format_name, options)
    if packet.tracks:
        return packet
    held = ", ".join(f"{count} {kind}" for kind, count in packet.counts().items() if count)
    raise ReadError(
        f"no track in {', '.join(files)}" + (f", but {held}" if held else ": there is nothing in it"),
        remedy="If the rows of a table are the fixes of a track, say so with --as-track."
        if packet.detections or packet.places
        else "Give the log of a flight along the edge.",
    )


def _ease_heights(problems: Iterable[Problem], traced: Traced, options: TraceOptions) -> Iterator[Problem]:
    """Yield the problems of reading; heights that had no unit are no more than a remark where none was asked for.

    A height is asked for by an elevation model, and by a camera that looked aside or may have.
    """
    camera = {"side-unknown", "angle-unknown", "height-unknown"}
    is_asked_for = options.elevation is not None or camera.intersection(flag.code for flag in traced.flags)
    for problem in problems:
        is_height = problem.message.startswith(("height without a unit", "altitude without a unit"))
        yield problem if is_asked_for or not is_height else dataclasses.replace(problem, severity="note")


def _name_unused(packet: Packet) -> Iterator[Problem]:
    """Yield a remark on each kind of thing in the files that no perimeter is made of."""
    from exchange.model import Problem

    for kind, count in packet.counts().items():
        if count and kind not in ("tracks", "fixes"):
            yield Problem(message=f"{kind} are no part of a trace and were left out", severity="note", count=count)


def _read_perimeter(name: str, host: Host) -> Perimeter:
    from exchange.formats.options import ReadOptions

    perimeters = read_all((name,), host, "", ReadOptions()).perimeters
    if len(perimeters) != 1:
        raise ReadError(
            f"holds {len(perimeters)} perimeters, and growth is told from one",
            path=name,
            remedy="Give a file that holds the one earlier perimeter.",
        )
    return perimeters[0]


def _compare(earlier: Perimeter | None, later: Perimeter | None) -> Growth | None:
    from exchange.perimeter.compare import compare_perimeters

    return compare_perimeters(earlier, later) if earlier and later else None


def _write_picture(path: Path, packet: Packet, traced: Traced, earlier: Perimeter | None, *, overwrite: bool) -> None:
    from exchange.formats.writing import write_whole
    from exchange.perimeter.picture import draw_trace

    drawn = draw_trace(packet.tracks, traced, title=packet.incident, earlier=earlier)
    write_whole(path, lambda unfinished: unfinished.write_bytes(drawn), overwrite=overwrite)


def _write(packet: Packet, output: str, host: Host, format_name: str, *, overwrite: bool) -> tuple[Problem, ...]:
    from exchange.formats.writing import write, write_stream

    if output == "-":
        return write_stream(packet, sys.stdout.buffer, host=host, format_name=format_name)
    return write(packet, output, host=host, format_name=format_name, overwrite=overwrite)


def _write_removed(name: str | None, traced: Traced, host: Host, *, overwrite: bool) -> tuple[Problem, ...]:
    from exchange.model import Packet
    from exchange.perimeter.side_layer import to_places

    if not name:
        return ()
    return _write(Packet(places=to_places(traced.removed)), name, host, "", overwrite=overwrite)


def _exit_code(traced: Traced, growth: Growth | None, problems: Iterable[Problem]) -> int:
    if traced.perimeter is None:
        return FAILED
    needs_person = bool(traced.flags or traced.refusals) or any(problem.needs_person for problem in problems)
    needs_person = needs_person or bool(growth and growth.is_apart)
    return NEEDS_PERSON if needs_person else 0

"""``exchange handout``: one numbered list for any device."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from exchange.cli.console import load_host, print_report, read_all, say, tell_problems
from exchange.cli.handout_ledger import enter_handout, hold_handed_out
from exchange.cli.handout_options import selecting_options, to_place, to_selection
from exchange.cli.handout_paper import RADIO_NAME, SHEET_NAME, WORKBOOK_NAME, write_paper
from exchange.cli.lengths import to_metres
from exchange.cli.main import NEEDS_PERSON
from exchange.cli.options import json_option, overwrite_option, reading_options, to_read_options
from exchange.errors import OptionError, ReadError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from exchange.formats.host import Host
    from exchange.formats.options import ReadOptions
    from exchange.handout import Handout, HandoutOptions, Profile
    from exchange.handout.divisions import Divisions
    from exchange.model import Manifest, Packet, Problem

CAUTION = """An aid, no order: the incident's command, licensed practice and local rules decide on flying, on entering
burned ground and on calling a spot out. Check one known point on the device before going by it."""


@click.command("handout", epilog="Example: exchange handout list.geojson --profile six-capitals --order-by walk -o out")
@click.argument("file", metavar="FILE")
@click.option(
    "--profile", "names", metavar="NAME", multiple=True, help="Kind of device; see exchange formats --profiles."
)
@click.option("--profile-file", "profile_files", metavar="TOML", multiple=True, help="Limits of a further device.")
@click.option("-o", "--output", required=True, metavar="DIR", help="Folder for the files, the manifest and the index.")
@click.option("--manifest", "earlier", metavar="FILE", default="", help="Manifest of before: the names in it are held.")
@click.option("--perimeter", metavar="FILE", default="", help="The perimeter; by default the newest in FILE.")
@click.option("--divisions", "division_file", metavar="FILE", default="", help="Divisions: polygons, or breaks A/B.")
@selecting_options
@click.option("--order-by", type=click.Choice(("number", "priority", "walk")), default="number", help="Order of spots.")
@click.option("--start", metavar="POSITION", help="Where the walk sets out from, in any form.")
@click.option("--split-by", type=click.Choice(("nearness", "division")), default="nearness", help="How to split.")
@click.option("--comment-units", type=click.Choice(("metric", "us")), default="metric", help="Units of comments.")
@click.option("--resolution", metavar="LENGTH", help="Step of written positions, finer than their accuracy if need be.")
@click.option("--sheet", is_flag=True, help="Write sheet.pdf too, to carry and write on.")
@click.option("--radio", is_flag=True, help="Write radio.txt too, to read out.")
@click.option("--workbook", is_flag=True, help="Write workbook.xlsx too, a row a spot.")
@click.option("--title", default="", help="Title of the documents; by default the incident's name.")
@overwrite_option
@json_option
@reading_options
@click.pass_context
def command(
    ctx: click.Context,
    /,
    *,
    file: str,
    names: tuple[str, ...],
    profile_files: tuple[str, ...],
    output: str,
    earlier: str,
    sheet: bool,
    radio: bool,
    workbook: bool,
    overwrite: bool,
    as_json: bool,
    format_name: str,
    **values: Any,
) -> None:
    """Hand the numbered list in FILE out to devices: points that fit each, under names that lead back.

    Writes into DIR the files of every profile, manifest.csv, which says which short name is which spot, index.txt,
    and paper where it is asked for. Exit code 3: no spot is wanted, or something was left out.
    """
    from exchange.handout import find_formats, hand_out, write_handout
    from exchange.model import gather_problems

    folder, host = Path(output), load_host()
    paper = (SHEET_NAME,) * sheet + (RADIO_NAME,) * radio + (WORKBOOK_NAME,) * workbook
    profiles = _choose_profiles(host, names, profile_files, is_paper_enough=bool(paper))
    options, perimeter_file, division_file = _to_options(values)
    reading = to_read_options(values)
    _refuse_paper(folder, paper, overwrite=overwrite)
    held, told = _read_earlier(folder, earlier, overwrite=overwrite)
    held = hold_handed_out(file, held)
    packet = read_all([file], host, format_name, reading)
    _refuse_empty(packet, file)
    # Which layer of the list to read says nothing of the files beside it.
    beside = replace(reading, layers=())
    area, told_area = _find_area(packet, perimeter_file, host, beside)
    divisions = _read_divisions(division_file, area, host, beside)
    handout = hand_out(
        packet,
        profiles,
        find_formats(profiles, host),
        options=options,
        area=area,
        divisions=divisions,
        earlier=held,
    )
    problems = [*packet.problems, *told, *told_area, *handout.problems]
    if handout.files:
        problems += write_handout(handout, folder, host=host, overwrite=overwrite)
        enter_handout(file, handout.manifest, output)
    if len(handout.spots):
        problems += write_paper(
            handout, folder, names=paper, options=options, source=file, area=area, overwrite=overwrite
        )
    gathered = gather_problems(problems)
    if as_json:
        print_report(_report(file, output, options, handout, paper, gathered))
    else:
        tell_problems(gathered)
        _tell(output, options, handout, paper)
    needs_person = not len(handout.spots) or any(problem.needs_person for problem in gathered)
    ctx.exit(NEEDS_PERSON if needs_person else 0)


def _refuse_empty(packet: Packet, file: str) -> None:
    if len(packet.detections):
        return
    held = ", ".join(f"{count} {kind}" for kind, count in packet.counts().items() if count)
    raise ReadError(
        f"no spot in it, but {held or 'nothing'}",
        path=file,
        remedy="Give the numbered list; if its markers are hotspots, say so with --points-as detections.",
    )


def _choose_profiles(
    host: Host, names: tuple[str, ...], paths: tuple[str, ...], *, is_paper_enough: bool
) -> tuple[Profile, ...]:
    from exchange.handout import load_profiles
    from exchange.handout.profile_library import read_profile

    library = load_profiles(host, paths)
    wanted = names or tuple(read_profile(path).name for path in paths)
    if not wanted and not is_paper_enough:
        known = ", ".join(sorted(library.profiles))
        raise OptionError("no device is named", field="--profile", remedy=f"There are: {known}.")
    return library.choose(wanted)


def _to_options(values: dict[str, Any]) -> tuple[HandoutOptions, str, str]:
    from exchange.handout import HandoutOptions

    start, resolution = values.pop("start"), values.pop("resolution")
    options = HandoutOptions(
        order=values.pop("order_by"),
        start=to_place(start, "--start") if start else None,
        split_by=values.pop("split_by"),
        units=values.pop("comment_units"),
        resolution_m=to_metres(resolution, "--resolution") if resolution else None,
        title=values.pop("title"),
        handed_out=np.datetime64(datetime.now(UTC).replace(tzinfo=None), "ms"),
        selection=to_selection(values, zone=values["assume_tz"]),
    )
    return options, values.pop("perimeter"), values.pop("division_file")


def _refuse_paper(folder: Path, paper: tuple[str, ...], *, overwrite: bool) -> None:
    from exchange.formats.writing import refuse_existing

    for name in paper:
        refuse_existing(folder / name, overwrite=overwrite)


def _read_earlier(folder: Path, earlier: str, *, overwrite: bool) -> tuple[Manifest | None, list[Problem]]:
    """Return what was handed out before; what is replaced is held to, even where nobody said so."""
    from exchange.formats.manifest_file import MANIFEST_NAME, read_manifest
    from exchange.formats.writing import refuse_existing
    from exchange.model import Problem

    there = folder / MANIFEST_NAME
    if folder.is_dir():
        refuse_existing(there, overwrite=overwrite)
    if earlier:
        return read_manifest(earlier), []
    if not there.exists():
        return None, []
    message = "the names in the manifest that is replaced are held"
    return read_manifest(there), [Problem(message=message, severity="note", path=str(there))]


def _find_area(
    packet: Packet, file: str, host: Host, options: ReadOptions
) -> tuple[BaseGeometry | None, list[Problem]]:
    """Return the newest perimeter; several of one time are joined."""
    import shapely

    from exchange.model import Problem

    perimeters = read_all([file], host, "", options).perimeters if file else packet.perimeters
    if file and not perimeters:
        raise OptionError("there is no perimeter in it", path=file, field="--perimeter")
    if not perimeters:
        return None, []
    times = np.array([perimeter.as_of for perimeter in perimeters], "M8[ms]")
    is_newest = times == np.nanmax(times) if not np.isnat(times).all() else np.full(len(times), True)
    chosen = [perimeter.geometry for perimeter, newest in zip(perimeters, is_newest, strict=True) if newest]
    message = f"of {len(perimeters)} perimeters the newest counts"
    told = [Problem(message=message, severity="note", path=file)] if len(chosen) < len(perimeters) else []
    return shapely.union_all(chosen), told


def _read_divisions(file: str, area: BaseGeometry | None, host: Host, options: ReadOptions) -> Divisions | None:
    from exchange.handout.divisions import Divisions

    if not file:
        return None
    packet = read_all([file], host, "", options)
    if packet.perimeters:
        return Divisions.from_areas(packet.perimeters)
    if area is None:
        raise OptionError("division breaks lie on a perimeter", field="--perimeter", remedy="Give it as --perimeter.")
    return Divisions.from_breaks(packet.places, area)


def _tell(output: str, options: HandoutOptions, handout: Handout, paper: tuple[str, ...]) -> None:
    if not len(handout.spots):
        say(f"none of the list's {handout.listed} spots is wanted; nothing was written")
        return
    for file in handout.files:
        division = f", division {file.division}" if file.division else ""
        say(f"{file.name}: {len(file.numbers)} spots{division}")
    if options.order == "walk":
        walk, by_number = (
            f"{length / 1000:.2f} km" for length in (handout.ordering.length_m, handout.ordering.length_by_number_m)
        )
        say(f"the walk is {walk} long, straight from spot to spot; in the order of the numbers it is {by_number}")
    beside = [*(("manifest.csv", "index.txt") if handout.files else ()), *paper]
    say(f"{output}: {len(handout.spots)} of the list's {handout.listed} spots, {', '.join(beside)}")
    say(CAUTION)


def _report(
    file: str,
    output: str,
    options: HandoutOptions,
    handout: Handout,
    paper: tuple[str, ...],
    problems: tuple[Problem, ...],
) -> dict[str, Any]:
    return {
        "version": 1,
        "file": file,
        "output": output,
        "counts": {"listed": handout.listed, "handed_out": len(handout.spots)},
        "order": {
            "by": options.order,
            "length_m": round(handout.ordering.length_m, 1),
            "length_by_number_m": round(handout.ordering.length_by_number_m, 1),
        },
        "files": [
            {
                "name": one.name,
                "profile": one.profile.name,
                "spots": len(one.numbers),
                "first": one.numbers[0],
                "last": one.numbers[-1],
                "division": one.division,
            }
            for one in handout.files
        ],
        "paper": list(paper) if len(handout.spots) else [],
        "problems": [problem.as_dict() for problem in problems],
        "caution": " ".join(CAUTION.split()),
    }

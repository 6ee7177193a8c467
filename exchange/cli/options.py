"""The options that several commands share, in one place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import reduce
from typing import TYPE_CHECKING, Any, TypeVar

import click

from exchange.errors import OptionError

if TYPE_CHECKING:
    from exchange.formats.options import ReadOptions

AnyCommand = TypeVar("AnyCommand", bound=Callable[..., Any])

POSITION_FORMS = ("dd", "ddm", "dms", "utm", "usng", "mgrs", "wkt")

_READING = (
    click.option("--from", "format_name", metavar="FORMAT", default="", help="Format of the files; needed for '-'."),
    click.option("--assume-tz", metavar="ZONE", default="", help="Zone of times without one, such as UTC or -07:00."),
    click.option("--unit", "units", metavar="COLUMN=UNIT", multiple=True, help="Unit where the file states none."),
    click.option("--columns", metavar="TOML", default="", help="What the columns of this source mean."),
    click.option("--sortie", default="", help="Sortie of rows that name none."),
    click.option("--aircraft", default="", help="Aircraft of rows that name none."),
    click.option("--coordinates", type=click.Choice(POSITION_FORMS), help="How positions are written."),
    click.option("--order", type=click.Choice(("lat-lon", "lon-lat")), help="Order where one text holds both."),
    click.option("--longitude-column", metavar="NAME", default="", help="Column of the longitude or easting."),
    click.option("--latitude-column", metavar="NAME", default="", help="Column of the latitude or northing."),
    click.option("--position-column", metavar="NAME", default="", help="Column that holds the whole position."),
    click.option("--utm-zone", metavar="ZONE", default="", help="UTM zone with hemisphere N or S, such as 11N."),
    click.option("--crs", default="", help="Coordinate reference system where the file states none: EPSG:26911."),
    click.option("--encoding", default="", help="Encoding of a text table where it cannot be told."),
    click.option("--separator", default="", help="Separator of a text table where it cannot be told."),
    click.option("--decimal", type=click.Choice((".", ",")), help="Decimal mark of a text table."),
    click.option("--points-as", type=click.Choice(("detections", "places")), help="What unmarked markers are."),
    click.option("--as-track", is_flag=True, help="The rows of a table are the fixes of a track."),
    click.option("--layer", "layers", multiple=True, help="Read this layer only; may be given several times."),
)

json_option = click.option("--json", "as_json", is_flag=True, help="Print the report as JSON on standard output.")
output_option = click.option(
    "-o", "--output", required=True, metavar="OUT", help="Output file; '-' is standard output."
)
overwrite_option = click.option("--overwrite", is_flag=True, help="Replace an existing output file.")
files_argument = click.argument("files", nargs=-1, required=True, metavar="FILE...")


def reading_options(command: AnyCommand) -> AnyCommand:
    """Give a command every option that states what a file does not say of itself."""
    return reduce(lambda wrapped, option: option(wrapped), reversed(_READING), command)


def to_read_options(values: dict[str, Any]) -> ReadOptions:
    """Take the values of ``reading_options`` out of a command's keyword arguments.

    Raises
    ------
    OptionError
        When a unit is not given as COLUMN=UNIT, or is none of that column.
    ReadError
        When the file of ``--columns`` cannot be read.
    """
    from exchange.formats.columns.mapping import ColumnMapping
    from exchange.formats.options import ReadOptions

    mapping_path = values.pop("columns")
    return ReadOptions(
        assume_timezone=_check_zone(values.pop("assume_tz")),
        units=_split_units(values.pop("units")),
        columns=ColumnMapping.from_file(mapping_path) if mapping_path else None,
        position_form=values.pop("coordinates") or "",
        position_order=values.pop("order") or "",
        decimal_mark=values.pop("decimal") or "",
        points_as=values.pop("points_as") or "",
        rows_as_track=values.pop("as_track"),
        layers=tuple(values.pop("layers")),
        **{name: values.pop(name) for name in _PLAIN},
    )


_PLAIN = (
    "sortie",
    "aircraft",
    "longitude_column",
    "latitude_column",
    "position_column",
    "utm_zone",
    "crs",
    "encoding",
    "separator",
)


def _split_units(pairs: Sequence[str]) -> dict[str, str]:
    for pair in pairs:
        if "=" not in pair:
            raise OptionError(f"{pair!r} states no unit", field="--unit", remedy="Write it as temperature=F.")
    units = {name.strip(): unit.strip() for name, _, unit in (pair.partition("=") for pair in pairs)}
    if units:
        from exchange.formats.columns.claims import check_units

        # At once, not only where a file happens to have such a column.
        check_units(units)
    return units


def _check_zone(text: str) -> str:
    from exchange.formats.time_text import parse_zone

    if text:
        parse_zone(text)
    return text

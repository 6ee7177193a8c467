"""The door: as ``merge_detections``, with the shifts worked out by couples of sorties and the grouping in cells."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from exchange.errors import OptionError
from exchange.merge.earlier import Earlier
from exchange.merge.merge import merge_with
from exchange.merge.merged import Merged
from exchange.merge.options import MergeOptions
from exchange.merge.scale.cluster import name_missing_dask
from exchange.merge.scale.computing import compute_all
from exchange.merge.scale.group_cells import group_cells
from exchange.model.detections import Detections

if TYPE_CHECKING:
    from distributed import Client

CELL_M = 5_000.0
"""Side of a cell where none is asked for: some fires of a season, and an area that one camera covers in a day."""


def merge_cells(
    sightings: Detections,
    *,
    onto: Earlier | Detections | None = None,
    options: MergeOptions = MergeOptions(),  # noqa: B008  # frozen
    cell_m: float = CELL_M,
    client: Client | None = None,
) -> Merged:
    """Return what ``merge_detections`` returns for the same arguments, to the last digit.

    Parameters
    ----------
    sightings, onto, options
        As in ``merge_detections``.
    cell_m
        Side of a cell, metres. Smaller cells need less memory each; an island of sightings larger than a cell is taken
        whole all the same.
    client
        Of a Dask cluster, which then does the work; without one the cells are worked out in threads of this process.

    Raises
    ------
    MissingExtraError
        When Dask is not installed.
    OptionError
        When the side of a cell is not positive.
    ModelError
        As in ``merge_detections``.
    """
    if not cell_m > 0:
        raise OptionError(f"{cell_m!r} is no side of a cell", field="--cells", remedy="Give metres above 0.")
    try:
        import dask  # noqa: F401  # refused here, not in the middle of the work
    except ImportError as error:
        raise name_missing_dask() from error
    return merge_with(
        sightings,
        onto=onto,
        options=options,
        group=partial(group_cells, cell_m=cell_m, client=client),
        compute=partial(compute_all, client=client),
    )

"""The Marrow Flat fire as files: what is written, in which order.

Nothing here reads or writes through the exchange: these are the files of strangers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from exchange.demo_fire import truth
from exchange.demo_fire.file_plan import make_desk, make_ground, make_returns, make_sorties, make_tracks
from exchange.demo_fire.made_file import MadeFile, WrittenFile
from exchange.demo_fire.numbered_list import NumberedSpot, to_numbered_spots
from exchange.demo_fire.scenario import Scenario
from exchange.demo_fire.writing import write_files

SEED: Final = 2611


def write_marrow_flat(folder: Path, *, seed: int = SEED, overwrite: bool = False) -> list[WrittenFile]:
    """Write the invented fire into a folder, which is made if it is not there.

    Parameters
    ----------
    folder
        Where the files go, in folders by role.
    seed
        Of all random numbers; the same seed writes the same bytes.
    overwrite
        Whether files of the same names may be replaced.

    Returns
    -------
    list of WrittenFile
        In the order in which an incident would receive them, with what each is and the options it needs.

    Raises
    ------
    WriteError
        If a file is there already and ``overwrite`` is false, or the folder cannot be written.
    """
    return write_files(folder, make_marrow_flat(seed), overwrite=overwrite)


def write_returns(
    folder: Path,
    listed: Sequence[NumberedSpot],
    *,
    seed: int = SEED,
    short_names: Mapping[str, str] | None = None,
    overwrite: bool = False,
) -> list[WrittenFile]:
    """Write the crews' returns for a list numbered by someone else, such as the exchange itself.

    Parameters
    ----------
    folder
        Where the files go, into its folder ``returns``.
    listed
        The numbers the crews were given, and where.
    seed
        Of the fire; the spots are found by place, so it must be the one the sorties were written with.
    short_names
        What the handheld called each number, if the list was handed out under other names.
    overwrite
        Whether files of the same names may be replaced.

    Raises
    ------
    WriteError
        If a file is there already and ``overwrite`` is false, or the folder cannot be written.
    """
    made, _ = make_returns(Scenario.from_seed(seed), listed, short_names)
    return write_files(folder, made, overwrite=overwrite)


def make_marrow_flat(seed: int = SEED) -> list[MadeFile]:
    """Return every file of the fire in memory."""
    scenario = Scenario.from_seed(seed)
    numbered = scenario.numbered()
    sorties, sightings = make_sorties(scenario)
    tracks, flights = make_tracks(scenario)
    returns, reports = make_returns(scenario, to_numbered_spots(numbered))
    truths = {
        "truth/edges.geojson": (truth.true_edges(scenario.edge), "The true burned area before and after its growth."),
        "truth/spots.geojson": (truth.true_spots(scenario.spots), "Every true hot spot, with its true temperatures."),
        "truth/truth.json": (
            truth.true_story(sightings, numbered, flights, reports),
            "What each sighting, fix, number and report truly is.",
        ),
    }
    return [
        *make_ground(),
        *sorties,
        *tracks,
        *make_desk(scenario, numbered),
        *returns,
        *(MadeFile(name=name, content=content, about=about, role="truth") for name, (content, about) in truths.items()),
    ]

"""The regimes: how dense the spots lie, how noisy the sorties are, and what else is hard.

They are written from a description in words and stay as they are, whatever the merge reaches on them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

Span = tuple[float, float]

SPACINGS_M: dict[str, Span] = {"sparse": (15.0, 40.0), "medium": (6.0, 15.0), "dense": (2.0, 6.0)}
"""From how far to how far a spot's nearest neighbour lies."""

NOISES_M: dict[str, Span] = {"low": (0.3, 0.5), "mid": (0.8, 1.2), "high": (2.0, 3.0)}
"""Standard deviation per axis, drawn for each sortie."""


@dataclass(frozen=True, kw_only=True)
class Regime:
    """State how a fire and its sorties are drawn; each span is drawn from evenly.

    Attributes
    ----------
    spacing_m, noise_m, shift_m
        Distance to the nearest spot; standard deviation per axis of each sortie; length of each sortie's shift.
    image_noise_m
        Standard deviation per axis of a shift that all sightings of one image share.
    spots, sorties
        Fewest and most.
    misses, false_alarms
        Share of the spots that a sortie does not see; share of its sightings that are none.
    cover
        Share of the area, in a band across it, that each sortie covers.
    heat_noise
        Standard deviation of a measured temperature, as a share of it (3 degrees come on top); infinite for none.
    has_images, has_times
        Whether sightings name their image and carry a time.
    pattern
        ``grown``, or ``lattice`` for a regular square pattern.
    is_disjoint
        Whether each sortie covers a part of its own.
    """

    spacing_m: Span = SPACINGS_M["medium"]
    noise_m: Span = NOISES_M["mid"]
    shift_m: Span = (0.0, 6.0)
    image_noise_m: Span = (0.0, 0.0)
    spots: tuple[int, int] = (200, 200)
    sorties: tuple[int, int] = (3, 5)
    misses: Span = (0.03, 0.25)
    false_alarms: Span = (0.02, 0.08)
    cover: Span = (1.0, 1.0)
    heat_noise: float = 0.04
    has_images: bool = True
    has_times: bool = True
    pattern: str = "grown"
    is_disjoint: bool = False


_COMMON = Regime()

REGIMES: dict[str, Regime] = {
    **{
        f"{spacing}_{noise}": replace(_COMMON, spacing_m=SPACINGS_M[spacing], noise_m=NOISES_M[noise])
        for spacing in SPACINGS_M
        for noise in NOISES_M
    },
    "no_offset": replace(_COMMON, shift_m=(0.0, 0.0)),
    "no_images": replace(_COMMON, has_images=False),
    "no_times": replace(_COMMON, has_images=False, has_times=False),
    "big_misses": replace(_COMMON, misses=(0.30, 0.50)),
    "many_false": replace(_COMMON, false_alarms=(0.20, 0.30)),
    "low_cover": replace(_COMMON, cover=(0.40, 0.60)),
    "image_noise": replace(_COMMON, noise_m=NOISES_M["low"], image_noise_m=(0.5, 1.0)),
    "many_sorties": replace(_COMMON, sorties=(8, 12)),
    "coincident": replace(_COMMON, spacing_m=(0.5, 1.5)),
    "lattice": replace(_COMMON, spacing_m=(4.0, 6.0), pattern="lattice"),
    "few_spots": replace(_COMMON, spots=(3, 5)),
    "disjoint": replace(_COMMON, is_disjoint=True),
    **{
        f"{spacing}_{noise}_{heat}_heat": replace(
            _COMMON, spacing_m=SPACINGS_M[spacing], noise_m=NOISES_M[noise], heat_noise=heat_noise
        )
        for spacing, noise in (("medium", "high"), ("dense", "mid"))
        for heat, heat_noise in (("weak", 0.30), ("no", float("inf")))
    },
}
"""What is said of spacing and noise by its name; all else has medium spacing and mid noise, and one thing changed.
The last four came after the others: temperatures tell crowded spots apart where they are measured as well as here."""

UNDECIDABLE = frozenset({"coincident", "lattice", "few_spots", "disjoint", "dense_high"})
"""Regimes that no computation can settle: each run must be flagged."""

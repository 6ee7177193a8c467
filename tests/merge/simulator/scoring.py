"""How well a grouping fits the truth: pairs, adjusted Rand index, count, position, numbers kept."""

from __future__ import annotations

from collections.abc import Container, Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tests.merge.simulator.scene import Floats


class PairScore(NamedTuple):
    """Score pairs of sightings: 1 is perfect. Without any pair on either side all are 1."""

    precision: float
    recall: float
    f1: float
    adjusted_rand: float


def score_pairs(truth: ArrayLike, found: ArrayLike) -> PairScore:
    """Score which sightings are put together.

    The adjusted Rand index is that of L. Hubert and P. Arabie, 'Comparing partitions', Journal of Classification 2
    (1985), 193-218.

    Parameters
    ----------
    truth, found
        A label a sighting, of any kind, shape (n,).
    """
    table, of_truth, of_found = _cross(truth, found)
    both, true, made, all_pairs = (float(np.sum(n * (n - 1) / 2)) for n in (table, of_truth, of_found, of_truth.sum()))
    precision = both / made if made else 1.0
    recall = both / true if true else 1.0
    f1 = 2.0 * both / (made + true) if made + true else 1.0
    expected = true * made / all_pairs if all_pairs else 0.0
    most = (true + made) / 2.0
    return PairScore(precision, recall, f1, (both - expected) / (most - expected) if most != expected else 1.0)


def count_error(truth: ArrayLike, found: ArrayLike) -> float:
    """Return by what share too many (positive) or too few spots were found; a false alarm counts as a spot."""
    true = len(np.unique(np.asarray(truth)))
    return (len(np.unique(np.asarray(found))) - true) / true


def position_errors(truth: NDArray[np.int64], found: ArrayLike, places: Floats, true_places: Floats) -> Floats:
    """Return how far each found spot lies from the spot that most of its sightings are of, metres.

    What all have in common (the median) is taken off first: without control no computation can know it.

    Parameters
    ----------
    truth, found
        As in ``score_pairs``; found are whole numbers that index ``places``.
    places, true_places
        Metres, shape (n, 2).
    """
    spots, owner = _owners(truth, found)
    real = owner >= 0
    off = places[spots[real]] - true_places[owner[real]]
    if not len(off):
        return np.zeros(0)
    return np.asarray(np.hypot(*(off - np.median(off, axis=0)).T))


def share_of_numbers_kept(
    truth_before: ArrayLike, before: ArrayLike, truth_after: ArrayLike, after: ArrayLike, *, with_false: bool = True
) -> float:
    """Return the share of numbers that still name the spot they named before.

    A number names the spot that most of its sightings are of; where several numbers named one spot, the one with
    most sightings counts.

    Parameters
    ----------
    truth_before, before
        What each sighting of the earlier run is, and the number it got.
    truth_after, after
        The same of the later run.
    with_false
        Whether false alarms, negative in the truth, count as spots.
    """
    earlier, later = (_best_numbers(t, f) for t, f in ((truth_before, before), (truth_after, after)))
    earlier = {spot: number for spot, number in earlier.items() if with_false or spot >= 0}
    return float(np.mean([later.get(spot) == number for spot, number in earlier.items()])) if earlier else 1.0


def share_of_numbers_standing(
    before: ArrayLike, after: ArrayLike, aliases: Mapping[Any, Any] = MappingProxyType({})
) -> float:
    """Return the share of numbers that most of their sightings still have, whatever spots are true.

    Parameters
    ----------
    before, after
        The number of each sighting in the earlier and in the later run.
    aliases
        The number that each folded number became; where it is given, a number counts that is found by its alias.
    """
    before, after = np.asarray(before), np.asarray(after)
    stands = []
    for number in set(before.tolist()):
        names, counts = np.unique(after[before == number], return_counts=True)
        stands.append(aliases.get(number, number) in names[counts == counts.max()])
    return float(np.mean(stands)) if stands else 1.0


def shares_flagged(truth: ArrayLike, found: ArrayLike, flagged: Container[Any]) -> tuple[float, float]:
    """Return which share of the wrong and of the right spots is flagged; NaN where there are none.

    A spot is right that has all sightings of a true one (or one false alarm) and no other.

    Parameters
    ----------
    truth, found
        As in ``score_pairs``.
    flagged
        The labels that are flagged.
    """
    truth, found = np.asarray(truth), np.asarray(found)
    size = dict(zip(*np.unique(truth, return_counts=True), strict=True))
    shares: dict[bool, list[bool]] = {False: [], True: []}
    for label in set(found.tolist()):
        own = truth[found == label]
        shares[bool((own == own[0]).all() and len(own) == size[own[0]])].append(label in flagged)
    wrong, right = (float(np.mean(shares[kind])) if shares[kind] else np.nan for kind in (False, True))
    return wrong, right


def _best_numbers(truth: ArrayLike, found: ArrayLike) -> dict[Any, Any]:
    truth, found = np.asarray(truth), np.asarray(found)
    spots, owner = _owners(truth, found)
    sizes = dict(zip(*np.unique(found, return_counts=True), strict=True))
    best: dict[Any, Any] = {}
    for spot, number in sorted(zip(owner.tolist(), spots.tolist(), strict=True), key=lambda p: (-sizes[p[1]], p[1])):
        best.setdefault(spot, number)
    return best


def _owners(truth: ArrayLike, found: ArrayLike) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return the found labels, and for each the true label that most of its sightings have."""
    labels, row = np.unique(np.asarray(found), return_inverse=True)
    names, column = np.unique(np.asarray(truth), return_inverse=True)
    pairs, counts = np.unique(np.column_stack([row, column]), axis=0, return_counts=True)
    order = np.lexsort([pairs[:, 1], -counts, pairs[:, 0]])
    first = np.unique(pairs[order, 0], return_index=True)[1]
    return labels, names[pairs[order, 1][first]]


def _cross(truth: ArrayLike, found: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Return how many sightings share both labels, and how many have each true and each found one."""
    rows = np.column_stack([np.unique(np.asarray(values), return_inverse=True)[1] for values in (truth, found)])
    both = np.unique(rows, axis=0, return_counts=True)[1]
    return both.astype(np.float64), *(np.bincount(rows[:, side]).astype(np.float64) for side in (0, 1))

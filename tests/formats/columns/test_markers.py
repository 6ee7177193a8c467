from __future__ import annotations

import numpy as np
import pytest

from exchange.formats.columns.markers import HOTSPOT, PLACE, UNTOLD, tell_by_words, tell_markers


def texts(*values: str) -> np.ndarray:
    return np.fromiter(values, dtype=object, count=len(values))


HOT = (
    "Hotspot 12", "Division A/Hot spots", "HEAT-3", "isolated heat source", "Punto caliente 4", "Foco 2", "Point chaud",
    "Glutnest 7", "punto caldo", "Zarzewie ognia", "θερμή εστία", "s\u0131cak nokta", "Очаг 5", "第3ホットスポット",
    "熱源12",
)  # fmt: skip
PLACES = (
    "DP-3 drop point", "Helispot H2", "Water Source", "Spike camp", "Staging Area", "Launch", "take-off", "home",
    "Toma de agua 1", "Point d'eau", "Wasserentnahmestelle", "Landeplatz 2", "Lądowisko", "ヘリポート1", "Лагерь",
)  # fmt: skip
NEITHER = ("", "Marker 4", "H-014", "Spot", "Waterman", "Homestead", "Hotel", "Marrow Flat", "Campbell", "Heath")


@pytest.mark.parametrize("text", HOT)
def test_words_for_heat_tell_a_hotspot(text: str) -> None:
    """A word for heat, smoke or embers tells a hotspot in each language."""
    assert tell_by_words(text) == HOTSPOT


@pytest.mark.parametrize("text", PLACES)
def test_words_for_places_tell_a_place(text: str) -> None:
    """A word for water, landing, camp and the like tells a place in each language."""
    assert tell_by_words(text) == PLACE


@pytest.mark.parametrize("text", NEITHER)
def test_longer_words_and_names_tell_nothing(text: str) -> None:
    """A word that only begins like one of the list tells nothing."""
    assert tell_by_words(text) == UNTOLD


def test_both_kinds_of_words_tell_nothing() -> None:
    """Where a text speaks of both, it decides neither way."""
    assert tell_by_words("Helispot near the hot spots") == UNTOLD


def test_folder_then_type_then_measure_then_name() -> None:
    """What is said more surely counts first."""
    nothing = np.array([np.nan] * 5)
    heat = np.array([np.nan, np.nan, 300.0, 300.0, np.nan])
    values = {
        "kind": texts("", "water", "", "", ""),
        "temperature": heat,
        "name": texts("hotspot", "hotspot", "camp", "camp", "camp"),
        "area": nothing,
    }
    folders = texts("Places", "", "", "Drop points", "")
    told = tell_markers(values, length=5, words=folders)
    assert told.tolist() == [PLACE, PLACE, HOTSPOT, PLACE, PLACE]

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

from exchange.geo.edge import measure_to_edge
from exchange.handout.comments import Comments
from exchange.handout.letters import Letters
from exchange.handout.limiting import limit_spots
from exchange.handout.profile import FIELDS, Profile
from exchange.model import Detections

AREA = box(-114.01, 44.50, -113.99, 44.52)
SPOTS = Detections(
    id=["H-014", "H-015"],
    longitude=[-114.0095, -114.011],
    latitude=[44.51, 44.51],
    altitude=[1630.4, np.nan],
    time=np.array(["2026-08-14T19:03:05", "NaT"], "M8[ms]"),
    temperature=[411.6, np.nan],
    accuracy=[3.2, np.nan],
    sortie=["D-1", ""],
    status=["hot", ""],
    name=["stump", "H-015"],
    note=["by the old road", ""],
    extra={"temperature_last": [379.8, np.nan]},
)
NAMES = np.array(["H014", "H015"], dtype=object)
EDGE = measure_to_edge(SPOTS.longitude, SPOTS.latitude, AREA)


def _comments(profile: Profile, **options: Any) -> tuple[list[str], dict[str, int]]:
    limited = limit_spots(SPOTS, profile, NAMES, edge=EDGE, **options)
    return limited.comments.tolist(), limited.trimmed


def test_a_long_comment_tells_everything_in_words() -> None:
    """Without a limit all that is known is told with its unit, and nothing that is not."""
    comments, trimmed = _comments(Profile(name="any", coordinate_forms=("DDM",)))
    assert comments == [
        "H-014; hot; highest 412 C, last 380 C; seen 2026-08-14 19:03Z; inside the edge by 40 m, edge bears 270 true; "
        "N 44\u00b030.600' W 114\u00b000.570' WGS84; good to 4 m; seen by D-1; altitude 1630 m; stump: by the old road",
        "H-015; beyond the edge by 80 m, edge bears 090 true; N 44\u00b030.600' W 114\u00b000.660' WGS84",
    ]
    assert trimmed == {}


def test_units_of_the_united_states() -> None:
    """Feet and degrees Fahrenheit, where they are asked for."""
    fields = ("temperature", "edge", "accuracy", "altitude")
    comments, _ = _comments(Profile(name="any", fields=fields), units="us")
    assert comments[0] == (
        "highest 773 F, last 716 F; inside the edge by 130 ft, edge bears 270 true; good to 11 ft; altitude 5349 ft"
    )


def test_a_short_comment_has_the_most_important_first() -> None:
    """In twenty capitals stands what fits, and what had to be left out is counted by field."""
    profile = Profile(name="any", comment_length=20, comment_letters=Letters("A-Z0-9 ./+-"), fields=FIELDS[1:])
    comments, trimmed = _comments(profile)
    assert comments == ["HOT 412C/380C 40M IN", "80M BEYOND EDGE 090T"]
    assert trimmed == {"seen": 1, "edge": 1, "accuracy": 1, "by": 1, "altitude": 1, "note": 1}


def test_a_note_is_cut_where_enough_of_it_remains() -> None:
    """Free text may be cut; a text that was made is whole or not there."""
    profile = Profile(name="any", comment_length=12, fields=("note",))
    assert _comments(profile) == (["stump: by th", ""], {"note": 1})


def test_no_text_but_the_status_has_a_status_word() -> None:
    """What comes back is searched for status words; a comment about a spot without one has none."""
    spots = SPOTS.replace(status=None, name=None, note=None)
    for length in (None, 60):
        limited = limit_spots(spots, Profile(name="any", comment_length=length), NAMES, edge=EDGE)
        words = " ".join(limited.comments).lower().replace(";", " ").replace(",", " ").split()
        assert not {"hot", "out", "working", "recheck", "unchecked", "cold", "heat"} & set(words)


def test_a_letter_that_is_lacking_never_changes_a_number() -> None:
    """A device without a point, or without a hyphen, is told nothing rather than 44305 for 44.305 or 14 for -14."""
    profile = Profile(name="any", comment_letters=Letters("A-Z0-9 "), fields=("position",), coordinate_forms=("DD",))
    assert _comments(profile) == (["", ""], {"position": 2})
    cold = SPOTS.replace(temperature=[-14.0, 5.0], extra={})
    limited = limit_spots(cold, Profile(name="any", comment_letters=Letters("A-Z0-9 "), fields=("temperature",)), NAMES)
    assert limited.comments.tolist() == ["", "HIGHEST 5 C"]


PIECES = st.lists(st.text(st.sampled_from("ab;- \u00e9Z"), max_size=9), min_size=3, max_size=3)


@given(
    columns=st.lists(PIECES, max_size=5),
    limit=st.integers(0, 25) | st.none(),
    letters=st.sampled_from(["", "A-Z", "a-z -", "ab"]),
    is_note=st.booleans(),
)
def test_comments_hold_their_limit_whatever_is_added(
    columns: list[list[str]], limit: int | None, letters: str, is_note: bool
) -> None:
    """No comment is longer than it may be or has a letter it may not, and nothing is lost that has room and letters."""
    allowed = Letters(letters)
    comments = Comments(3, allowed, limit)
    for pieces in columns:
        add = comments.add_note if is_note else comments.add
        add("field", np.array(pieces, dtype=object))
    texts = comments.finish().tolist()
    assert all(limit is None or len(text) <= limit for text in texts)
    assert all(allowed.allow(text) for text in texts)
    if limit is None and not letters:
        expected = ["; ".join(fit for p in row if (fit := allowed.fit(p))) for row in zip(*columns, strict=True)]
        assert texts == (expected if columns else ["", "", ""])


@pytest.mark.parametrize("keeps", [True, False])
def test_what_survives_on_the_device_is_written(keeps: bool) -> None:
    """Where extensions survive the number and every column travel; else place, name, comment, height and time do."""
    limited = limit_spots(SPOTS, Profile(name="any", keeps_extensions=keeps), NAMES).spots
    assert limited.name.tolist() == NAMES.tolist()
    assert limited.altitude.tolist()[0] == 1630.4
    assert limited.id.tolist() == (["H-014", "H-015"] if keeps else ["", ""])
    assert limited.status.tolist() == (["hot", ""] if keeps else ["", ""])


def test_columns_are_those_of_the_fields() -> None:
    """A table has a column for each field that was asked for, with its unit, and for no other."""
    profile = Profile(
        name="any", layout="columns", fields=("number", "edge", "position", "note"), coordinate_forms=("USNG",)
    )
    limited = limit_spots(SPOTS, profile, NAMES, edge=EDGE).spots
    assert limited.id.tolist() == ["H-014", "H-015"]
    assert not np.isfinite(limited.temperature).any()
    assert limited.extra["edge_side"].tolist() == ["inside", "beyond"]
    assert limited.extra["edge_distance_m"].tolist() == pytest.approx(EDGE.distance_m.tolist(), abs=0.06)
    assert limited.extra["position_USNG_WGS84"][0].endswith("WGS84")
    assert limited.note.tolist() == ["stump: by the old road", ""]


def test_a_format_that_shows_the_number_shows_the_short_name() -> None:
    """Where other programs show the identifier, the short name stands there, and the number beside it."""
    limited = limit_spots(SPOTS, Profile(name="any", keeps_extensions=True), NAMES, shown_column="id").spots
    assert limited.id.tolist() == ["H014", "H015"]
    assert limited.extra["number"].tolist() == ["H-014", "H-015"]

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from exchange.errors import OptionError
from exchange.handout.letters import Letters
from exchange.handout.short_names import MIXED_UP, find_look_alike, give_short_names

CAPITALS = Letters("A-Z0-9")
NUMBERS = st.builds("{}-{:03d}".format, st.sampled_from(["H", "K", "IO", "O", "HI"]), st.integers(1, 12_000))
FOREIGN = st.text(max_size=12) | st.text("HOI01 -ab", max_size=6) | st.integers(0, 99).map(lambda i: "x" * 30 + str(i))
LISTS = st.lists(NUMBERS | FOREIGN.filter(bool), max_size=40, unique=True)
LETTERS = st.sampled_from(["", "A-Z0-9", "a-z0-9", " -~", "A-Z", "0-9", "ABCDEFGH-", "OI01ab"])


@given(numbers=LISTS, length=st.integers(3, 12) | st.just(0), letters=LETTERS)
def test_names_fit_and_no_two_spots_share_one(numbers: list[str], length: int, letters: str) -> None:
    """Each spot has a name within length and letters, no two the same or the same in other letter case."""
    allowed = Letters(letters)
    names = give_short_names(numbers, length=length, letters=allowed).names
    assert all(allowed.allow(name) and name for name in names)
    assert not length or all(len(name) <= length for name in names)
    assert len({name.casefold() for name in names}) == len(numbers)


@given(numbers=LISTS, length=st.integers(4, 12), letters=st.sampled_from(["A-Z0-9", " -~", "a-z0-9-"]))
def test_a_shortened_name_is_taken_for_no_other(numbers: list[str], length: int, letters: str) -> None:
    """A name that is not the number itself has no O, Q, I or L in it, and looks like no other spot's name."""
    names = give_short_names(numbers, length=length, letters=Letters(letters)).names
    shortened = [name for name, number in zip(names, numbers, strict=True) if name != number]
    assert not [name for name in shortened if set(name) & set(MIXED_UP)]
    alike = [find_look_alike(name) for name in names]
    assert all(alike.count(find_look_alike(name)) == 1 for name in shortened)


@given(numbers=LISTS, length=st.integers(3, 12), letters=LETTERS, more=LISTS)
def test_spots_added_at_the_end_change_no_name(numbers: list[str], length: int, letters: str, more: list[str]) -> None:
    """A list that has grown gives its earlier spots the names they had."""
    grown = [*numbers, *(number for number in more if number not in numbers)]
    first = give_short_names(numbers, length=length, letters=Letters(letters)).names
    assert give_short_names(grown, length=length, letters=Letters(letters)).names[: len(numbers)] == first


@given(numbers=LISTS, length=st.integers(3, 12), letters=LETTERS, data=st.data())
def test_names_given_earlier_are_held_in_any_order(
    numbers: list[str], length: int, letters: str, data: st.DataObject
) -> None:
    """With what was given earlier a spot keeps its name, and no new spot gets one that was ever given."""
    allowed = Letters(letters)
    earlier = dict(zip(numbers, give_short_names(numbers, length=length, letters=allowed).names, strict=True))
    others = [number for number in data.draw(LISTS) if number not in numbers]
    kept = [number for number in numbers if data.draw(st.booleans())]
    mixed = data.draw(st.permutations([*others, *kept]))
    given_names = give_short_names(mixed, length=length, letters=allowed, earlier=earlier)
    names = dict(zip(mixed, given_names.names, strict=True))
    assert {number: names[number] for number in kept} == {number: earlier[number] for number in kept}
    assert not {names[number] for number in others} & set(earlier.values())
    assert given_names.renamed == []


@given(counts=st.lists(st.integers(1, 99_999), unique=True, min_size=1), data=st.data())
def test_the_names_of_numbers_do_not_hang_on_the_rest_of_the_list(counts: list[int], data: st.DataObject) -> None:
    """A number of the house has one name for six capitals, whatever else is in the list and in whatever order."""
    numbers = [f"H-{count:03d}" for count in data.draw(st.permutations(counts))]
    together = give_short_names(numbers, length=6, letters=CAPITALS).names
    assert together == [give_short_names([number], length=6, letters=CAPITALS).names[0] for number in numbers]


@pytest.mark.parametrize(
    ("number", "length", "letters", "name"),
    [
        ("H-014", 0, "", "H-014"),
        ("H-014", 10, "A-Z0-9-", "H-014"),
        ("H-014", 6, "A-Z0-9", "H014"),
        ("H-014", 3, "A-Z0-9", "H14"),
        ("H-1014", 6, "A-Z0-9", "H1014"),
        ("spot", 6, "A-Z0-9", "SPT"),
        ("caf\u00e9 9", 6, "A-Z0-9", "CAFE9"),
    ],
)
def test_names_that_a_person_expects(number: str, length: int, letters: str, name: str) -> None:
    """The number itself where it fits, else without hyphen, else without the zeros in front."""
    assert give_short_names([number], length=length, letters=Letters(letters)).names == [name]


def test_an_earlier_name_that_fits_no_more_is_given_anew_and_told() -> None:
    """Limits that have become narrower give a new name, and say of which spot."""
    found = give_short_names(["H-014"], length=6, letters=CAPITALS, earlier={"H-014": "H-014-LONG"})
    assert (found.names, found.renamed) == (["H014"], ["H-014"])


def test_more_spots_than_names_are_refused() -> None:
    """Two letters of two make four names at most; the fifth spot is refused, never given another's."""
    with pytest.raises(OptionError, match="room for"):
        give_short_names([f"H-{count:03d}" for count in range(1, 9)], length=2, letters=Letters("AB"))
    with pytest.raises(OptionError, match="too few letters"):
        give_short_names(["H-001"], length=6, letters=Letters("O0"))


@pytest.mark.parametrize("spelled", ["Z-A", "a\n", "\u200b"])
def test_letters_that_no_device_shows_are_refused(spelled: str) -> None:
    """A range that runs backwards or a letter without a shape is no letter of a profile."""
    with pytest.raises(OptionError, match=r"runs backwards|cannot be shown"):
        Letters(spelled)


@given(text=st.text(), letters=LETTERS)
def test_a_text_brought_to_letters_is_allowed_and_stays(text: str, letters: str) -> None:
    """Bringing a text to a device's letters gives an allowed text, and changes it once only."""
    allowed = Letters(letters)
    fitted = allowed.fit(text)
    assert allowed.allow(fitted)
    assert allowed.fit(fitted) == fitted

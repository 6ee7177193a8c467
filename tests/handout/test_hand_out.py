from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from shapely import box

from exchange.errors import ModelError, OptionError, ReadError, WriteError
from exchange.formats.host import Candidate, Host
from exchange.formats.manifest_file import read_manifest
from exchange.handout import HandoutOptions, Profile, Selection, find_formats, hand_out, load_profiles, write_handout
from exchange.handout.index import CAUTION, write_index
from exchange.handout.letters import Letters
from exchange.handout.profile import build_profile
from exchange.handout.profile_library import read_profile
from exchange.model import Detections, Manifest, Packet
from tests.handout.device_kit import SHIPPED, host, make_list, profile, read_elsewhere, write_out

SIX = profile("six-capitals")
NOW = np.datetime64("2026-08-14T19:03:05", "ms")


def _list(*numbers: str, **columns: object) -> Detections:
    east = -114.0 + np.arange(len(numbers)) * 1e-3
    return Detections(id=list(numbers), longitude=east, latitude=np.full(len(numbers), 44.5), **columns)


def _names(spots: Detections, earlier: Manifest | None = None, *profiles: Profile) -> Manifest:
    chosen = profiles or (SIX,)
    return hand_out(Packet(detections=spots), chosen, find_formats(chosen, host()), earlier=earlier).manifest


def test_a_spot_handed_out_again_keeps_its_name() -> None:
    """Whatever is chosen, in whatever order, a spot has the name it had, and the earlier names are held."""
    foreign = [f"the tall burnt pine by the road {row}" for row in range(30)]
    first = _names(_list(*foreign[:20]))
    again = _names(_list(*foreign[::-1]), first)
    before = dict(zip(first.number, first.short_name, strict=True))
    after = dict(zip(again.number, again.short_name, strict=True))
    assert {number: after[number] for number in before} == before
    assert len(set(after.values())) == 30
    options = HandoutOptions(selection=Selection(near=(-114.0, 44.5), nearest=3))
    few = hand_out(Packet(detections=_list(*foreign[:20])), [SIX], find_formats([SIX], host()), options=options)
    assert {n: s for n, s in before.items() if n in few.manifest.number} == few.short_names("six-capitals")


def test_names_of_spots_that_are_gone_stay_taken() -> None:
    """What was handed out once is kept in the manifest without a file, and given to no other spot ever."""
    first = _names(_list("spot 12", "H-014"))
    second = _names(_list("H-014", "SPT12"), first)
    third = _names(_list("SPT12", "H-014"), second)
    assert dict(zip(first.number, first.short_name, strict=True)) == {"spot 12": "SPT12", "H-014": "H014"}
    held = second.number == "spot 12"
    assert (second.short_name[held].tolist(), second.file[held].tolist()) == (["SPT12"], [""])
    assert second.short_name[second.number == "SPT12"][0] not in ("SPT12", "H014")
    assert sorted(third.short_name) == sorted(second.short_name)


def test_the_manifest_tells_aliases_and_what_travelled() -> None:
    """A number that was folded into a spot leads to it, and the text that went out is known again."""
    manifest = _names(_list("H-014", status=["hot"], extra={"aliases": ["H-031; H-040"]}))
    assert (manifest.aliases[0], manifest.status[0], manifest.comment[0]) == ("H-031; H-040", "hot", "HOT")


def test_every_spot_must_have_a_number_of_its_own() -> None:
    """Without a number, or with one twice, nobody could tell which spot is meant: it is refused."""
    with pytest.raises(ModelError, match="1 of 2 spots have no number"):
        _names(_list("H-001", ""))
    with pytest.raises(ModelError, match="2 spots have the number 'H-001'"):
        _names(_list("H-001", "H-001"))
    assert _names(_list("", name=["H-007"])).number.tolist() == ["H-007"]


def test_a_sortie_that_was_not_merged_is_told() -> None:
    """Identifiers that are no permanent numbers go out as they are, with a note that counts them."""
    listed, sortie = _list("H-001", "K-1002"), _list("H-001", "s7-12", "s7-13")
    formats = find_formats([SIX], host())
    assert "permanent" not in str(hand_out(Packet(detections=listed), [SIX], formats).problems)
    (told,) = hand_out(Packet(detections=sortie), [SIX], formats).problems
    assert (told.severity, told.count, told.value) == ("note", 2, "s7-12")
    assert "not permanent ones" in told.message


def test_a_spot_without_a_position_is_told() -> None:
    """A device cannot take what has no place; it is counted and a person is asked."""
    spots = _list("H-001", "H-002").replace(latitude=[44.5, np.nan])
    handout = hand_out(Packet(detections=spots), [SIX], find_formats([SIX], host()))
    assert [(p.severity, p.count) for p in handout.problems] == [("skipped", 1)]
    assert handout.spots.id.tolist() == ["H-001"]


def test_no_wanted_spot_makes_no_file() -> None:
    """An empty choice writes nothing."""
    options = HandoutOptions(selection=Selection(statuses=("out",)))
    handout = hand_out(Packet(detections=_list("H-001")), [SIX], find_formats([SIX], host()), options=options)
    assert (handout.files, len(handout.manifest), handout.listed) == ((), 0, 1)


def test_a_name_that_fits_no_more_is_given_anew_and_needs_a_person() -> None:
    """A device whose limits changed has a new name for the spot; whoever still uses the old one must know."""
    earlier = Manifest(number=["H-001"], short_name=["H-001"], profile="six-capitals")
    handout = hand_out(Packet(detections=_list("H-001")), [SIX], find_formats([SIX], host()), earlier=earlier)
    assert [(p.severity, p.value) for p in handout.problems] == [("changed", "H-001")]
    assert handout.manifest.short_name.tolist() == ["H001"]


def test_files_are_split_and_the_index_tells_how(tmp_path: Path) -> None:
    """Over the limit there are several files; the index names each with its spots, and states the caution."""
    small = Profile(name="small", most_points=40, title="Invented device")
    options = HandoutOptions(order="walk", title="Marrow Flat (invented)", handed_out=NOW)
    handout, problems = write_out(make_list(100), tmp_path, small, options=options)
    assert problems == ()
    index = (tmp_path / "index.txt").read_text(encoding="utf-8")
    assert index == write_index(handout)
    assert index.startswith("Marrow Flat (invented)\n\n100 of the list's 100 spots.\nHanded out 2026-08-14T19:03Z.\n")
    assert index.endswith(CAUTION + "\n")
    for file in handout.files:
        assert f"{file.name}\n  Invented device\n  {len(file.numbers)} spots: {file.numbers[0]} to" in index
    manifest = read_manifest(tmp_path / "manifest.csv")
    for file in handout.files:
        assert [point.name for point in read_elsewhere(tmp_path / file.name)] == file.numbers.tolist()
        assert manifest.number[manifest.file == file.name].tolist() == file.numbers.tolist()
    assert len(handout.files) == 3


def test_the_index_names_the_short_way_across_the_180th_meridian() -> None:
    """The corners of spots on both sides of the meridian are not the whole earth apart."""
    spots = _list("H-001", "H-002").replace(longitude=[179.99, -179.98])
    handout = hand_out(Packet(detections=spots), [SIX], find_formats([SIX], host()))
    index = write_index(handout)
    assert "from N 44\u00b030.0' E 179\u00b059.4'" in index
    assert "to   N 44\u00b030.0' W 179\u00b058.8'" in index


def test_a_folder_in_use_is_not_written_into(tmp_path: Path) -> None:
    """Nothing is replaced unless it is asked for, and what is left of the hand-out before is told."""
    small = Profile(name="small", most_points=5)
    write_out(make_list(12), tmp_path, small)
    with pytest.raises(WriteError, match="exists already"):
        write_out(make_list(12), tmp_path, small)
    handout = hand_out(Packet(detections=make_list(5)), [small], find_formats([small], host()))
    problems = write_handout(handout, tmp_path, host=host(), overwrite=True)
    assert sorted((p.path, p.severity) for p in problems) == [(f"small_{part}.gpx", "changed") for part in (1, 2, 3)]
    (tmp_path / "file").write_text("")
    with pytest.raises(WriteError, match="is no folder"):
        write_handout(handout, tmp_path / "file", host=host())


def test_the_area_gives_priority_and_distances() -> None:
    """With a perimeter the order by priority looks at the edge: outside before inside."""
    spots = _list("H-001", "H-002", status=["hot", "hot"]).replace(longitude=[-114.0, -114.02])
    options = HandoutOptions(order="priority")
    area = box(-114.01, 44.49, -113.99, 44.51)
    handout = hand_out(Packet(detections=spots), [SIX], find_formats([SIX], host()), options=options, area=area)
    assert handout.spots.id.tolist() == ["H-002", "H-001"]
    assert "BEYOND" in handout.manifest.comment[0]


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_profiles_say_what_they_are(name: str) -> None:
    """Each shipped profile has a title, a loaded format, and room for ten thousand numbers of the house."""
    shipped = profile(name)
    assert shipped.title
    assert find_formats([shipped], host())
    numbers = [f"H-{count:03d}" for count in range(1, 10_001)]
    named = hand_out(
        Packet(detections=_list(*numbers).replace(longitude=np.full(10_000, -114.0))),
        [shipped],
        find_formats([shipped], host()),
        options=HandoutOptions(selection=Selection(near=(-114.0, 44.5), nearest=1)),
    )
    assert len(named.files) == 1


@pytest.mark.parametrize(
    ("values", "match"),
    [
        ({"name_lenght": 6}, "a profile has no 'name_lenght'"),
        ({"name_length": "6"}, "'6' is no int"),
        ({"name_length": 1}, "1 is no name_length"),
        ({"keeps_extensions": 1}, "1 is no bool"),
        ({"layout": "rows"}, "'rows' is no layout"),
        ({"fields": ["colour"]}, "is no fields"),
        ({"coordinate_forms": ["XYZ"]}, "is no coordinate_forms"),
        ({"symbols": {"cold": "blue"}}, "is no symbols"),
        ({"name_letters": "Z-A"}, "runs backwards"),
        ({"file_name_length": 3}, "is no file_name_length"),
        ({"most_points": -1}, "is no most_points"),
        ({"comment_length": -1}, "is no comment_length"),
    ],
)
def test_a_profile_that_makes_no_sense_is_refused(values: dict[str, object], match: str) -> None:
    """A limit of the wrong kind or size is refused with the name of where it came from."""
    with pytest.raises(OptionError, match=match) as refused:
        build_profile("mine", values, origin="mine.toml")
    assert "mine.toml" in str(refused.value)


def test_a_profile_of_the_user_is_read_from_toml(tmp_path: Path) -> None:
    """A file of one's own is a profile like the shipped ones, by its own name or that of the file."""
    path = tmp_path / "my-receiver.toml"
    path.write_text('name_length = 8\nname_letters = "A-Z0-9"\n[symbols]\nhot = "fire"\n', encoding="utf-8")
    library = load_profiles(paths=[path])
    (mine,) = library.choose(["my-receiver"])
    assert (mine.name_length, mine.name_letters, dict(mine.symbols)) == (8, Letters("A-Z0-9"), {"hot": "fire"})
    path.write_text('name = "six-capitals"', encoding="utf-8")
    with pytest.raises(OptionError, match="is there already"):
        load_profiles(paths=[path])
    path.write_text("name = 6", encoding="utf-8")
    with pytest.raises(OptionError, match="6 is no name"):
        read_profile(path)
    path.write_text("name = ", encoding="utf-8")
    with pytest.raises(ReadError, match="is no TOML"):
        read_profile(path)
    with pytest.raises(ReadError, match="cannot be opened"):
        read_profile(tmp_path / "none.toml")
    with pytest.raises(OptionError, match="no profile is called 'seven'"):
        library.choose(["seven"])


def test_a_broken_profile_of_a_plugin_fails_alone() -> None:
    """A plugin's profile that makes no sense is named when it is asked for; the others work."""

    class Plugin:
        @staticmethod
        def exchange_profiles() -> dict[str, dict[str, object]]:
            return {"odd": {"name_length": -3}, "even": {"name_length": 4, "title": "invented"}}

    from exchange.formats.hooks import hookimpl

    Plugin.exchange_profiles = staticmethod(hookimpl(Plugin.exchange_profiles))  # type: ignore[method-assign]
    plugged = Host.with_plugins([Candidate("odd", "package-of-odd", "1.0", module=Plugin())])
    library = load_profiles(plugged)
    assert library.choose(["even"])[0].origin == "package-of-odd"
    with pytest.raises(OptionError, match="package-of-odd, field name_length: -3 is no name_length"):
        library.choose(["odd"])


def test_symbols_are_by_status(tmp_path: Path) -> None:
    """A receiver draws each status by its own word; a spot without a status is drawn as unchecked."""
    spots = _list("H-001", "H-002", status=["hot", ""])
    handout, _ = write_out(spots, tmp_path, SIX)
    text = (tmp_path / handout.files[0].name).read_text(encoding="utf-8")
    assert text.count("<sym>triangle</sym>") == text.count("<sym>circle</sym>") == 1

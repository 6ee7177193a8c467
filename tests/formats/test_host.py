from __future__ import annotations

import importlib
import sys
from pathlib import Path

import pytest

from exchange.errors import PluginError, WriteError
from exchange.formats.hooks import hookimpl
from exchange.formats.host import OWN_DISTRIBUTION, Candidate, Host
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.model import Detections, Packet
from exchange.testing import check_round_trip

SAMPLE_PLUGINS = Path(__file__).parents[1] / "sample_plugins"

BROKEN = {
    "does_not_import": ("import", "does not import: ModuleNotFoundError: No module named 'a_library_that_nobody_has'"),
    "wrong_signature": ("register", "colour"),
    "misspelt_hook": ("register", "unknown hook 'exchange_format'"),
    "raises_in_hook": ("call", "exchange_formats() raised LookupError: no licence file"),
    "returns_no_formats": ("formats", "returned 'marks', which is no Format"),
}


class _Late:
    """Stand for an entry point: the module is imported when the host loads it."""

    def __init__(self, name: str) -> None:
        self.name = name

    def load(self) -> object:
        return importlib.import_module(f"sample_{self.name}")


@pytest.fixture(autouse=True)
def _importable_samples(monkeypatch: pytest.MonkeyPatch) -> None:
    for folder in SAMPLE_PLUGINS.iterdir():
        monkeypatch.syspath_prepend(str(folder))
    for name in [name for name in sys.modules if name.startswith("sample_")]:
        monkeypatch.delitem(sys.modules, name)


def _candidate(name: str, distribution: str = "") -> Candidate:
    return Candidate(name, distribution or f"package-of-{name}", "1.0", _Late(name))  # type: ignore[arg-type]


def _marks(host: Host) -> Packet:
    assert "marks" in host.formats
    return Packet(detections=Detections(longitude=[1.5, -114.25], latitude=[2.5, 44.5]))


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_plugin_is_named_and_the_others_work(name: str) -> None:
    """What a broken plugin did wrong stands in its record; the good one beside it still works."""
    host = Host.with_plugins([_candidate(name), _candidate("good")])
    stage, words = BROKEN[name]
    (failure,) = host.failures()
    assert (failure.name, failure.distribution, failure.stage) == (name, f"package-of-{name}", stage)
    assert words in failure.error
    assert list(host.formats) == ["marks"]


def test_every_sample_plugin_is_tested() -> None:
    """A sample plugin that no test names would prove nothing."""
    names = {folder.name for folder in SAMPLE_PLUGINS.iterdir() if folder.is_dir()}
    assert names == {*BROKEN, "good", "taken_suffix", "raises_in_read"}


def test_all_broken_plugins_at_once_leave_the_good_one_working(tmp_path: Path) -> None:
    """One bad plugin never stops the program, nor do many."""
    host = Host.with_plugins([_candidate(name) for name in (*BROKEN, "good")])
    assert len(host.failures()) == len(BROKEN)
    packet = _marks(host)
    write(packet, tmp_path / "a.marks", host=host)
    assert read(tmp_path / "a.marks", host=host) == packet


@pytest.mark.parametrize("order", [("good", "taken_suffix"), ("taken_suffix", "good")])
def test_a_clash_names_both_and_the_order_of_installation_does_not_matter(order: tuple[str, str]) -> None:
    """The first by name stays; the error names both distributions and what they both claim."""
    host = Host.with_plugins([_candidate(name) for name in order])
    (failure,) = host.failures()
    assert failure.name == "taken_suffix"
    assert "'.marks'" in failure.error
    assert "package-of-good" in failure.error
    assert list(host.formats) == ["marks"]


def test_the_built_in_stays_where_a_stranger_claims_its_suffix() -> None:
    """A stranger never replaces a format of the house, whatever its name."""
    own = _candidate("taken_suffix", OWN_DISTRIBUTION)
    host = Host.with_plugins([_candidate("good"), own])
    assert [record.name for record in host.records if record.is_loaded] == ["taken_suffix"]
    assert OWN_DISTRIBUTION in host.failures()[0].error


def test_a_plugin_that_raises_while_reading_is_named(tmp_path: Path) -> None:
    """A fault in a plugin's reader is told as that plugin's, with its distribution."""
    host = Host.with_plugins([_candidate("good"), _candidate("raises_in_read")])
    path = tmp_path / "a.broken"
    path.write_text("#broken\n")
    with pytest.raises(PluginError, match=r"broken of package-of-raises_in_read failed: ZeroDivisionError") as caught:
        read(path, host=host)
    assert isinstance(caught.value.__cause__, ZeroDivisionError)


def test_a_plugin_that_raises_while_writing_leaves_no_file(tmp_path: Path) -> None:
    """Half a file is never seen, and the error names the plugin."""
    host = Host.with_plugins([_candidate("good"), _candidate("raises_in_read")])
    with pytest.raises(PluginError, match="broken of package-of-raises_in_read failed: KeyError"):
        write(_marks(host), tmp_path / "a.broken", host=host)
    assert list(tmp_path.iterdir()) == []


def test_what_a_format_cannot_hold_is_counted(tmp_path: Path) -> None:
    """The writer tells each column and kind that the format has no place for, with how many."""
    host = Host.with_plugins([_candidate("good")])
    detections = Detections(
        id=["a", "b", "c"], longitude=[1, 2, None], latitude=[3, 4, None], extra={"q": ["x", None, "y"]}
    )
    told = check_round_trip(host.formats["marks"], Packet(incident="Marrow Flat", detections=detections), tmp_path)
    counted = {(problem.field, problem.count) for problem in told}
    assert counted == {("", 1), ("id", 2), ("q", 1)}
    assert sum("without a position" in problem.message for problem in told) == 1
    assert all(problem.needs_person for problem in told)


def test_the_variable_limits_which_plugins_load() -> None:
    """An empty EXCHANGE_PLUGINS loads none, a name loads that one only."""
    assert Host.with_installed_plugins({"EXCHANGE_PLUGINS": ""}).records == []
    one = Host.with_installed_plugins({"EXCHANGE_PLUGINS": "gpx"})
    assert [record.name for record in one.records] == ["gpx"]


def test_an_existing_file_stays_unless_told(tmp_path: Path) -> None:
    """Nothing is replaced without --overwrite; a failed write keeps the old file."""
    host = Host.with_plugins([_candidate("good")])
    target = tmp_path / "a.marks"
    target.write_text("old")
    with pytest.raises(WriteError, match="exists already"):
        write(_marks(host), target, host=host)
    assert target.read_text() == "old"
    write(_marks(host), target, host=host, overwrite=True)
    assert target.read_text().startswith("#marks")


def test_a_plugin_brings_profiles_of_devices() -> None:
    """The limits a plugin offers are kept by name with the package they came from."""
    host = Host.with_plugins([_candidate("good")])
    limits, distribution = host.profiles["mark-board"]
    assert (limits["format"], distribution) == ("marks", "package-of-good")
    assert host.records[0].profiles == ("mark-board",)


@pytest.mark.parametrize("answer", ["six", {"six": 6}, []])
def test_a_plugin_whose_profiles_are_none_is_left_out(answer: object) -> None:
    """What is no mapping of limits by name is refused whole, with the reason."""

    class Plugin:
        @staticmethod
        @hookimpl
        def exchange_profiles() -> object:
            return answer

    host = Host.with_plugins([Candidate("odd", "package-of-odd", "1.0", module=Plugin())])
    (failure,) = host.failures()
    assert failure.stage == "profiles"
    assert "not profiles by name" in failure.error


def test_a_profile_that_is_taken_is_refused() -> None:
    """Two plugins cannot bring a profile of one name; the first stays."""
    module = _candidate("good").load()
    again = Candidate("zz", "package-of-zz", "1.0", module=_OnlyProfiles(module.exchange_profiles))
    host = Host.with_plugins([_candidate("good"), again])
    (failure,) = host.failures()
    assert (failure.name, failure.stage) == ("zz", "profiles")
    assert host.profiles["mark-board"][1] == "package-of-good"


class _OnlyProfiles:
    """A plugin that brings profiles and no format."""

    def __init__(self, hook: object) -> None:
        self.exchange_profiles = hook


def test_a_folder_that_is_not_there_is_told_with_what_to_do(tmp_path: Path) -> None:
    """The folder of the output is not made by itself; the message says to make it."""
    host = Host.with_plugins([_candidate("good")])
    with pytest.raises(WriteError, match="Make its folder first, or choose another"):
        write(_marks(host), tmp_path / "none" / "a.marks", host=host)

"""Every format of the house, as installed, crossed with every awkward sample."""

from __future__ import annotations

from pathlib import Path

import pytest

from exchange.formats.host import OWN_DISTRIBUTION, Host
from exchange.formats.reading import read
from exchange.formats.writing import write
from exchange.testing import check_round_trip
from tests.samples import SAMPLES

HOST = Host.with_installed_plugins()
OWN = sorted(name for name, fmt in HOST.formats.items() if HOST.distribution_of(fmt) == OWN_DISTRIBUTION)
FIXTURES = Path(__file__).parents[2] / "fixtures"
FOLDERS = {"kmz": "kml", "geojson-seq": "geojson", "tsv": "csv", "gpkg": "ogr", "flatgeobuf": "ogr", "shapefile": "ogr"}


def test_all_six_plugins_of_the_house_are_loaded() -> None:
    """The house's own formats come through the same door as strangers', and none of them fails there."""
    own = {record.name: record.error for record in HOST.records if record.distribution == OWN_DISTRIBUTION}
    assert own == {"csv": "", "geojson": "", "gpx": "", "kml": "", "ledger": "", "ogr": ""}
    assert {"csv", "tsv", "geojson", "geojson-seq", "gpx", "kml", "kmz"} < set(OWN)
    assert {"gpkg", "flatgeobuf", "shapefile", "ledger"} < set(OWN)
    assert len(OWN) == 11


@pytest.mark.parametrize("name", OWN)
@pytest.mark.parametrize("sample", SAMPLES)
def test_every_format_reads_back_every_sample(name: str, sample: str, tmp_path: Path) -> None:
    """Model to file to model is equal in all that the format says it can hold, and the rest is told."""
    check_round_trip(HOST.formats[name], SAMPLES[sample], tmp_path)


@pytest.mark.parametrize("name", OWN)
def test_every_file_is_recognised_whatever_it_is_called(name: str, tmp_path: Path) -> None:
    """A file of the house is recognised by what it holds, under a name that says nothing."""
    fmt = HOST.formats[name]
    sample = SAMPLES["a perimeter"] if name == "shapefile" else SAMPLES["some of everything"]
    path = tmp_path / f"named{fmt.suffixes[0]}"
    write(sample, path, host=HOST, format_name=name)
    expected, _ = fmt.holds.limit(sample)
    head = path.read_bytes()[:4096]
    assert fmt.recognise(head)
    claimants = [other for other in OWN if HOST.formats[other].recognise(head)]
    if len(claimants) == 1:
        unnamed = path.rename(tmp_path / "unnamed")
        assert read(unnamed, host=HOST) == expected


@pytest.mark.parametrize("name", OWN)
@pytest.mark.parametrize("other", OWN)
def test_everything_survives_a_chain_of_two_formats(name: str, other: str, tmp_path: Path) -> None:
    """What two formats both say they hold goes through one and then the other unchanged."""
    first, second = HOST.formats[name], HOST.formats[other]
    sample = SAMPLES["some of everything"]
    write(sample, tmp_path / f"a{first.suffixes[0]}", host=HOST, format_name=name)
    returned = read(tmp_path / f"a{first.suffixes[0]}", host=HOST, format_name=name)
    write(returned, tmp_path / f"b{second.suffixes[0]}", host=HOST, format_name=other)
    expected, _ = second.holds.limit(first.holds.limit(sample)[0])
    assert read(tmp_path / f"b{second.suffixes[0]}", host=HOST, format_name=other) == expected


@pytest.mark.parametrize("name", OWN)
def test_every_format_has_files_that_must_read(name: str) -> None:
    """A format without fixtures would be tested on its own output only."""
    folder = FIXTURES / FOLDERS.get(name, name) / "valid"
    assert any(folder.iterdir())

from __future__ import annotations

from pathlib import Path

import pytest

from exchange.formats.options import WriteOptions
from exchange.formats.writing import write
from exchange.model import Detections, Packet
from tests.plugins.gpx.gpx_kit import check_schema, host


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_without_extensions_a_file_has_elements_of_gpx_only(tmp_path: Path, version: str) -> None:
    """A file for devices that know no extensions is valid by the letter, at 180 degrees too."""
    spots = Detections(longitude=[180.0, -114.2], latitude=[44.5, 44.5], name=["H1", "H2"], extra={"cmt": ["a", "b"]})
    options = WriteOptions(version=version, with_extensions=False)
    assert write(Packet(detections=spots), tmp_path / "a.gpx", host=host(), options=options) == ()
    text = (tmp_path / "a.gpx").read_text(encoding="utf-8")
    assert "<x:" not in text
    assert "extensions" not in text
    assert f'lon="{"180" if version == "1.0" else "-180"}"' in text
    check_schema(tmp_path / "a.gpx", version)


def test_what_only_extensions_can_hold_is_told(tmp_path: Path) -> None:
    """A temperature that is left out with the extensions is counted."""
    spots = Detections(longitude=[1.0], latitude=[2.0], temperature=[300.0])
    options = WriteOptions(with_extensions=False)
    (problem,) = write(Packet(detections=spots), tmp_path / "a.gpx", host=host(), options=options)
    assert (problem.severity, problem.count) == ("skipped", 1)
    assert "without extensions" in problem.message

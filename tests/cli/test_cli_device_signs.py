from __future__ import annotations

from pathlib import Path

from exchange.formats.reading import read
from tests.cli.result import Run

LIST = "number,lat,lon,status,last seen\n" + "".join(
    f"H-{count:03d},44.5,{-114 - count / 500},unchecked,2026-08-14T05:00:00Z\n" for count in range(1, 9)
)
BACK = '{"type": "FeatureCollection", "features": [%s]}'
MARK = (
    '{"type": "Feature", "geometry": {"type": "Point", "coordinates": [%f, 44.5]},'
    ' "properties": {"name": "H-%03d", "symbol": "green circle", "time": "2026-08-14T%02d:00:00Z"}}'
)


def test_a_green_device_calls_nothing_out_unless_that_is_meant(exchange: Run, folder: Path) -> None:
    """One green on all marks is told with the option that takes it, ends with 3 and leaves each spot as it was."""
    (folder / "list.csv").write_text(LIST, encoding="utf-8")
    marks = ",".join(MARK % (-114 - count / 500, count, 10 + count) for count in range(1, 9))
    (folder / "back.geojson").write_text(BACK % marks, encoding="utf-8")
    asked = exchange("reconcile", "back.geojson", "--onto", "list.csv", "-o", "a.geojson")
    assert (asked.code, set(read("a.geojson").detections.status)) == (3, {"unchecked"})
    assert "device: back.geojson, record 1: all 8 marks of this file carry the symbol 'green circle'" in asked.err
    assert "--signs-meant" in asked.err
    meant = exchange("reconcile", "back.geojson", "--onto", "list.csv", "-o", "b.geojson", "--signs-meant")
    assert (meant.code, set(read("b.geojson").detections.status)) == (3, {"out"})
    assert "sign alone: H-001: back.geojson, record 1: is 'out' by its symbol 'green circle' alone" in meant.err

"""Read and write KML beside a fast general library: `python tests/benchmarks/bench_kml.py [rows] [file]...`.

Each measurement runs in a process of its own, ours and the peer's in turn; the best of the runs counts, imports and a
first small file do not. Ours is the way into the model and out of it, as the command line goes. Ordinary files are
regular ones with what strangers write: comments, CDATA, HTML balloons, entities, foreign elements, elements in another
order, gaps. Times are of the clock and, behind it, of the processor, since the clock of a shared machine lies.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

RUNS = 3

_MEASURE = """
import resource, sys, time
job, path = sys.argv[1:]
{setup}
start, used = time.perf_counter(), time.process_time()
{work}
seconds, processor = time.perf_counter() - start, time.process_time() - used
print(seconds, processor, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""
_OURS = """
import warnings, pandas, pyarrow.compute
import exchange_kml
from exchange.formats.host import Candidate, Host
from exchange.formats.reading import read
from exchange.formats.writing import write
host = Host.with_plugins([Candidate("kml", "hotspot-exchange", "0", module=exchange_kml)])
small = read(path + ".small.kml", host=host)
write(small, path + ".small.ours.kml", host=host, overwrite=True)
"""
_PEER = """
import warnings; warnings.simplefilter("ignore")
import pandas, pyogrio, pyarrow.compute
meta, table = pyogrio.read_arrow(path + ".small.kml")
def put(meta, table, target):
    pyogrio.write_arrow(table, target, driver="LIBKML", geometry_type=meta["geometry_type"],
                        geometry_name=meta["geometry_name"] or "wkb_geometry", crs="EPSG:4326")
put(meta, table, path + ".small.peer.kml")
"""
JOBS = {
    "ours read": (_OURS, "packet = read(path, host=host)"),
    "peer read": (_PEER, "table = pyogrio.read_arrow(path)"),
    "ours write": (
        _OURS + "packet = read(path, host=host)\n",
        "write(packet, path + '.ours.kml', host=host, overwrite=True)",
    ),
    "peer write": (_PEER + "meta, table = pyogrio.read_arrow(path)\n", "put(meta, table, path + '.peer.kml')"),
}
_FIELDS = {
    "temperature_c": "double",
    "image": "string",
    "sortie": "string",
    "area_m2": "double",
    "confidence": "double",
    "frame": "int",
    "aircraft": "string",
    "note": "string",
}
_SCHEMA = "".join(f'<SimpleField type="{kind}" name="{name}"/>' for name, kind in _FIELDS.items())
HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<kml xmlns="http://www.opengis.net/kml/2.2"'
    ' xmlns:gx="http://www.google.com/kml/ext/2.2" xmlns:c="urn:example:camp">\n<Document><name>Marrow Flat</name>\n'
    '<Style id="hot"><IconStyle><color>ff2030c0</color></IconStyle></Style>\n'
    f'<Schema name="heat" id="heat">{_SCHEMA}</Schema>\n<Folder><name>Hot spots</name>\n'
)
TAIL = "</Folder></Document></kml>\n"


def make_regular(row: int) -> str:
    """Return one invented hotspot of a stranger's file."""
    name = f"<name>Spot {row}</name>"
    return f"<Placemark>{name}{_time(row)}<styleUrl>#hot</styleUrl>{_data(row)}{_point(row)}</Placemark>\n"


def make_ordinary(row: int) -> str:
    """Return the same with what ordinary files hold here and there."""
    name = f"<name>Spot {row} &amp; co</name>"
    balloon = f"<description><![CDATA[<b>Crew {row}</b> by the road<br>slash & logs]]></description>"
    data = _data(row) if row % 11 else ""
    camp = f"<ExtendedData><c:site>{row % 50}</c:site></ExtendedData>" if row % 13 == 0 else ""
    comment = f"<!-- seen by {row % 3} -->" if row % 10 == 0 else ""
    if row % 7 == 0:
        return f"<Placemark>{_point(row)}{data or camp}{balloon}{comment}{name}</Placemark>\n"
    return f"<Placemark>{comment}{name}{balloon}{_time(row)}<styleUrl>#hot</styleUrl>{data}{_point(row)}</Placemark>\n"


def make_balloon(row: int) -> str:
    """Return a hotspot whose fields stand in an HTML table, as many programs write them."""
    cells = f"<tr><td>Temperature</td><td>{80 + row % 331} C</td></tr><tr><td>Image</td><td>img_{row}.jpg</td></tr>"
    balloon = f"<description><![CDATA[<table>{cells}</table>]]></description>"
    return f"<Placemark><name>Spot {row}</name>{balloon}{_time(row)}{_point(row)}</Placemark>\n"


def _time(row: int) -> str:
    return f"<TimeStamp><when>2026-08-14T19:{row % 60:02d}:{row % 59:02d}Z</when></TimeStamp>"


def _data(row: int) -> str:
    values = (
        f"{80.5 + row % 331 * 0.75}",
        f"img_{row:07d}.jpg",
        f"S{row % 5}",
        f"{0.25 + row % 97 * 0.5}",
        f"0.{row % 90 + 10}",
        f"{row}",
        "Dipper",
        f"flank {row % 12} of the Marrow Flat",
    )
    pairs = zip(_FIELDS, values, strict=True)
    fields = "".join(f'<SimpleData name="{name}">{value}</SimpleData>' for name, value in pairs)
    return f'<ExtendedData><SchemaData schemaUrl="#heat">{fields}</SchemaData></ExtendedData>'


def _point(row: int) -> str:
    place = f"{-114 - row % 9973 * 1.37e-5:.7f},{44 + row % 7919 * 1.91e-5:.7f},{1200 + row % 613 * 0.5}"
    return f"<Point><altitudeMode>absolute</altitudeMode><coordinates>{place}</coordinates></Point>"


def make_track(path: Path, rows: int) -> None:
    """Write one track of many fixes with times."""
    with path.open("w") as stream:
        stream.write(HEAD + "<Placemark><name>flight</name><gx:Track><altitudeMode>absolute</altitudeMode>\n")
        for row in range(rows):
            minute, second = divmod(row // 4, 60)
            hour, minute = divmod(minute, 60)
            day, hour = divmod(hour, 24)
            stream.write(
                f"<when>2026-08-{day % 28 + 1:02d}T{hour:02d}:{minute:02d}:{second:02d}.{row % 4 * 250:03d}Z</when>\n"
            )
        for row in range(rows):
            place = f"{-114 - row % 9973 * 1.37e-5:.7f} {44 + row % 7919 * 1.91e-5:.7f} {1200 + row % 613 * 0.5}"
            stream.write(f"<gx:coord>{place}</gx:coord>\n")
        stream.write("</gx:Track></Placemark>\n" + TAIL)


def make_points(make: Callable[[int], str]) -> Callable[[Path, int], None]:
    """Return a function that writes a file of placemarks."""

    def make_file(path: Path, rows: int) -> None:
        with path.open("w") as stream:
            stream.write(HEAD)
            stream.writelines(map(make, range(rows)))
            stream.write(TAIL)

    return make_file


FILES = {
    "regular": make_points(make_regular),
    "ordinary": make_points(make_ordinary),
    "balloons": make_points(make_balloon),
    "track": make_track,
}


def measure(job: str, path: Path) -> tuple[float, float, int]:
    """Return seconds by the clock and by the processor, and the peak memory in MB, of one job in its own process."""
    setup, work = JOBS[job]
    code = _MEASURE.format(setup=setup, work=work)
    run = subprocess.run([sys.executable, "-c", code, job, str(path)], capture_output=True, text=True, check=True)
    clock, processor, memory = run.stdout.split()[-3:]
    return float(clock), float(processor), int(memory)


def compare(what: str, direction: str, path: Path) -> None:
    """Print how the two do one job, in turn."""
    runs: dict[str, list[tuple[float, float, int]]] = {"ours": [], "peer": []}
    for _ in range(RUNS):
        for side, taken in runs.items():
            taken.append(measure(f"{side} {direction}", path))
    best = {side: [min(values) for values in zip(*taken, strict=True)] for side, taken in runs.items()}
    (ours, ours_cpu, ours_mb), (peer, peer_cpu, peer_mb) = best["ours"], best["peer"]
    print(
        f"{what:9} {direction:5}  ours {ours:5.2f} s ({ours_cpu:5.2f}) {ours_mb:5.0f} MB  "
        f"peer {peer:6.2f} s ({peer_cpu:5.2f}) {peer_mb:5.0f} MB ratio {peer / ours:4.1f} ({peer_cpu / ours_cpu:4.1f})",
        flush=True,
    )


def main() -> None:
    """Make the files, run both, print the ratios."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        for what in sys.argv[2:] or FILES:
            make = FILES[what]
            path = Path(folder) / f"{what}.kml"
            make(path, rows)
            make(Path(f"{path}.small.kml"), 20)
            print(f"{what}: {rows} rows, {path.stat().st_size / 1e6:.0f} MB", flush=True)
            for direction in ("read", "write"):
                compare(what, direction, path)
            path.unlink()


if __name__ == "__main__":
    main()

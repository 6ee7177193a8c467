"""Long tracks arrive piece by piece while the file is being read."""

from __future__ import annotations

import io
import weakref
from pathlib import Path
from typing import Any

import pytest

from exchange.formats.format import InputFile
from exchange.formats.options import ReadOptions
from exchange_gpx.reading import read_gpx

FIXES = 6000


class Watched(io.BytesIO):
    """A stream that knows how far it has been read."""

    reached = 0

    def read(self, size: int | None = -1, /) -> bytes:
        data = super().read(size)
        type(self).reached = self.tell()
        return data


@pytest.mark.parametrize("careful", [False, True])
@pytest.mark.parametrize("quote", ['"', "'"])
def test_a_long_track_is_never_held_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, careful: bool, quote: str
) -> None:
    """Each piece comes when little more than it has been read, and is free for others once it is let go."""
    fixes = (f"<trkpt lat={quote}44.{row:06d}{quote} lon={quote}-114.2{quote}></trkpt>\n" for row in range(FIXES))
    gpx = '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="invented">'
    data = f"{gpx}<trk><trkseg>{''.join(fixes)}</trkseg></trk></gpx>".encode()
    monkeypatch.setattr(InputFile, "open", lambda _: Watched(data))
    monkeypatch.setattr("exchange.formats.xml.stream.CHUNK_BYTES", 4096)
    file, options = InputFile(tmp_path / "long.gpx", "long.gpx"), ReadOptions(batch_rows=500)
    taken, held = 0, []
    for packet in read_gpx(file, options, careful=careful, block_bytes=4096):
        for track in packet.tracks:
            taken += len(track)
            held.append(weakref.ref(track))
            read_of_all: Any = Watched.reached / len(data)
            assert read_of_all <= taken / FIXES + 0.1
        del packet
        track = None
        assert not any(piece() for piece in held)
    assert taken == FIXES
    assert len(held) >= FIXES // 600

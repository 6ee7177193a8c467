from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from exchange.errors import DamagedLedgerError, ExchangeError, LedgerError
from exchange.formats.reading import read
from exchange.ledger.check import check_ledger
from exchange.testing import host_with
from exchange_ledger.format import LedgerFormat

FOLDER = Path(__file__).parents[3] / "fixtures" / "ledger"
HOST = host_with(LedgerFormat())
REFUSED: dict[str, tuple[type[ExchangeError], str]] = {
    "cut_short.gpkg": (DamagedLedgerError, "is damaged"),
    "newer_schema.gpkg": (LedgerError, "was written by a newer program"),
}


@pytest.mark.parametrize("path", sorted((FOLDER / "valid").iterdir()), ids=lambda path: path.name)
def test_every_valid_ledger_reads_and_passes(path: Path, tmp_path: Path) -> None:
    """A ledger of an earlier program is read and passes its check."""
    copied = Path(shutil.copy(path, tmp_path))
    assert len(read(copied, host=HOST, format_name="ledger").detections) == 4
    assert check_ledger(copied).problems == ()


@pytest.mark.parametrize("path", sorted((FOLDER / "invalid").iterdir()), ids=lambda path: path.name)
def test_every_invalid_ledger_is_refused_by_its_error(path: Path, tmp_path: Path) -> None:
    """Each odd ledger is refused in words that name what is wrong."""
    error, words = REFUSED[path.name]
    with pytest.raises(error, match=words):
        read(shutil.copy(path, tmp_path), host=HOST, format_name="ledger")

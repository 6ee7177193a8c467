"""What the tests of the command line share: one command's outcome, and the two sorties they work on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

SORTIE = """\
lat,lon,temp (C),time,name
44.5,-114.2,300,2026-08-14T19:03:05Z,stump
44.6,-114.3,310,2026-08-14T19:04:05Z,log
"""
WITHOUT_ZONE = "lat,lon,time,temp (C)\n44.5,-114.2,2026-08-14 19:03:05,300\n"


@dataclass(frozen=True)
class Result:
    """What one command gave back: its exit code, the data and the words."""

    code: int
    out: str
    err: str


Run = Callable[..., Result]

"""A file of the invented fire before and after it is written."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Role = Literal[
    "sortie", "coverage", "control", "track", "perimeter", "terrain", "list", "return", "place", "wrong", "truth"
]


@dataclass(frozen=True, kw_only=True)
class MadeFile:
    """Hold one file in memory.

    Attributes
    ----------
    name
        Relative to the fire's folder, with ``/``.
    content
        The bytes.
    about
        What it is, in one sentence.
    role
        What part it plays.
    sortie
        The flight it came from, or empty.
    period
        Operational period it belongs to, counted from 1; 0 is none.
    options
        Command-line options without which the file cannot be read rightly.
    """

    name: str
    content: bytes
    about: str
    role: Role
    sortie: str = ""
    period: int = 0
    options: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class WrittenFile:
    """Name one file on the disk; the other fields are those of ``MadeFile``."""

    path: Path
    about: str
    role: Role
    sortie: str
    period: int
    options: tuple[str, ...]

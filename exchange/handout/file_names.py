"""What the handed-out files are called: by profile, division and part, within what the device allows."""

from __future__ import annotations

from collections.abc import Sequence

from exchange.errors import OptionError
from exchange.handout.profile import Profile


def name_files(profile: Profile, divisions: Sequence[str], suffix: str, taken: set[str]) -> list[str]:
    """Return a name for each file of a profile and add it to those that are taken.

    Parameters
    ----------
    profile
        Its name begins the files' names, in the letters and length it allows.
    divisions
        The division of each file, empty for none; files of one division are numbered.
    suffix
        Of the format, with the dot.
    taken
        Names in other use, in small letters.

    Raises
    ------
    OptionError
        When the names have no room for the numbers of the parts.
    """
    several = len(divisions) > 1
    found = []
    for index, division in enumerate(divisions, 1):
        part = f"{index:0{len(str(len(divisions)))}d}" if several else ""
        name = _find_free(profile, [division] if division else [], part, suffix, taken)
        taken.add(name.lower())
        found.append(name)
    return found


def _find_free(profile: Profile, words: Sequence[str], part: str, suffix: str, taken: set[str]) -> str:
    letters, room = profile.file_name_letters, profile.file_name_length - len(suffix)
    between = "_" if letters.allow_letters("_") else ""
    ends = [*(letters.fit(word) for word in words), *([part] if part else [])]
    for turn in range(len(taken) + 1):
        more = [f"{turn + 1}"] if turn else []
        tail = "".join(between + end for end in (*ends, *more))
        if not letters.allow_letters(tail) or len(tail) >= room:
            # The index tells the division; the number of the part must do.
            tail = "".join(between + end for end in (part, *more) if end)
        head = letters.fit(profile.name)[: room - len(tail)]
        name = f"{head}{tail}{suffix}"
        if head and letters.allow_letters(tail) and name.lower() not in taken:
            return name
    raise OptionError(
        f"no name is left for a file of the profile {profile.name!r}",
        field="file_name_length",
        remedy="Allow longer file names, with digits.",
    )

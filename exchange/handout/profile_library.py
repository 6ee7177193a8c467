"""All profiles at hand: the house's own, those of plugins, and the user's TOML files."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from exchange.errors import OptionError, ReadError
from exchange.handout.profile import Profile, build_profile

if TYPE_CHECKING:
    from exchange.formats.host import Host

OWN = "hotspot-exchange"


@dataclass(frozen=True)
class ProfileLibrary:
    """The profiles at hand.

    Attributes
    ----------
    profiles
        By name.
    refused
        Why a plugin's profile cannot be used, by its name; only asking for it fails.
    """

    profiles: Mapping[str, Profile]
    refused: Mapping[str, OptionError]

    def choose(self, names: Iterable[str]) -> tuple[Profile, ...]:
        """Return the profiles of some names, each once, in that order.

        Raises
        ------
        OptionError
            When there is none of a name, or it cannot be used.
        """
        wanted = list(dict.fromkeys(names))
        for name in wanted:
            if name in self.refused:
                raise self.refused[name]
            if name not in self.profiles:
                known = ", ".join(sorted(self.profiles))
                raise OptionError(f"no profile is called {name!r}", field="--profile", remedy=f"There are: {known}.")
        return tuple(self.profiles[name] for name in wanted)


def load_profiles(host: Host | None = None, paths: Iterable[str | os.PathLike[str]] = ()) -> ProfileLibrary:
    """Return every profile: the house's, then those of plugins, then those of files.

    Parameters
    ----------
    host
        The loaded plugins, whose hook ``exchange_profiles`` has been asked; ``None`` is without any.
    paths
        TOML files, each one profile, named by ``name`` in it or else by the file.

    Raises
    ------
    OptionError
        When the profile of a file makes no sense, or its name is taken.
    ReadError
        When a file cannot be opened or is no TOML.
    """
    found: dict[str, Profile] = {profile.name: profile for profile in _load_own()}
    refused: dict[str, OptionError] = {}
    for name, (values, origin) in sorted(host.profiles.items()) if host else ():
        try:
            _add(found, build_profile(name, values, origin=origin))
        except OptionError as error:
            refused[name] = error
    for path in paths:
        _add(found, read_profile(path))
    return ProfileLibrary(found, refused)


def _add(found: dict[str, Profile], profile: Profile) -> None:
    if profile.name in found:
        raise OptionError(
            f"the profile {profile.name!r} is there already, from {found[profile.name].origin}",
            path=profile.origin,
            remedy="Give it another name.",
        )
    found[profile.name] = profile


def read_profile(path: str | os.PathLike[str]) -> Profile:
    """Read one profile from a TOML file.

    Raises
    ------
    OptionError
        When the profile makes no sense.
    ReadError
        When the file cannot be opened or is no TOML.
    """
    name = os.fspath(path)
    try:
        values = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise ReadError(f"cannot be opened: {error.strerror or error}", path=name) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ReadError(f"is no TOML: {error}", path=name, remedy="See the profiles that are shipped.") from error
    return _build(values, Path(path).stem, origin=name)


def _load_own() -> Iterator[Profile]:
    folder = files("exchange.handout") / "profiles"
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.name.endswith(".toml"):
            yield _build(tomllib.loads(entry.read_text(encoding="utf-8")), entry.name.removesuffix(".toml"), origin=OWN)


def _build(values: dict[str, Any], stem: str, *, origin: str) -> Profile:
    name = values.pop("name", stem)
    if not isinstance(name, str):
        raise OptionError(f"{name!r} is no name", path=origin, field="name")
    return build_profile(name, values, origin=origin)

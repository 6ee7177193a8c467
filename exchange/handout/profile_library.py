"""All profiles at hand: the house's own, those of plugins, and the user's TOML files."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from exchange.errors import OptionError, ReadError
from exchange.handout.profile import Profile, build_profile

if TYPE_CHECKING:
    from exchange.formats.host import Host

OWN = "hotspot-exchange"


def load_profiles(host: Host | None = None, paths: Iterable[str | os.PathLike[str]] = ()) -> dict[str, Profile]:
    """Return every profile by its name: the house's, then those of plugins, then those of files.

    Parameters
    ----------
    host
        The loaded plugins, whose hook ``exchange_profiles`` has been asked; ``None`` is without any.
    paths
        TOML files, each one profile, named by ``name`` in it or else by the file.

    Raises
    ------
    OptionError
        When a profile makes no sense, or its name is taken.
    ReadError
        When a file cannot be opened or is no TOML.
    """
    found: dict[str, Profile] = {}
    offered = host.profiles if host else {}
    of_plugins = (build_profile(name, values, origin=origin) for name, (values, origin) in sorted(offered.items()))
    for profile in (*_load_own(), *of_plugins, *map(read_profile, paths)):
        if profile.name in found:
            raise OptionError(
                f"the profile {profile.name!r} is there already, from {found[profile.name].origin}",
                path=profile.origin,
                remedy="Give it another name.",
            )
        found[profile.name] = profile
    return found


def choose_profiles(profiles: Mapping[str, Profile], names: Iterable[str]) -> tuple[Profile, ...]:
    """Return the profiles of some names, each once, in that order.

    Raises
    ------
    OptionError
        When there is none of a name.
    """
    wanted = list(dict.fromkeys(names))
    for name in wanted:
        if name not in profiles:
            raise OptionError(
                f"no profile is called {name!r}", field="--profile", remedy=f"There are: {', '.join(sorted(profiles))}."
            )
    return tuple(profiles[name] for name in wanted)


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

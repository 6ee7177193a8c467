"""The plugin host: load every plugin through one door, each on its own, and keep a record of what happened.

The house's own formats come through the same entry points as a stranger's. A plugin that does not import, breaks
a hook's signature, misspells a hook, raises or claims a name that is taken is left out whole and named with the
reason; all others work.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from importlib.metadata import EntryPoint, entry_points
from typing import Any, Literal

import pluggy

from exchange.errors import PluginError
from exchange.formats import hooks
from exchange.formats.format import Format

ENTRY_POINT_GROUP = hooks.PROJECT
OWN_DISTRIBUTION = "hotspot-exchange"
LIMITING_VARIABLE = "EXCHANGE_PLUGINS"
"""Names of the plugins to load, separated by commas; unset loads all, empty loads none."""

Stage = Literal["loaded", "import", "register", "call", "formats", "profiles"]


@dataclass(frozen=True)
class PluginRecord:
    """What became of one plugin.

    Attributes
    ----------
    name
        Of the entry point.
    distribution, version
        Of the package that brought it.
    stage
        ``loaded``, or the stage at which it failed.
    error
        Why it failed, in words; empty when loaded.
    formats
        Names of the formats it brought.
    profiles
        Names of the profiles of devices it brought.
    """

    name: str
    distribution: str
    version: str
    stage: Stage
    error: str = ""
    formats: tuple[str, ...] = ()
    profiles: tuple[str, ...] = ()

    @property
    def is_loaded(self) -> bool:
        """Whether the plugin is in use."""
        return self.stage == "loaded"


@dataclass(frozen=True)
class Candidate:
    """A plugin before it is let in: its name, the package that brings it, and how to import it."""

    name: str
    distribution: str
    version: str
    entry_point: EntryPoint | None = None
    module: Any = None

    def load(self) -> Any:
        """Import the plugin; raises whatever the import raises."""
        return self.module if self.entry_point is None else self.entry_point.load()


class _RefusedError(Exception):
    """A plugin is refused at a stage."""

    def __init__(self, stage: Stage, reason: str) -> None:
        super().__init__(reason)
        self.stage = stage


@dataclass
class Host:
    """Hold the loaded formats and the record of every plugin."""

    formats: dict[str, Format] = field(default_factory=dict)
    profiles: dict[str, tuple[Mapping[str, Any], str]] = field(default_factory=dict)
    """Limits of devices by the profile's name, each with the package that brought it."""

    records: list[PluginRecord] = field(default_factory=list)
    _owners: dict[str, Candidate] = field(default_factory=dict)

    @classmethod
    def with_installed_plugins(cls, environment: Mapping[str, str] = os.environ) -> Host:
        """Return a host with the installed plugins, limited by ``EXCHANGE_PLUGINS``."""
        return cls.with_plugins(_find_installed(environment.get(LIMITING_VARIABLE)))

    @classmethod
    def with_plugins(cls, candidates: Iterable[Candidate]) -> Host:
        """Return a host with the given plugins; the house's own first, then by name, never by install order."""
        host = cls()
        for candidate in sorted(candidates, key=lambda c: (c.distribution != OWN_DISTRIBUTION, c.name)):
            host.add(candidate)
        return host

    @classmethod
    def with_formats(cls, formats: Iterable[Format], *, distribution: str) -> Host:
        """Return a host that holds these formats and no plugin, as for tests of one format."""
        host = cls()
        for fmt in formats:
            host.formats[fmt.name] = fmt
            host._owners[fmt.name] = Candidate(fmt.name, distribution, "")
        return host

    def add(self, candidate: Candidate) -> PluginRecord:
        """Let one plugin in, or refuse it; either way the record says so."""
        try:
            hook = _register(candidate, _import(candidate))
            formats, profiles = _ask_for_formats(hook), _ask_for_profiles(hook)
            self._refuse_clashes(formats)
            self._refuse_taken_profiles(profiles)
        except _RefusedError as refusal:
            record = _make_record(candidate, refusal.stage, error=str(refusal))
        else:
            for fmt in formats:
                self.formats[fmt.name] = fmt
                self._owners[fmt.name] = candidate
            self.profiles |= {name: (limits, candidate.distribution) for name, limits in profiles.items()}
            names = {"formats": tuple(fmt.name for fmt in formats), "profiles": tuple(profiles)}
            record = _make_record(candidate, "loaded", **names)
        self.records.append(record)
        return record

    def failures(self) -> list[PluginRecord]:
        """Return the records of the plugins that were left out."""
        return [record for record in self.records if not record.is_loaded]

    def distribution_of(self, fmt: Format) -> str:
        """Return the name of the package that brought a format."""
        return self._owners[fmt.name].distribution

    def claims(self) -> dict[str, Format]:
        """Return the loaded formats by the suffixes they claim."""
        return {suffix: fmt for fmt in self.formats.values() for suffix in fmt.suffixes}

    def guard(self, fmt: Format, error: Exception) -> PluginError:
        """Return the error that tells that a format's own code failed."""
        return PluginError(
            f"the plugin for {fmt.name} of {self.distribution_of(fmt)} failed: {type(error).__name__}: {error}",
            remedy="Report it to the makers of that plugin; the other formats work.",
        )

    def _refuse_clashes(self, formats: list[Format]) -> None:
        claims = self.claims()
        for fmt in formats:
            taken = {fmt.name: self.formats.get(fmt.name)} | {s: claims.get(s) for s in fmt.suffixes}
            for claim, holder in taken.items():
                if holder is not None:
                    raise _RefusedError(
                        "formats",
                        f"format {fmt.name!r} claims {claim!r}, which {self.distribution_of(holder)} has taken "
                        f"for its format {holder.name!r}",
                    )

    def _refuse_taken_profiles(self, profiles: Mapping[str, Any]) -> None:
        for name in profiles:
            if name in self.profiles:
                raise _RefusedError("profiles", f"profile {name!r} is one that {self.profiles[name][1]} has taken")


def _find_installed(limit: str | None) -> list[Candidate]:
    wanted = None if limit is None else {name.strip() for name in limit.split(",") if name.strip()}
    found = [
        Candidate(entry.name, entry.dist.name if entry.dist else "", entry.dist.version if entry.dist else "", entry)
        for entry in entry_points(group=ENTRY_POINT_GROUP)
    ]
    return [candidate for candidate in found if wanted is None or candidate.name in wanted]


def _make_record(candidate: Candidate, stage: Stage, **rest: Any) -> PluginRecord:
    return PluginRecord(candidate.name, candidate.distribution, candidate.version, stage, **rest)


def _import(candidate: Candidate) -> Any:
    try:
        return candidate.load()
    except (Exception, SystemExit) as error:
        raise _RefusedError("import", f"does not import: {type(error).__name__}: {error}") from error


def _register(candidate: Candidate, plugin: Any) -> Any:
    """Return the hooks of one plugin, to be called."""
    # A manager of its own for each plugin: in pluggy a refused plugin stays half registered, and one
    # implementation that raises silences those called after it.
    manager = pluggy.PluginManager(hooks.PROJECT)
    manager.add_hookspecs(hooks)
    try:
        manager.register(plugin, name=candidate.name)
        manager.check_pending()
    except (pluggy.PluginValidationError, ValueError) as error:
        raise _RefusedError("register", " ".join(str(error).split())) from error
    if not manager.get_hookcallers(plugin):
        raise _RefusedError("register", "implements no hook of the exchange, such as exchange_formats()")
    return manager.hook


def _call(hook: pluggy.HookCaller) -> Any:
    """Return the plugin's answer to one hook; ``None`` where it does not implement it."""
    try:
        answers = hook()
    except Exception as error:
        raise _RefusedError("call", f"{hook.name}() raised {type(error).__name__}: {error}") from error
    if hook.get_hookimpls() and not answers:
        raise _RefusedError("call", f"{hook.name}() returned nothing")
    return answers[0] if answers else None


def _ask_for_profiles(hook: Any) -> dict[str, Mapping[str, Any]]:
    answer = _call(hook.exchange_profiles)
    if answer is None:
        return {}
    if not isinstance(answer, Mapping) or not all(isinstance(limits, Mapping) for limits in answer.values()):
        raise _RefusedError("profiles", f"exchange_profiles() returned {answer!r}, not profiles by name")
    return dict(answer)


def _ask_for_formats(hook: Any) -> list[Format]:
    return _check_formats(_call(hook.exchange_formats)) if hook.exchange_formats.get_hookimpls() else []


def _check_formats(answer: Any) -> list[Format]:
    if not isinstance(answer, (list, tuple)):
        raise _RefusedError("formats", f"exchange_formats() returned {answer!r}, not a list of formats")
    for fmt in answer:
        if not isinstance(fmt, Format):
            raise _RefusedError("formats", f"exchange_formats() returned {fmt!r}, which is no Format")
        lacking = [name for name in ("name", "title", "suffixes", "holds") if not hasattr(fmt, name)]
        if lacking:
            raise _RefusedError("formats", f"{type(fmt).__name__} does not say its {', '.join(lacking)}")
        wrong = [suffix for suffix in fmt.suffixes if not suffix.startswith(".") or suffix != suffix.lower()]
        if wrong:
            raise _RefusedError("formats", f"suffix {wrong[0]!r} of {fmt.name!r} must be lower case with its dot")
    return list(answer)

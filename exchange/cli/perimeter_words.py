"""What ``exchange perimeter`` says to a person, and its report for ``--json``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from exchange.cli.console import say

if TYPE_CHECKING:
    from exchange.model import Problem
    from exchange.perimeter import Finding, Traced
    from exchange.perimeter.compare import Growth

CAUTION = """\
The perimeter is an aid: it shows where an aircraft flew, not where fire can be. Check it before anyone flies or
enters burned ground by it; the incident's command, licensed practice and local rules decide."""
_MOST_PLACES_SAID = 6


def tell_trace(output: str, traced: Traced, growth: Growth | None, picture: str | None) -> None:
    """Say the figures, the findings and the caution."""
    rows = traced.report.lines() + (growth.lines() if growth else [])
    for name, words in rows:
        say(f"  {name:<14} {words}")
    for finding in traced.refusals:
        say(f"{'refused' if traced.perimeter is None else 'invented'}: {_describe(finding)}")
    for finding in traced.flags:
        say(f"check: {_describe(finding)}")
    if traced.perimeter is None:
        say("exchange: no perimeter was written" + (f"; {picture} shows why" if picture else ""))
        return
    say(f"{'standard output' if output == '-' else output}: 1 perimeter")
    say(CAUTION)


def _describe(finding: Finding) -> str:
    places = [f"{latitude:.6f}, {longitude:.6f}" for longitude, latitude in finding.places[:_MOST_PLACES_SAID]]
    more = f" and {len(finding.places) - len(places)} more" if len(finding.places) > len(places) else ""
    return f"{finding.words}\n  at {'; '.join(places)}{more}" if places else finding.words


def to_report(
    files: tuple[str, ...], output: str, traced: Traced, growth: Growth | None, problems: tuple[Problem, ...]
) -> dict[str, Any]:
    """Return the report of ``--json``."""
    return {
        "version": 1,
        "files": list(files),
        "output": None if traced.perimeter is None else output,
        "figures": traced.report.as_dict(),
        "refusals": [finding.as_dict() for finding in traced.refusals],
        "flags": [finding.as_dict() for finding in traced.flags],
        "bridges": [
            {
                "from": [float(bridge.line.longitude[0]), float(bridge.line.latitude[0])],
                "to": [float(bridge.line.longitude[-1]), float(bridge.line.latitude[-1])],
                "length_m": bridge.length_m,
                "is_invented": bridge.is_invented,
            }
            for bridge in traced.bridges
        ],
        "open_ends": [list(place) for place in traced.open_ends],
        "growth": growth.as_dict() if growth else None,
        "caution": CAUTION,
        "problems": [problem.as_dict() for problem in problems],
    }

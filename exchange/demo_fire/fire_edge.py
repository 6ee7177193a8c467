"""The true edge of the burn: ragged, with overhangs, an unburned island, and one night's growth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from exchange.demo_fire.scene import Floats, Truths, dice, seconds_at

GROWTH_AT: Final = seconds_at("2026-08-14T01:30:00-06:00")
"""When the edge broke out in the east, between the second and the third sortie."""
_HECTARES: Final = 96.0
_VERTICES: Final = 1500


@dataclass(frozen=True)
class FireEdge:
    """Hold the rings of the burn in metres of the fire's frame; shape (n, 2), counter-clockwise, not closed.

    Attributes
    ----------
    first
        The outer edge until ``GROWTH_AT``.
    grown
        The outer edge after it.
    island
        The edge of the unburned ground inside.
    """

    first: Floats
    grown: Floats
    island: Floats

    def outer_at(self, seconds: float) -> Floats:
        """Return the outer ring at an instant."""
        return self.first if seconds < GROWTH_AT else self.grown

    def is_burned(self, x: Floats, y: Floats, *, grown: bool) -> Truths:
        """Tell which positions lie on burned ground."""
        outer = self.grown if grown else self.first
        return is_inside(outer, x, y) & ~is_inside(self.island, x, y)


def make_fire_edge(seed: int) -> FireEdge:
    """Return the edges of the burn."""
    random = dice(seed, "fire edge")
    angle = np.linspace(0.0, 2 * np.pi, _VERTICES, endpoint=False)
    radius = 1.0 + 0.28 * np.cos(2 * (angle - 0.5)) + _raggedness(random, angle, waves=60, size=0.30)
    lobe = np.exp(-((np.angle(np.exp(1j * (angle - 0.35))) / 0.30) ** 2))
    tongue = lobe * (0.30 + 0.5 * _raggedness(random, angle, waves=60, size=0.15))
    phases = random.uniform(0, 2 * np.pi, 4)
    unit = _warp(_polar(angle, radius), phases)
    scale = np.sqrt(_HECTARES * 1e4 / ring_area_m2(unit))
    grown = _warp(_polar(angle, radius + tongue), phases)
    return FireEdge(unit * scale, grown * scale, _make_island(random))


def _make_island(random: np.random.Generator) -> Floats:
    angle = np.linspace(0.0, 2 * np.pi, 220, endpoint=False)
    radius = 80.0 * (1.0 + 0.25 * np.cos(2 * (angle - 1.2)) + _raggedness(random, angle, waves=12, size=0.15))
    return np.asarray(_polar(angle, radius) + np.array([-190.0, -60.0]))


def _raggedness(random: np.random.Generator, angle: Floats, *, waves: int, size: float) -> Floats:
    """Return a sum of waves around the ring, the shorter the lower."""
    number = np.arange(2, waves + 1)
    height = size * random.uniform(0.3, 1.0, len(number)) * number**-1.05
    phase = random.uniform(0, 2 * np.pi, len(number))
    return np.asarray((height[:, None] * np.cos(number[:, None] * angle + phase[:, None])).sum(axis=0))


def _polar(angle: Floats, radius: Floats) -> Floats:
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def _warp(ring: Floats, phases: Floats) -> Floats:
    """Bend the plane so that the ring gets overhangs; the bend never folds, so the ring stays simple."""
    x, y = ring.T
    return np.column_stack(
        [
            x + 0.07 * np.sin(5.0 * y + phases[0]) + 0.015 * np.sin(23.0 * y + phases[1]),
            y + 0.07 * np.sin(5.0 * x + phases[2]) + 0.015 * np.sin(23.0 * x + phases[3]),
        ]
    )


def ring_area_m2(ring: Floats) -> float:
    """Return the area inside a ring, positive when it runs counter-clockwise (shoelace formula)."""
    x, y = ring.T
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2)


def is_inside(ring: Floats, x: Floats, y: Floats) -> Truths:
    """Tell which positions lie inside a ring, by counting its crossings eastward of each."""
    from_x, from_y = ring.T
    to_x, to_y = np.roll(ring, -1, axis=0).T
    px, py = np.asarray(x, float)[..., None], np.asarray(y, float)[..., None]
    spans = (from_y > py) != (to_y > py)
    rise = np.where(to_y == from_y, 1.0, to_y - from_y)
    crossing = from_x + (py - from_y) / rise * (to_x - from_x)
    return np.asarray((spans & (px < crossing)).sum(axis=-1) % 2 == 1)


def distances_to_ring_m(ring: Floats, x: Floats, y: Floats) -> Floats:
    """Return the distance in metres from each position to the nearest stretch of a ring."""
    start, step = ring, np.roll(ring, -1, axis=0) - ring
    offset = np.stack([x, y], axis=-1)[..., None, :] - start
    along = np.clip((offset * step).sum(-1) / (step**2).sum(-1), 0.0, 1.0)
    return np.asarray(np.linalg.norm(offset - along[..., None] * step, axis=-1).min(axis=-1))

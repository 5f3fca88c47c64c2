"""Random zones: spalting, water marks, blue stain, mineral colour, the rim of the heartwood."""

from __future__ import annotations

import numpy as np

from crackmap.demo.scene import Zone

_BROWN_BLACK = (0.9, 0.93, 0.95)


def spalt_zones(strength: float, seed: int) -> tuple[Zone, ...]:
    """Bleached wood behind dark zone lines, as white rot leaves it; none at strength 0.

    Zone lines are thin, dark, even in width and closed; they follow the grain
    only loosely.

    `strength` is 0 to 1. [-]
    """
    if strength <= 0:
        return ()
    rng = np.random.default_rng([seed, 43])
    levels = tuple(float(v) for v in np.sort(rng.choice([-0.9, -0.3, 0.2, 0.6, 1.1], int(rng.integers(1, 4)), False)))
    across = float(rng.uniform(6, 16))
    grey = 0.28 * strength * np.array([1.0, 0.95, 0.85]) * rng.uniform(0.2, 1.2)
    dark = float(np.clip(rng.normal(0.9, 0.2), 0.35, 1.03))
    line = tuple(float(v * dark) for v in _BROWN_BLACK)
    return (
        Zone(
            int(rng.integers(1 << 30)),
            across * float(rng.uniform(1.5, 4.5)),
            across,
            levels,
            (float(grey[0]), float(grey[1]), float(grey[2])),
            line_mm=float(rng.uniform(0.3, 1.9)),
            line_absorbs=(line[0], line[1], line[2]),
            softness=float(rng.uniform(0.05, 0.5)),
            wobble=float(rng.choice([0, rng.uniform(0.03, 0.3)])),
            gaps=float(rng.choice([0, rng.uniform(0.1, 0.6)])),
            uneven=float(rng.uniform(0, 0.6)),
        ),
    )


def random_zone(rng: np.random.Generator) -> Zone:
    """A stain, a water mark, blue stain, mineral colour or a line of the heartwood's border."""
    kind = str(rng.choice(["tide", "blue", "mineral", "rim", "brown"]))
    seed, size = int(rng.integers(1 << 30)), float(np.exp(rng.uniform(np.log(3), np.log(16))))
    lines = rng.uniform(0.1, 0.6)
    strong = rng.uniform(0.1, 0.55)
    levels = (float(rng.uniform(-0.6, 1.0)),)
    if kind == "tide":  # dissolved dirt dries at the rim
        return Zone(seed, size * 1.6, size, levels, _tint(0.4 * strong, (0.8, 0.9, 1.0)), float(rng.uniform(0.6, 4)),
                    _tint(lines, (0.75, 0.9, 1.0)), float(rng.uniform(0.4, 2)), float(rng.uniform(0.1, 0.5)),
                    float(rng.uniform(0, 0.6)))
    if kind == "blue":
        return Zone(seed, size * 5, size, levels, _tint(strong, (1.0, 0.85, 0.6)), softness=float(rng.uniform(0.5, 3)),
                    wobble=float(rng.uniform(0.1, 0.5)))
    if kind == "mineral":  # long, narrow, ragged, dark: the colour runs along the grain
        return Zone(seed, size * 10, 0.35 * size, (float(rng.uniform(0.8, 2.0)),),
                    _tint(rng.uniform(0.3, 0.75), (0.85, 0.9, 0.95)), softness=float(rng.uniform(0.2, 1.2)),
                    wobble=float(rng.uniform(0.1, 0.6)))
    if kind == "rim":
        return Zone(seed, size * 12, size, levels, _tint(strong, (0.5, 0.75, 0.9)), float(rng.uniform(0.4, 3)),
                    _tint(1.4 * lines, (0.6, 0.8, 0.95)), float(rng.uniform(0.3, 1.5)), float(rng.uniform(0, 0.3)))
    return Zone(seed, size * 3, size, levels, _tint(strong, (0.6, 0.85, 1.0)), softness=float(rng.uniform(0.3, 4)),
                wobble=float(rng.uniform(0.0, 0.5)))


def _tint(strength: float, absorbs: tuple[float, float, float]) -> tuple[float, float, float]:
    strength = float(np.clip(strength, 0, 0.97))
    return (strength * absorbs[0], strength * absorbs[1], strength * absorbs[2])

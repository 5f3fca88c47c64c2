"""How fast keys are shaped and checked, and how well the gap is kept.

Run: python -m tests.benchmarks.bench_keys [COUNT]
Sizes, bits and clearances are random (seeded) and all different, so no cache helps.
"""

from __future__ import annotations

import random
import sys
import time

import numpy as np

from crackmap.errors import KeyShapeError
from crackmap.keys.checks import check_key, measured_gap
from crackmap.keys.fit import make_key
from crackmap.keys.shapes import SHAPES
from crackmap.keys.strength import HeldCrack, reckon_holding
from crackmap.records import KeyShape
from crackmap.shop import Bit, Fit, Shop
from crackmap.wood.species import species_named

COUNT = 1000
Wanted = tuple[str, float, float, float, Bit, Fit]


def random_sizes(shape: str, count: int, seed: int = 5) -> list[Wanted]:
    """Sizes that can be cut, as a maker might ask for them."""
    rng = random.Random(seed)
    sizes: list[Wanted] = []
    while len(sizes) < count:
        length = rng.uniform(50.0, 160.0)
        width = length * rng.uniform(0.3, 0.45)
        size = (shape, length, width, width * rng.uniform(0.4, 0.6), Bit(diameter=rng.choice([3.175, 6.0,
                                                                                              6.35])),
                Fit(clearance=rng.uniform(0.05, 0.3)))
        try:
            make_key(*size[:4], 19.0, *size[4:])
        except KeyShapeError:
            continue
        sizes.append(size)
    return sizes


def timed(sizes: list[Wanted]) -> tuple[float, float, list[KeyShape]]:
    """CPU seconds to shape all, to check all, and the keys."""
    make_key.cache_clear()
    start = time.process_time()
    keys = [make_key(*size[:4], 19.0, *size[4:]) for size in sizes]
    shaped = time.process_time()
    for key, size in zip(keys, sizes, strict=True):
        check_key(key, Shop(bit=size[4], fit=size[5]), 44.0, 4.0)
    return shaped - start, time.process_time() - shaped, keys


def main(count: int = COUNT) -> None:
    """Print the table."""
    print(f"{'shape':<10} {'keys':>5} {'shape s':>8} {'check s':>8} {'s per 1,000':>12} {'rows':>5} "
          f"{'gap error mm':>13}")
    for shape in SHAPES:
        sizes = random_sizes(shape, count)
        shaping, checking, keys = timed(sizes)
        errors = [np.abs(np.array(measured_gap(key)) - key.clearance).max() for key in keys]
        rows = max(len(key.pocket) for key in keys)
        per_thousand = 1000 * (shaping + checking) / count
        print(f"{shape:<10} {count:>5} {shaping:>8.3f} {checking:>8.3f} {per_thousand:>12.3f} {rows:>5} "
              f"{max(errors):>13.1e}")
    oak, walnut = species_named("red oak"), species_named("walnut")
    four = tuple(make_key("two-lobe", length, 0.42 * length, 0.18 * length, 19.5, Bit(), Fit())
                 for length in (100.0, 80.0, 63.0, 50.0))
    crack = HeldCrack(305.0, True, (30.0, 100.0, 170.0, 240.0), four, (6.0, 4.5, 3.0, 1.5))
    start = time.process_time()
    for _ in range(20):
        held = reckon_holding(crack, 44.0, oak, walnut, 12.0, 8.0)
    print(f"holding of one crack with four keys: {(time.process_time() - start) / 20 * 1000:.1f} ms")
    assert held.full_restraint_n is not None
    print("305 x 44 mm check, red oak, 12 to 8 %: "
          f"full restraint {held.full_restraint_n / 1000:.0f} kN, "
          f"tip bound {held.tip_bound_n / 1000:.1f} kN, on the keys "
          + ", ".join(f"{load.force_n / 1000:.2f}" for load in held.loads)
          + f" kN; the crack runs at {held.relief:.2f} times the stress")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else COUNT)

"""How long the drawings, sheets and pictures of a job take, and how densely keys lie on their boards.

    python -m tests.benchmarks.bench_sheets [--keys 20] [--repeats 3] [--side 3000] [--orders 20]

CPU time of this process, least of the repeats, on records made in code.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from crackmap.keys.outline import bounding_box, outline_area
from crackmap.records import FloatArray, KeyShape, Plan, RectifiedPhoto, Survey, frozen_array
from crackmap.settings import SheetSettings
from crackmap.sheets.annotated import annotated_picture
from crackmap.sheets.dxf import keys_dxf, slab_dxf
from crackmap.sheets.finished import finished_picture
from crackmap.sheets.picture_file import as_jpeg, as_png
from crackmap.sheets.setting_out import setting_out_pdf
from crackmap.sheets.stock_layout import lay_out_keys
from crackmap.sheets.svg import keys_svg, slab_svg
from crackmap.shop import Shop, StockBoard
from tests.builders import a_plan, a_rectified_photo, a_survey


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keys", type=int, default=20)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--side", type=int, default=3000)
    parser.add_argument("--orders", type=int, default=20, help="random orders for the nesting")
    options = parser.parse_args()
    survey = a_survey(1800.0, 640.0, 10)
    plan = a_plan(survey, options.keys)
    rectified = a_rectified_photo(survey, 2000.0 / options.side)
    settings = SheetSettings(picture_side=options.side)
    print(f"{options.keys} keys, {len(survey.cracks)} cracks, picture {rectified.pixels.shape[1]} px wide")
    print(f"{'file':<18}{'CPU s':>8}{'KiB':>9}")
    total = {False: 0.0, True: 0.0}
    for name, make in _makers(rectified, survey, plan, Shop(), settings).items():
        seconds, size = _timed(make, options.repeats)
        total[name.endswith((".png", ".jpg"))] += seconds
        print(f"{name:<18}{seconds:>8.2f}{size / 1024:>9.0f}")
    print(f"{'all but pictures':<18}{total[False]:>8.2f}")
    print(f"{'pictures':<18}{total[True]:>8.2f}")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")
    _print_nesting(options.orders)


def _print_nesting(orders: int) -> None:
    """Keys over the board used, by true shape and with each key as its bounding box, on random orders."""
    rng = np.random.default_rng(5)
    shares: dict[str, list[float]] = {"true shape": [], "bounding box": []}
    boards: dict[str, int] = dict.fromkeys(shares, 0)
    for _ in range(orders):
        survey = a_survey(1800.0, 640.0, 10, int(rng.integers(1000)))
        plan = a_plan(survey, int(rng.integers(6, 31)))
        stock = tuple(
            StockBoard(float(rng.uniform(350, 900)), float(rng.uniform(80, 200)), 25.0) for _ in range(12)
        )
        area = sum(outline_area(key.shape.key) for key in plan.keys)
        boxed = replace(
            plan, keys=tuple(replace(k, shape=replace(k.shape, key=_box(k.shape))) for k in plan.keys)
        )
        for name, order in (("true shape", plan), ("bounding box", boxed)):
            layout = lay_out_keys(order, Shop(stock=stock), SheetSettings())
            used = sum(
                laid.board.width * max(k.centre[0] + bounding_box(k.shape.key)[2] for k in laid.keys)
                for laid in layout.boards
            )
            shares[name].append(area / used)
            boards[name] += len(layout.boards)
    print(f"\nnesting, {orders} random orders: keys over board used, 9.35 mm between keys")
    for name, values in shares.items():
        print(
            f"{name:<18}{100 * np.mean(values):>6.1f} % mean, {100 * min(values):.1f} % least, "
            f"{boards[name]} boards"
        )


def _box(shape: KeyShape) -> FloatArray:
    x0, y0, x1, y1 = bounding_box(shape.key)
    return frozen_array([[x0, y0, 0.0], [x1, y0, 0.0], [x1, y1, 0.0], [x0, y1, 0.0]])


def _makers(
    rectified: RectifiedPhoto, survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings
) -> dict[str, Callable[[], bytes]]:
    return {
        "slab.dxf": lambda: slab_dxf(survey, plan, settings),
        "slab.dxf (R12)": lambda: slab_dxf(survey, plan, settings.with_changes(dxf_version="R12")),
        "keys.dxf": lambda: keys_dxf(plan, shop, settings),
        "slab.svg": lambda: slab_svg(survey, plan, settings),
        "keys.svg": lambda: keys_svg(plan, shop, settings),
        "setting-out.pdf": lambda: setting_out_pdf(survey, plan, shop, settings),
        "annotated.png": lambda: as_png(annotated_picture(rectified, survey, plan, settings)),
        "finished.jpg": lambda: as_jpeg(finished_picture(rectified, survey, plan, shop, settings)),
    }


def _timed(make: Callable[[], bytes], repeats: int) -> tuple[float, int]:
    """Least CPU time and the file's size."""
    times, size = [], 0
    for _ in range(max(1, repeats)):
        start = time.process_time()
        size = len(make())
        times.append(time.process_time() - start)
    return min(times), size


if __name__ == "__main__":
    main()

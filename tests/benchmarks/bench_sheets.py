"""How long the drawings, sheets and pictures of a job take, and how densely keys lie on their boards.

    python -m tests.benchmarks.bench_sheets [--keys 20] [--repeats 3] [--side 3000]

CPU time of this process, least of the repeats, on records made in code.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable

from crackmap.keys.outline import outline_area
from crackmap.records import Plan, RectifiedPhoto, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.annotated import annotated_picture
from crackmap.sheets.dxf import keys_dxf, slab_dxf
from crackmap.sheets.finished import finished_picture
from crackmap.sheets.picture_file import as_jpeg, as_png
from crackmap.sheets.setting_out import setting_out_pdf
from crackmap.sheets.stock_layout import lay_out_keys
from crackmap.sheets.svg import keys_svg, slab_svg
from crackmap.shop import Shop
from tests.builders import a_plan, a_rectified_photo, a_survey


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keys", type=int, default=20)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--side", type=int, default=3000)
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
    layout = lay_out_keys(plan, Shop(), settings)
    used = sum(outline_area(key.shape.key) for laid in layout.boards for key in laid.keys)
    boards = sum(laid.board.length * laid.board.width for laid in layout.boards)
    print(f"keys on boards: {len(layout.boards)} boards, {100 * used / max(boards, 1e-9):.0f} % of their area is keys")


def _makers(rectified: RectifiedPhoto, survey: Survey, plan: Plan, shop: Shop,
            settings: SheetSettings) -> dict[str, Callable[[], bytes]]:
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

"""How long the drawings, sheets and pictures of a job take, and whether other readers find every outline.

    python -m tests.benchmarks.bench_sheets [--keys 20] [--repeats 3] [--side 3000] [--no-pictures]

CPU time of this process, least of the repeats, on records made in code, on a bed smaller than the slab.
Round trip: slab, underside, keys and set-ups in all versions and both units, read by GDAL and by a
group-code reader of our own, the SVG by svgelements; outlines are compared point by point with what
was drawn. How densely keys lie on boards: bench_nesting. Set-ups: bench_setups.
"""

from __future__ import annotations

import argparse
import io
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyogrio
import shapely
import svgelements

from crackmap import jsonform, pipeline
from crackmap.keys.outline import to_points
from crackmap.records import FloatArray, Plan, RectifiedPhoto, Survey
from crackmap.settings import SheetSettings
from crackmap.sheets.annotated import annotated_picture
from crackmap.sheets.drawing import TURNED_OVER, Drawing, Mark, Outline
from crackmap.sheets.dxf import VERSIONS, as_dxf
from crackmap.sheets.finished import finished_picture
from crackmap.sheets.keys_drawing import keys_drawing
from crackmap.sheets.picture_file import as_jpeg, as_png
from crackmap.sheets.setup_drawing import setup_drawing
from crackmap.sheets.slab_drawing import slab_drawing
from crackmap.sheets.svg import as_svg
from crackmap.shop import Bed, Shop
from crackmap.units import MM_PER_INCH
from tests.builders import a_plan, a_rectified_photo, a_survey
from tests.sheets.dxf_groups import chorded, read_groups

BED = Bed(700.0, 450.0, ("left", "right", "front", "back"))


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keys", type=int, default=20)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--side", type=int, default=3000)
    parser.add_argument("--no-pictures", action="store_true")
    options = parser.parse_args()
    survey, shop = a_survey(1800.0, 640.0, 10), Shop(bed=BED)
    plan = a_plan(survey, options.keys, shop)
    settings = SheetSettings(picture_side=options.side, with_underside=True)
    stages = pipeline.StageSettings(plan.thickness_mm, sheets=settings)
    pipeline.plan_cutting(survey, plan, shop, stages)  # what is imported once is not counted
    ready = pipeline.plan_cutting(survey, plan, shop, stages)
    rectified = None if options.no_pictures else a_rectified_photo(survey, 2000.0 / options.side)
    print(f"{options.keys} keys, {len(survey.cracks)} cracks, {len(ready.setups)} set-ups; "
          f"CPU s, least of {options.repeats}")
    makers = _makers(rectified, survey, plan, ready, shop, stages)
    total = 0.0
    for name, make in makers.items():
        seconds, size = _timed(make, options.repeats)
        total += 0.0 if name.endswith((".png", ".jpg")) else seconds
        print(f"{name:<34}{seconds:>8.2f}{size / 1024:>9.0f} KiB")
    print(f"{'all but pictures':<34}{total:>8.2f}")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")
    _print_round_trip(survey, ready, shop)


def _makers(rectified: RectifiedPhoto | None, survey: Survey, plan: Plan, ready: Plan, shop: Shop,
            stages: pipeline.StageSettings) -> dict[str, Callable[[], int]]:
    """What makes each group of files; each returns its size in bytes."""
    sheets = stages.sheets

    def size_of(files: dict[str, bytes]) -> int:
        return sum(len(content) for content in files.values())

    makers: dict[str, Callable[[], int]] = {
        "boards, set-ups, machine time": lambda: 0 * len(pipeline.plan_cutting(survey, plan, shop, stages).keys),
        "plan.json": lambda: len(jsonform.dumps(jsonform.plan_as_json(ready))),
        "all DXF and SVG": lambda: size_of(pipeline.draw_for_machine(survey, ready, shop, sheets)),
        "setting-out.pdf, template.pdf": lambda: size_of(pipeline.draw_for_bench(survey, ready, shop, sheets)),
    }
    if rectified is not None:
        makers["annotated.png"] = lambda: len(as_png(annotated_picture(rectified, survey, ready, sheets)))
        makers["finished.jpg"] = lambda: len(as_jpeg(finished_picture(rectified, survey, ready, shop, sheets)))
    return makers


def _timed(make: Callable[[], int], repeats: int) -> tuple[float, int]:
    """Least CPU time and the files' size."""
    times, size = [], 0
    for _ in range(max(1, repeats)):
        start = time.process_time()
        size = make()
        times.append(time.process_time() - start)
    return min(times), size


def _print_round_trip(survey: Survey, plan: Plan, shop: Shop) -> None:
    print("\nround trip: closed outlines read back, greatest distance from what was drawn, repeats")
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "0.25"})
    for version in VERSIONS:
        for unit in ("mm", "in"):
            settings = SheetSettings(dxf_version=version, drawing_units=unit)
            mm = MM_PER_INCH if unit == "in" else 1.0
            outlines, own, gdal, same = 0, 0.0, 0.0, True
            for drawing in _drawings(survey, plan, shop, settings):
                content = as_dxf(drawing, settings)
                same &= content == as_dxf(drawing, settings)
                drawn = [shape for shape in drawing.shapes if isinstance(shape, Outline)]
                outlines += len(drawn)
                own = max(own, _own_reader(content, drawn, mm))
                gdal = max(gdal, _gdal(content, drawn, drawing, mm))
            print(f"{version:<6} {unit}: {outlines} outlines; own reader {own:.4f} mm, GDAL {gdal:.4f} mm; "
                  f"bytes {'repeat' if same else 'DIFFER'}")
    svg = max(_svg(as_svg(drawing), [s for s in drawing.shapes if isinstance(s, Outline)])
              for drawing in _drawings(survey, plan, shop, SheetSettings()))
    print(f"SVG: svgelements {svg:.4f} mm")


def _drawings(survey: Survey, plan: Plan, shop: Shop, settings: SheetSettings) -> list[Drawing]:
    return [slab_drawing(survey, plan, settings), slab_drawing(survey, plan, settings, TURNED_OVER),
            keys_drawing(plan, shop, settings),
            *(setup_drawing(survey, plan, setup, shop.bed, settings) for setup in plan.setups)]


def _far(found: FloatArray, drawn: Outline) -> float:
    """Greatest distance of points read from the outline drawn, and the other way round. [mm]"""
    line = shapely.LinearRing(to_points(drawn.rows, 0.0005))
    read = shapely.LinearRing(found)
    return float(max(shapely.distance(shapely.points(found), line).max(),
                     shapely.distance(shapely.points(np.asarray(line.coords)), read).max()))


def _own_reader(content: bytes, drawn: list[Outline], mm: float) -> float:
    closed = [e for e in read_groups(content)[1] if e.kind in ("LWPOLYLINE", "POLYLINE") and e.closed]
    assert [e.layer for e in closed] == [shape.layer for shape in drawn]
    return max(_far(np.array(chorded(e.rows)) * mm, shape) for e, shape in zip(closed, drawn, strict=True))


def _gdal(content: bytes, drawn: list[Outline], drawing: Drawing, mm: float) -> float:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drawing.dxf"
        path.write_bytes(content)
        _, _, geometries, fields = pyogrio.raw.read(path, columns=["Layer"])
    rings = [(str(layer), np.asarray(g.coords)[:, :2] * mm)
             for g, layer in zip(shapely.from_wkb(geometries), fields[0], strict=True)
             if g.geom_type == "LineString" and g.is_ring and len(g.coords) > 3]
    circles = sum(isinstance(shape, Mark) for shape in drawing.shapes)
    assert len(rings) == len(drawn) + circles, (len(rings), len(drawn), circles)
    worst = 0.0
    for shape in drawn:
        middle = shape.rows[0, :2]
        near = min((points for layer, points in rings if layer == shape.layer),
                   key=lambda points: float(np.hypot(*(points[0] - middle).T)))
        worst = max(worst, _far(near[:-1], shape))
    return worst


def _svg(content: bytes, drawn: list[Outline]) -> float:
    parsed = svgelements.SVG.parse(io.StringIO(content.decode()), ppi=25.4)
    paths = [e for e in parsed.elements() if isinstance(e, svgelements.Path) and e.d().rstrip().upper().endswith("Z")]
    assert len(paths) == len(drawn), (len(paths), len(drawn))
    left, top = (float(v) for v in content.decode().split('viewBox="')[1].split('"')[0].split()[:2])
    worst = 0.0
    # In the SVG the shapes come by layers; each is looked for where its first point lies.
    for path in paths:
        points = np.array([(p.x + left, -(p.y + top)) for p in _along(path)])
        shape = min(drawn, key=lambda s: float(np.hypot(*(s.rows[0, :2] - points[0]))))
        worst = max(worst, _far(points, shape))
    return worst


def _along(path: svgelements.Path) -> list[svgelements.Point]:
    points = []
    for segment in path:
        if isinstance(segment, svgelements.Arc):
            points += [segment.point(t) for t in np.linspace(0.0, 1.0, 49)[1:]]
        elif isinstance(segment, (svgelements.Move, svgelements.Line)):
            points.append(segment.end)
    return points


if __name__ == "__main__":
    main()

"""How densely keys lie on their boards: by true shape, as boxes by another packer, and what area alone allows.

    python -m tests.benchmarks.bench_nesting [--orders 50] [--boards 10] [--seed 5]

Random orders of 6 to 40 keys in three sizes, every shape in turn, on random boards. `rectpack`
(an independent packer of rectangles) gets each key's box with the same gap, the
same edges kept free and the same boards in the same order; the best of all its
methods counts, and its last board is pressed together by halving as ours is.
Every layout of ours is checked by shapely: gaps, edges, grain along the board.
The bound is area: keys grown by half the gap fill the boards without a hole.
"""

from __future__ import annotations

import argparse
import math
import time
from dataclasses import replace

import numpy as np
import rectpack
import shapely
from rectpack import guillotine, maxrects, skyline

from crackmap.keys.fit import make_key
from crackmap.keys.outline import bounding_box, moved, outline_area, to_polygon
from crackmap.keys.shapes import SHAPES
from crackmap.records import Key, StockLayout
from crackmap.settings import CuttingSettings
from crackmap.shop import Shop, StockBoard
from crackmap.stock.lay_out import lay_out_keys
from tests.builders import a_key

_METHODS = (maxrects.MaxRectsBl, maxrects.MaxRectsBssf, maxrects.MaxRectsBaf, maxrects.MaxRectsBlsf,
            skyline.SkylineBl, skyline.SkylineMwf, guillotine.GuillotineBssfSas)
_SORTS = (rectpack.SORT_AREA, rectpack.SORT_SSIDE, rectpack.SORT_LSIDE)
_TICK = 100  # rectpack wants whole numbers: hundredths of a millimetre
_HALVINGS = 6


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--orders", type=int, default=50)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--boards", type=int, default=10, help="of each shape, in the test of full boards")
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    settings = CuttingSettings()
    rows: list[tuple[str, float, float, float, int, int]] = []
    spent, faults = 0.0, 0
    for number in range(options.orders):
        form = sorted(SHAPES)[number % len(SHAPES)]
        keys, shop = an_order(rng, form)
        wood = sum(outline_area(key.shape.key) for key in keys)
        start = time.process_time()
        layout = lay_out_keys(keys, shop, settings)
        spent += time.process_time() - start
        faults += count_faults(layout, shop, settings)
        box_area, box_boards = boxed(keys, shop, settings)
        rows.append((form, wood / used_area(layout), wood / box_area, wood / area_bound(keys, shop, settings),
                     len(layout.boards), box_boards))
    print(f"{options.orders} orders; faults found by shapely: {faults}; "
          f"CPU {1000 * spent / options.orders:.0f} ms an order")
    print(f"{'keys over board used, %':<26}{'true shape':>12}{'boxes':>8}{'area bound':>12}{'less board':>12}"
          f"{'better in':>11}{'boards':>8}{'(boxes)':>9}")
    for form in (*sorted(SHAPES), "all"):
        some = [row for row in rows if form in (row[0], "all")]
        if some:
            _print_row(form, some)
    _print_full_boards(rng, options.boards, settings)


def _print_full_boards(rng: np.random.Generator, count: int, settings: CuttingSettings) -> None:
    """How much wood of keys goes on one board where there are more keys than room."""
    print(f"\none board and more keys than room, {count} boards: wood of keys over the board, %")
    print(f"{'':<26}{'true shape':>12}{'boxes':>8}{'more keys':>12}")
    for form in sorted(SHAPES):
        shares = []
        for _ in range(count):
            shop = Shop(stock=(StockBoard(float(rng.uniform(400, 900)), float(rng.uniform(90, 250)), 25.0),))
            keys = some_keys(rng, form, 70, shop)
            board = shop.stock[0]
            (laid,) = lay_out_keys(keys, shop, settings).boards
            own = sum(outline_area(k.shape.key) for k in laid.keys)
            shares.append(np.array([own, boxed_wood(keys, shop, settings)]) / board.length / board.width)
        own_share, box_share = np.array(shares).mean(axis=0)
        print(f"{form:<26}{100 * own_share:>12.1f}{100 * box_share:>8.1f}{100 * (own_share / box_share - 1):>10.1f} %")


def _print_row(name: str, rows: list[tuple[str, float, float, float, int, int]]) -> None:
    own, boxes, bound = (np.array([row[column] for row in rows]) for column in (1, 2, 3))
    less = 100.0 * np.mean(1.0 - boxes / own)
    print(f"{name:<26}{100 * own.mean():>12.1f}{100 * boxes.mean():>8.1f}{100 * bound.mean():>12.1f}{less:>10.1f} %"
          f"{f'{(own > boxes + 1e-9).sum()}/{len(rows)}':>11}{sum(r[4] for r in rows):>8}{sum(r[5] for r in rows):>9}")


def an_order(rng: np.random.Generator, form: str) -> tuple[tuple[Key, ...], Shop]:
    """Keys of one shape in three sizes, and boards to cut them from."""
    shop = Shop(stock=tuple(
        StockBoard(float(rng.uniform(350, 1000)), float(rng.uniform(80, 250)), 25.0) for _ in range(14)))
    return some_keys(rng, form, int(rng.integers(6, 41)), shop), shop


def some_keys(rng: np.random.Generator, form: str, count: int, shop: Shop) -> tuple[Key, ...]:
    """Keys of three sizes, mixed by chance."""
    ratio, longest = SHAPES[form].width_ratio, float(rng.uniform(80.0, 120.0))
    shapes = [make_key(form, size, ratio * size, max(8.0, SHAPES[form].waist_ratio * size), 20.0, shop.bit, shop.fit)
              for size in (longest, 0.85 * longest, 0.72 * longest)]
    names = ("large", "medium", "small")
    return tuple(replace(a_key(n, "C1", (0.0, 0.0), 90.0), shape=shapes[kind], size_name=names[kind])
                 for n, kind in enumerate(rng.integers(0, 3, count), 1))


def used_area(layout: StockLayout) -> float:
    """Of each board used, its width times its length up to the last key. [mm2]"""
    return sum(laid.board.width * max(k.centre[0] + bounding_box(k.shape.key)[2] for k in laid.keys)
               for laid in layout.boards)


def count_faults(layout: StockLayout, shop: Shop, settings: CuttingSettings) -> int:
    """Keys too near to each other or to an edge, or with their grain off the board's; by shapely."""
    faults = len(layout.left_over)
    for laid in layout.boards:
        edge = settings.board_edge - 1e-3
        free = shapely.box(edge, edge, laid.board.length - edge, laid.board.width - edge)
        shapes = [to_polygon(moved(k.shape.key, 0.0, k.centre), 0.01) for k in laid.keys]
        tree = shapely.STRtree(shapes)
        near = tree.query(shapes, predicate="dwithin", distance=shop.bit.diameter + settings.key_gap - 1e-3)
        faults += int((near[0] < near[1]).sum()) + sum(not free.contains(shape) for shape in shapes)
        faults += sum(abs(grain_angle(shape)) > 0.5 for shape in shapes)
    return faults


def grain_angle(shape: shapely.Polygon) -> float:
    """Direction of a key's long axis, by its second moments. [deg]"""
    points = shapely.get_coordinates(shapely.segmentize(shape.exterior, 0.5))
    offsets = points - points.mean(axis=0)
    values, vectors = np.linalg.eigh(offsets.T @ offsets)
    x, y = vectors[:, int(np.argmax(values))]
    return (math.degrees(math.atan2(y, x)) + 90.0) % 180.0 - 90.0


def boxed(keys: tuple[Key, ...], shop: Shop, settings: CuttingSettings) -> tuple[float, int]:
    """Area used by the best of rectpack's methods, and its boards. [mm2]"""
    return min((_packed(keys, shop.stock, shop.bit.diameter + settings.key_gap, settings.board_edge, method, sort)
                for method in _METHODS for sort in _SORTS), key=lambda found: (found[1], found[0]))


def boxed_wood(keys: tuple[Key, ...], shop: Shop, settings: CuttingSettings) -> float:
    """Wood of the keys that the best of rectpack's methods puts on the first board. [mm2]"""
    gap, edge, best = shop.bit.diameter + settings.key_gap, settings.board_edge, 0.0
    for method in _METHODS:
        for sort in _SORTS:
            packer = rectpack.newPacker(mode=rectpack.PackingMode.Offline, bin_algo=rectpack.PackingBin.BFF,
                                        pack_algo=method, sort_algo=sort, rotation=False)
            for number, key in enumerate(keys):
                x0, y0, x1, y1 = bounding_box(key.shape.key)
                packer.add_rect(math.ceil((x1 - x0 + gap) * _TICK), math.ceil((y1 - y0 + gap) * _TICK), rid=number)
            board = shop.stock[0]
            packer.add_bin(*(math.floor((side - 2 * edge + gap) * _TICK) for side in (board.length, board.width)))
            packer.pack()
            best = max(best, sum(outline_area(keys[r[5]].shape.key) for r in packer.rect_list()))
    return best


def _packed(keys: tuple[Key, ...], stock: tuple[StockBoard, ...], gap: float, edge: float, method: type,
            sort: object) -> tuple[float, int]:
    boxes = [bounding_box(key.shape.key) for key in keys]
    sizes = [(math.ceil((x1 - x0 + gap) * _TICK), math.ceil((y1 - y0 + gap) * _TICK)) for x0, y0, x1, y1 in boxes]

    def pack(lengths: list[float]) -> list[tuple[int, float]] | None:
        packer = rectpack.newPacker(mode=rectpack.PackingMode.Offline, bin_algo=rectpack.PackingBin.BFF,
                                    pack_algo=method, sort_algo=sort, rotation=False)
        for size in sizes:
            packer.add_rect(*size)
        for number, (board, length) in enumerate(zip(stock, lengths, strict=False)):
            usable = length - 2 * edge + gap, board.width - 2 * edge + gap
            if min(usable) > 0:
                packer.add_bin(*(math.floor(side * _TICK) for side in usable), bid=number)
        packer.pack()
        placed = packer.rect_list()
        if len(placed) < len(sizes):
            return None
        return [(b, (x + w) / _TICK - gap + edge) for b, x, y, w, h, _ in placed]

    lengths = [board.length for board in stock]
    found = pack(lengths)
    if found is None:
        return math.inf, len(stock)
    last = max(b for b, _ in found)
    low, high = 0.0, stock[last].length
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        tried = pack([*lengths[:last], middle])
        if tried is None:
            low = middle
        else:
            high, found = middle, tried
    ends: dict[int, float] = {}
    for b, end in found:
        ends[b] = max(ends.get(b, 0.0), end)
    return sum(stock[b].width * end for b, end in ends.items()), len(ends)


def area_bound(keys: tuple[Key, ...], shop: Shop, settings: CuttingSettings) -> float:
    """Area used if keys grown by half the gap filled the boards, in their order, without a hole. [mm2]"""
    gap, edge = shop.bit.diameter + settings.key_gap, settings.board_edge
    left = sum(float(to_polygon(key.shape.key, 0.05).buffer(gap / 2.0).area) for key in keys)
    used = 0.0
    for board in shop.stock:
        length, width = board.length - 2 * edge + gap, board.width - 2 * edge + gap
        taken = min(left, length * width)
        left -= taken
        used += board.width * (taken / width + edge - gap)
        if left <= 1e-9:
            break
    return used


if __name__ == "__main__":
    main()

"""What lies on the slab or beside it: markers where they hide little, sheets, odds and ends."""

from __future__ import annotations

import numpy as np

from crackmap.demo.edges import inside_distance
from crackmap.demo.scene import SlabScene, Thing
from crackmap.demo.things import SHEETS_MM
from crackmap.demo.wishes import SceneWishes


def draw_things(rng: np.random.Generator, w: SceneWishes, scene: SlabScene) -> tuple[Thing, ...]:
    """The scale reference and what else lies about."""
    kind = w.reference or str(rng.choice(["marker"] * 8 + ["a4", "card", "letter"]))
    length, width = scene.length, scene.width
    things: list[Thing] = []
    if kind == "marker":
        things += _markers(rng, w, scene)
    else:
        things.append(_sheet(rng, kind, w.reference_on, length, width))
    chosen = w.props
    if chosen is None:
        chosen = tuple(
            str(p) for p in rng.choice(["rule", "pencil", "card"], int(rng.choice([0, 0, 1, 2])), False)
        )
    for prop in chosen:
        size = {"rule": (300.0, 25.0), "pencil": (175.0, 7.2), "card": SHEETS_MM["card"]}[prop]
        if prop == kind:
            continue
        x, y = _clear_spot(rng, things, length, width, 0.5 * max(size))
        things.append(
            Thing(
                prop,
                x,
                y,
                float(rng.uniform(-180, 180)),
                size,
                "top",
                None,
                {"rule": 1.0, "pencil": 7.0, "card": 0.8}[prop],
            )
        )
    return tuple(things)


def _sheet(rng: np.random.Generator, kind: str, where: str, length: float, width: float) -> Thing:
    size = SHEETS_MM[kind]
    height = 0.8 if kind == "card" else 0.15
    if where == "bench":
        return Thing(
            kind,
            length * float(rng.uniform(0.3, 0.7)),
            width / 2 + 110 + size[1] / 2,
            float(rng.normal(0, 5)),
            size,
            "bench",
            None,
            height,
        )
    return Thing(
        kind,
        length * float(rng.uniform(0.3, 0.7)),
        float(rng.normal(0, 0.08)) * width,
        float(rng.normal(0, 8)),
        size,
        "top",
        None,
        height,
    )


def _clear_spot(
    rng: np.random.Generator, things: list[Thing], length: float, width: float, reach: float
) -> tuple[float, float]:
    best, most = (length / 2, 0.0), -np.inf
    for _ in range(14):
        x, y = rng.uniform(0.15, 0.85) * length, rng.uniform(-0.32, 0.32) * width
        room = min((np.hypot(x - t.x, y - t.y) - reach - 0.7 * max(t.size) for t in things), default=1e9)
        if room > most:
            best, most = (float(x), float(y)), room
    return best


def _least_hidden(
    rng: np.random.Generator, spot: tuple[float, float], size: float, scene: SlabScene, placed: list[Thing]
) -> tuple[float, float]:
    """A place near `spot` for a paper of `size` that hides little, as a careful maker puts it."""
    points = np.vstack(
        [
            np.zeros((0, 3)),
            *(np.c_[c.centreline, c.width] for c in scene.cracks),
            *(np.c_[v.polygon, np.full(len(v.polygon), 3.0)] for v in scene.voids),
        ]
    )
    best, least = spot, np.inf
    for _ in range(30):
        x = float(
            np.clip(spot[0] + rng.normal(0, 0.06) * scene.length, 0.75 * size, scene.length - 0.75 * size)
        )
        y = float(spot[1] + rng.normal(0, 0.13) * scene.width)
        under = np.hypot(points[:, 0] - x, points[:, 1] - y) < 0.78 * size
        cost = float(np.minimum(points[under, 2], 4).sum())
        cost += sum(1e4 for t in placed if np.hypot(t.x - x, t.y - y) < 1.8 * size)
        room = float(inside_distance(scene.edges, np.full(1, x, np.float32), np.full(1, y, np.float32))[0])
        cost += 1e3 * max(0.75 * size - room, 0)
        if cost < least:
            best, least = (x, y), cost
    return best


def _markers(rng: np.random.Generator, w: SceneWishes, scene: SlabScene) -> list[Thing]:
    length, width = scene.length, scene.width
    count = int(rng.choice([1, 2, 2, 3, 4, 4])) if w.markers is None else w.markers
    size = min(w.marker_size or float(rng.choice([60, 80, 100, 100])), 0.35 * width)
    spots = [(0.1, -0.25), (0.9, 0.25), (0.1, 0.25), (0.9, -0.25), (0.5, 0.0), (0.5, 0.25)]
    spots = spots if rng.random() < 0.5 else [(x, -y) for x, y in spots]
    if count == 1:
        spots = [(float(rng.uniform(0.2, 0.8)), float(rng.uniform(-0.15, 0.15)))]
    ids = rng.choice(50, count, replace=False)
    careful = rng.random() < 0.85
    out: list[Thing] = []
    for n in range(count):
        x, y = spots[n % len(spots)]
        if w.reference_on == "bench":
            place = (length * x, (width / 2 + 75 + size) * (1 if y >= 0 else -1))
        elif careful:
            place = _least_hidden(rng, (length * x, width * y), size, scene, out)
        else:
            place = (length * x + float(rng.normal(0, 15)), width * y + float(rng.normal(0, 0.03)) * width)
            if any(np.hypot(t.x - place[0], t.y - place[1]) < 1.8 * size for t in out):
                place = _least_hidden(rng, place, size, scene, out)
        out.append(
            Thing(
                "marker",
                *place,
                float(rng.normal(0, 7)),
                (size, size),
                w.reference_on,
                int(ids[n]),
                float(rng.uniform(0.1, 0.4)),
                size / 6,
            )
        )
    return out

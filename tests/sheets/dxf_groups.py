"""A small reader of DXF's text form, written from the format's description alone: no library in it.

A DXF file is pairs of lines, a group code and a value. Entities begin with
code 0; 8 is the layer; 10, 20 and 42 are x, y and bulge; 70 bit 1 is "closed".
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field


@dataclass
class Entity:
    """One entity: its kind, layer, and (code, value) pairs in file order."""

    kind: str
    pairs: list[tuple[int, str]] = field(default_factory=list)
    vertices: list[Entity] = field(default_factory=list)  # of an R12 polyline

    def first(self, code: int, default: str = "") -> str:
        """The first value of a group code."""
        return next((value for c, value in self.pairs if c == code), default)

    @property
    def layer(self) -> str:
        """Its layer."""
        return self.first(8)

    @property
    def closed(self) -> bool:
        """Bit 1 of group 70."""
        return bool(int(self.first(70, "0")) & 1)

    @property
    def rows(self) -> list[tuple[float, float, float]]:
        """Rows (x, y, bulge) of a polyline, old form or new."""
        if self.vertices:
            return [(float(v.first(10)), float(v.first(20)), float(v.first(42, "0"))) for v in self.vertices]
        rows: list[list[float]] = []
        for code, value in self.pairs:
            if code == 10:
                rows.append([float(value), 0.0, 0.0])
            elif code in (20, 42) and rows:
                rows[-1][1 if code == 20 else 2] = float(value)
        return [(x, y, bulge) for x, y, bulge in rows]


def read_groups(content: bytes) -> tuple[dict[str, str], list[Entity]]:
    """Header variables (first value each) and the entities of the model."""
    lines = content.decode("utf-8").split("\n")
    pairs = [(int(code), value.strip("\r")) for code, value in zip(lines[0::2], lines[1::2], strict=False)]
    header: dict[str, str] = {}
    entities: list[Entity] = []
    section, name = "", ""
    for place, (code, value) in enumerate(pairs):
        if (code, value) == (0, "SECTION"):
            section = pairs[place + 1][1]
        elif (code, value) == (0, "ENDSEC"):
            section = ""
        elif section == "HEADER":
            if code == 9:
                name = value
            elif name and name not in header:
                header[name] = value
        elif section == "ENTITIES":
            _take(entities, code, value)
    return header, entities


def _take(entities: list[Entity], code: int, value: str) -> None:
    if code == 0:
        if value == "VERTEX":
            entities[-1].vertices.append(Entity(value))
        elif value != "SEQEND":
            entities.append(Entity(value))
        else:
            entities[-1].pairs.append((-1, "SEQEND"))
    elif entities:
        target = entities[-1]
        if target.vertices and (-1, "SEQEND") not in target.pairs:
            target = target.vertices[-1]
        if (-1, "SEQEND") not in target.pairs:
            target.pairs.append((code, value))


def chorded(rows: list[tuple[float, float, float]], pieces: int = 64) -> list[tuple[float, float]]:
    """Points along a closed outline with its arcs in `pieces` chords, by plain trigonometry."""
    points = []
    for (x0, y0, bulge), (x1, y1, _) in zip(rows, [*rows[1:], rows[0]], strict=True):
        points.append((x0, y0))
        if bulge == 0.0:
            continue
        angle = 4.0 * math.atan(bulge)
        chord = math.dist((x0, y0), (x1, y1))
        radius = chord / (2.0 * math.sin(angle / 2.0))
        heading = math.atan2(y1 - y0, x1 - x0) - angle / 2.0
        cx, cy = x0 - radius * math.sin(heading), y0 + radius * math.cos(heading)
        for piece in range(1, pieces):
            a = heading + angle * piece / pieces
            points.append((cx + radius * math.sin(a), cy - radius * math.cos(a)))
    return points

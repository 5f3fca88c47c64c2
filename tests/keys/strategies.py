"""Random keys for property tests: sizes, bits and fits that a maker might ask for, cuttable or not."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import strategies as st

from crackmap.errors import KeyShapeError
from crackmap.keys.fit import make_key
from crackmap.keys.shapes import SHAPES
from crackmap.records import KeyShape
from crackmap.shop import Bit, Fit


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for, to try `make_key` with."""

    shape: str
    length: float
    width: float
    waist: float
    bit: Bit
    fit: Fit
    corners: str = "round"

    def made(self) -> KeyShape:
        return make_key(self.shape, self.length, self.width, self.waist, 19.0, self.bit, self.fit,
                        self.corners)


def _is_cuttable(asked: Asked) -> bool:
    try:
        asked.made()
    except KeyShapeError:
        return False
    return True


@st.composite
def _asked(draw: st.DrawFn, corners: tuple[str, ...]) -> Asked:
    corner = draw(st.sampled_from(corners))
    shape = draw(st.sampled_from(sorted(SHAPES))) if corner == "round" else "straight"
    diameter = draw(st.sampled_from([1.5, 2.0, 3.0, 3.175, 4.0, 6.0, 6.35, 8.0, 9.525, 12.7]))
    length = draw(st.floats(max(30.0, 8.0 * diameter), 200.0))
    width = length * draw(st.floats(0.2, 0.62))
    waist = width * draw(st.floats(0.25, 0.92))
    undersize = draw(st.sampled_from([0.0, 0.0, 0.04, 0.12, -0.03]))
    measured = diameter - undersize if undersize else None
    fit = Fit(clearance=draw(st.floats(0.0, 0.5)), pocket_share=draw(st.sampled_from([0.0, 0.0, 0.5, 1.0])))
    return Asked(shape, length, width, waist, Bit(diameter=diameter, measured=measured), fit, corner)


asked_keys = _asked(("round",))
cuttable_keys = asked_keys.filter(_is_cuttable)
square_keys = _asked(("chisel", "corner-relief", "end-relief")).filter(_is_cuttable)

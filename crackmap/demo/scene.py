"""What is in an invented slab photograph: frozen descriptions, no pixels.

Frame: slab millimetres, x right along the grain, **y down** seen from above,
z down below the show face (0 on it). This is the frame of the truth files, not
the right-handed, y-up frame of the rest of the package.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from crackmap.demo.looks import RGB, WOODS, WoodLook
from crackmap.records import FloatArray, frozen_array


@dataclass(frozen=True, slots=True, eq=False)
class EdgeLine:
    """The four edges of the show face and what lies outside them.

    `top` and `bottom` give y at each `x`; `left` and `right` give x at each `y`.
    A live side leans outwards by `bevel` mm for each mm of depth (negative:
    undercut) and carries `bark` mm of bark.
    """

    x: FloatArray  # (N,) evenly spaced, past both ends [mm]
    top: FloatArray  # (N,) [mm]
    bottom: FloatArray  # (N,) [mm]
    y: FloatArray  # (M,) evenly spaced, past both sides [mm]
    left: FloatArray  # (M,) [mm]
    right: FloatArray  # (M,) [mm]
    live_top: bool
    live_bottom: bool
    bevel_top: FloatArray  # (N,) [-]
    bevel_bottom: FloatArray  # (N,) [-]
    bark_top: float  # mean thickness, 0 for none [mm]
    bark_bottom: float


@dataclass(frozen=True, slots=True, eq=False)
class CrackShape:
    """One crack: a gap of `width` about `centreline`, open to `depth`.

    `lean` is how far the gap moves to the left of its own direction for each mm
    of depth. Between vertices everything is linear, so the description is the truth.
    """

    kind: str  # end_check, split, surface_check, hairline, knot_check, ring_shake, branch
    centreline: FloatArray  # (N, 2) [mm]
    width: FloatArray  # (N,) [mm]
    depth: FloatArray  # (N,) to the floor, or to the dust that lies in it [mm]
    dusty: FloatArray  # (N,) 1 where dust fills it to `depth`
    lean: float = 0.0
    parent: int | None = None  # a branch's stem
    halo: float = 0.0  # stain beside it, 0 to 1
    fill: RGB | None = None  # sRGB 0 to 255 of what lies in it; None: sawdust
    wall: RGB | None = None  # sRGB 0 to 255 of its walls and floor; None: the wood's, darker
    glow: float = 0.25  # light that bounces between the walls, as a share of the sky's [-]


@dataclass(frozen=True, slots=True)
class KnotShape:
    """A sound knot: the grain flows round it."""

    x: float
    y: float
    radius: float  # across the grain [mm]
    stretch: float  # along the grain [-]
    darkness: float = 0.5  # 0 pale, 1 nearly black


@dataclass(frozen=True, slots=True, eq=False)
class VoidShape:
    """An opening whose rim is `radii` at evenly spaced angles round `centre`."""

    kind: str  # knot_hole, bark_inclusion
    centre: FloatArray  # (2,) [mm]
    radii: FloatArray  # (N,) from angle 0 (x axis) towards y, before stretching [mm]
    stretch: float  # along x [-]
    depth: float  # [mm]
    through: bool
    taper: float  # share of the radius lost at full depth

    @property
    def polygon(self) -> FloatArray:
        """The rim, (N, 2). [mm]"""
        angle = np.arange(len(self.radii)) * (2 * np.pi / len(self.radii))
        rim = np.c_[np.cos(angle) * self.stretch, np.sin(angle)] * self.radii[:, None]
        return frozen_array(self.centre + rim)

    @property
    def as_knot(self) -> KnotShape:
        """The knot that fell out of it: the grain still flows round that."""
        return KnotShape(float(self.centre[0]), float(self.centre[1]), float(self.radii.mean()), self.stretch)


@dataclass(frozen=True, slots=True)
class Mark:
    """Something on the surface that is no crack: stain, ring, pencil line, saw scar, tape."""

    kind: str  # stain, cup_ring, pencil, scar, streak, shadow_stripe
    x: float
    y: float
    size: float  # length or radius [mm]
    angle_deg: float = 0.0
    strength: float = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class PaintedLine:
    """A line on the face that is no gap: pigment, ink, graphite, a grain line, a scratch.

    It takes the share `absorbs` of each colour away and leaves the wood's figure
    to be seen through it, or covers the wood with `opaque`.
    """

    centreline: FloatArray  # (N, 2) [mm]
    width: FloatArray  # (N,) [mm]
    strength: float  # 0 to 1
    absorbs: tuple[float, float, float]  # of linear light, 0 to 1; negative brightens
    softness: float = 0.0  # width of its blurred border [mm]
    broken: float = 0.0  # 0 even, 1 broken by the grain's relief
    opaque: RGB | None = None  # sRGB 0 to 255


@dataclass(frozen=True, slots=True)
class Zone:
    """Wood changed inside the level lines of a smooth field: rot, stain, water, mineral colour.

    The field's blobs are about five times `along` by `across` in size. A line of
    its own may run along the border, as fungi draw it.
    """

    seed: int
    along: float  # scale along the grain [mm]
    across: float  # scale across the grain [mm]
    levels: tuple[float, ...]  # of the field, whose spread is 1
    absorbs: tuple[float, float, float]  # inside, share of linear light, 0 to 1
    line_mm: float = 0.0  # width of the border line; 0 for none
    line_absorbs: tuple[float, float, float] = (0.9, 0.92, 0.94)
    softness: float = 0.3  # of the line and of the area's border [mm]
    wobble: float = 0.15  # small bends, as a share of the field's spread
    gaps: float = 0.0  # share of the line that fades out
    uneven: float = 0.0  # spread of the logarithm of its width along it


@dataclass(frozen=True, slots=True)
class Thing:
    """A flat thing that lies on the slab or the bench."""

    kind: str  # marker, a4, letter, card, rule, pencil
    x: float  # of its centre [mm]
    y: float
    angle_deg: float
    size: tuple[float, float]  # marker: the black square's side, twice [mm]
    where: str = "top"  # top or bench
    id: int | None = None
    height: float = 0.25  # of its face above what it lies on [mm]
    margin: float = 0.0  # marker: white border round the square [mm]


@dataclass(frozen=True, slots=True)
class CameraPose:
    """A pinhole camera with radial distortion, looking down."""

    size_px: tuple[int, int]  # width, height
    focal_px: float
    principal_px: tuple[float, float]
    look_at: tuple[float, float]  # point of the show face in the middle of the view [mm]
    height: float  # of the camera above the show face [mm]
    tilt_deg: float  # between the optical axis and the vertical
    tilt_towards_deg: float  # azimuth of the tilt
    turn_deg: float  # of the picture about the optical axis
    k1: float = 0.0
    k2: float = 0.0


@dataclass(frozen=True, slots=True)
class Light:
    """One main light and a sky. Directions point from the slab to the light."""

    kind: str
    azimuth_deg: float
    elevation_deg: float
    softness: float  # width of a penumbra as a share of the shadow's length
    direct: float  # irradiance of the main light on a level face
    sky: float
    colour: tuple[float, float, float]  # of the main light, linear
    sky_colour: tuple[float, float, float]
    gradient: tuple[float, float] = (0.0, 0.0)  # relative change of the main light over 1 m in x, y
    bands: tuple[tuple[float, float, float, float], ...] = ()  # shadows: angle, offset, width, strength
    glare: tuple[float, float, float, float] | None = None  # x, y, radius, strength of a sheen


@dataclass(frozen=True, slots=True)
class Exposure:
    """What happens between the lens and the file."""

    level: float = 0.62  # linear value that the slab's bright wood is brought to
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    vignette: float = 0.15  # light lost in the corners
    blur_px: float = 0.65  # sigma of the optical blur
    read_noise: float = 0.002  # linear
    photon_noise: float = 0.006  # sigma at full white, linear; grows with the root of the light
    sharpening: float = 0.0
    flare: float = 0.003  # veiling light added everywhere
    jpeg_quality: int = 90


@dataclass(frozen=True, slots=True)
class Finish:
    """How the face was left."""

    saw_marks: float = 0.0  # 0 to 1
    saw_pitch: float = 6.0  # [mm]
    saw_radius: float = 0.0  # of a circular saw, 0: straight band-saw marks [mm]
    weathering: float = 0.0  # 0 fresh, 1 grey
    dust: float = 0.0  # 0 to 1
    speck_level: float = 2.3  # where dust's specks begin: the lower, the more of them
    end_seal: tuple[float, float, float] | None = None  # sRGB of wax slopped over the ends
    roughness: float = 0.5
    mineral: float = 0.0  # dark streaks along the grain
    spalt: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class SlabScene:
    """Everything that decides a picture; the same scene always gives the same pixels."""

    name: str
    seed: int
    look: str  # a name in looks.WOODS
    length: float  # nominal [mm]
    width: float  # nominal [mm]
    thickness_mm: float
    edges: EdgeLine
    camera: CameraPose
    light: Light
    bench: str  # a name in bench_texture.BENCHES
    pith_depth: float  # below the show face at x = 0 (negative: above it) [mm]
    pith_y: float  # [mm]
    sapwood: float  # width of the pale band along a live edge [mm]
    cracks: tuple[CrackShape, ...] = ()
    voids: tuple[VoidShape, ...] = ()
    knots: tuple[KnotShape, ...] = ()
    marks: tuple[Mark, ...] = ()
    things: tuple[Thing, ...] = ()
    finish: Finish = field(default_factory=Finish)
    exposure: Exposure = field(default_factory=Exposure)
    bench_angle_deg: float = 0.0
    bench_colour: tuple[float, float, float] | None = None  # sRGB 0 to 255; None: the bench's own
    lines: tuple[PaintedLine, ...] = ()
    zones: tuple[Zone, ...] = ()
    own_look: WoodLook | None = None  # a wood that is in no list

    @property
    def wood(self) -> WoodLook:
        """How the wood looks."""
        return self.own_look or WOODS[self.look]

    @property
    def marker_size_mm(self) -> float | None:
        """Side of the first marker's black square; None without markers."""
        return next((t.size[0] for t in self.things if t.kind == "marker"), None)

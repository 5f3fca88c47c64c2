"""Choices, one frozen class a stage; facts with a source live in published.py.

A choice has a reason, written beside it. Lengths are millimetres and angles
degrees unless a name says otherwise. ``with_changes`` makes a copy with other
values and refuses an unknown name, naming the closest known one.
"""

from __future__ import annotations

import dataclasses
import difflib
import itertools
from dataclasses import dataclass
from typing import Any, NamedTuple, Self

from crackmap.errors import SettingsError, quoted


@dataclass(frozen=True, slots=True)
class Settings:
    """Base of the settings classes."""

    def with_changes(self, **changes: Any) -> Self:
        """A copy with `changes`.

        Raises
        ------
        SettingsError
            If a name is unknown; names the closest known one.
        """
        known = [f.name for f in dataclasses.fields(self)]
        for name in changes:
            if name not in known:
                raise SettingsError(f"unknown setting {quoted(name)} in {type(self).__name__}"
                                    f"{nearest_hint(name, known)}")
        return dataclasses.replace(self, **changes)


_LONGEST_NAME, _MOST_NAMES = 60, 40


def nearest_hint(name: str, known: list[str]) -> str:
    """The end of a sentence with its mark: '; did you mean 'X'?' for a misspelt name, or '; known names are A, B.'"""
    # What is this much longer than a name was not meant for one, and comparing it would take long.
    close = difflib.get_close_matches(name[:_LONGEST_NAME], known, n=1, cutoff=0.6)
    if close:
        return f"; did you mean {quoted(close[0])}?"
    listed = ", ".join(name if name.isprintable() and len(name) <= _LONGEST_NAME else quoted(name)
                       for name in sorted(known)[:_MOST_NAMES])
    return f"; known names are {listed}{' and others' if len(known) > _MOST_NAMES else ''}."


class KnownLens(NamedTuple):
    """A lens measured beforehand, in OpenCV's convention; plain tuples, so that it goes through JSON."""

    image_size: tuple[int, int]  # width and height of the pictures it is for [px]
    camera_matrix: tuple[tuple[float, ...], ...]  # 3 rows of 3 [px]
    distortion: tuple[float, ...]  # k1, k2, p1, p2, k3 [-]
    focal_35mm: float | None = None  # of the photos it was measured on, to tell a phone's lenses apart [mm]


class MarkDistance(NamedTuple):
    """A distance taped between the centres of two markers."""

    first_id: int
    second_id: int
    distance: float  # [mm]
    sigma: float = 0.5  # a tape over a metre or two, read with care (common practice, no source) [mm]


@dataclass(frozen=True, slots=True)
class ScaleSettings(Settings):
    """How the photo is brought to scale."""

    reference: str = "marker"  # what lies on the slab: marker, a4, a3, letter, card
    marker_size: float = 100.0  # printed side of the black square [mm]
    marker_size_sigma: float = 0.2  # how well that side is known: read with a rule [mm]
    marker_height: float = 0.0  # of the marker's face above the show face; below is negative [mm]
    marker_height_sigma: float = 0.3  # paper and its curl, or the thickness that the height was taken from [mm]
    focal_35mm: float | None = None  # 35 mm equivalent of the camera, where the file doesn't say [mm]
    k1_sigma: float = 0.02  # how far an unknown lens bends the picture, one sigma (a choice) [-]
    tilt_sigma_deg: float = 15.0  # photos are taken from above, give or take this (a choice) [degree]
    lens: KnownLens | None = None  # measured beforehand, from a lens file
    check_distances: tuple[MarkDistance, ...] = ()  # compared with the photo's own, and reported
    fit_distances: tuple[MarkDistance, ...] = ()  # take part in the fit: a taped metre betters the scale
    # Two points in the photo (x1, y1, x2, y2) [px] and their distance [mm]: the last resort.
    rule: tuple[tuple[float, float, float, float], float] | None = None
    rule_sigma: float = 0.5  # of the rule's distance, reading and clicking included [mm]


@dataclass(frozen=True, slots=True)
class SurveySettings(Settings):
    """How the slab is measured."""

    # Share of found segments at the threshold that must be cracks; lower finds more.
    least_confidence: float = 0.5
    # A crack's end this near to the edge or to a void ends there: about what a
    # soft, dark rim hides. [mm]
    end_reach: float = 4.0
    # How near to a crack a point must be to refuse it: a fingertip on a screen. [mm]
    edit_reach: float = 10.0
    # What must be left of a crack whose end was moved; less is meant as a refusal. [mm]
    least_left: float = 5.0


@dataclass(frozen=True, slots=True)
class PlacementSettings(Settings):
    """Where keys may go and what is best.

    There is no published rule for any of these (common practice differs
    widely), so each is a choice with its reason. Costs are in keys: a stretch
    of crack that costs 1 is worth one more key.
    """

    # Which cracks ask for keys.
    least_confidence: float = 0.5  # below it a crack is as likely not one: no key on a guess
    least_width: float = 1.0  # widest point; a hairline under it is closed by glue or resin alone [mm]
    harmless_width: float = 0.5  # a crack never wider than this may run under a wing: glue bridges it [mm]
    # Hard rules: what a suggested key never breaks.
    edge_margin: float = 12.0  # sound wood between pocket and slab edge, so that the wall doesn't blow out [mm]
    void_margin: float = 8.0  # sound wood between pocket and void; voids are often punky at the rim [mm]
    crack_margin: float = 2.0  # wood between a wing and any crack; less breaks away under the bit [mm]
    central_share: float = 0.5  # cracks cross inside this middle share of the length; the rest is wing [-]
    key_gap: float = 12.0  # wood left standing between two pockets [mm]
    keep_out_margin: float = 3.0  # between a pocket and a keep-out area [mm]
    screw_radius: float = 5.0  # kept out round a base plate's screws: an 8 mm insert, and what splinters [mm]
    least_grain_angle: float = 45.0  # key to grain; nearer along the grain the wings shear off [deg]
    # What is best.
    stretch: float = 60.0  # unheld stretch of a crack `stretch_width` wide that is worth one key [mm]
    stretch_width: float = 3.0  # the crack width for which `stretch` is meant [mm]
    stretch_power: float = 1.0 / 3.0  # how demand grows with width: eight times as wide asks for twice the keys [-]
    least_stretch: float = 45.0  # however wide the crack, no stretch is worth a key before this [mm]
    most_stretch: float = 90.0  # however thin, every such stretch is; makers give a 165 mm split one key [mm]
    open_end_weight: float = 2.0  # nothing holds beyond an open end: half the stretch is as bad as between keys
    void_end_weight: float = 1.5  # a void's rim holds a little
    tip_weight: float = 1.5  # uncracked wood beyond a tip holds like a key, but the tip may still run
    junction_weight: float = 1.0  # at a branch's root its stem is held
    wood_weight: float = 0.15  # wood removed by the largest key, in keys: prefers the smaller of two equals
    wished_reach: float = 1.3  # wings wished for, over the shop's least reach: a 2 mm crack then takes 64 mm keys [-]
    size_weight: float = 3.0  # length off the wanted length, squared share; twice that where too short
    grading_weight: float = 0.5  # for each size that a key is larger than its neighbour toward the open end
    jump_weight: float = 0.1  # for each size beyond one that neighbours differ, squared: sizes fall step by step
    angle_weight: float = 0.3  # a key `angle_scale` off square to its crack or off square to the grain
    angle_scale: float = 15.0  # [deg]
    angle_free: float = 3.0  # no eye sees less: it costs nothing [deg]
    offset_weight: float = 0.5  # crack crossing at the edge of the middle share and not at the waist, squared
    stay_weight: float = 0.3  # moving a suggestion that an edit didn't touch: what must be gained by it
    holding_weight: float = 2.0  # a key that should bear twice what it may, where the shop names the wood
    most_overload: float = 2.0  # a key asked for three times what it may bear or more costs so much and no more [-]
    row_weight: float = 0.05  # two keys of neighbouring cracks `row_miss` out of line; more spoils a row's own rhythm
    row_miss: float = 12.0  # the worst miss: nearer is in line, twice as far plainly staggered [mm]
    row_within: float = 120.0  # keys farther apart sideways are not seen as one row [mm]
    row_parallel: float = 15.0  # nor are keys of cracks that run less alike than this [deg]
    row_reach: float = 8.0  # no key goes farther for the sake of a row [mm]
    # Two keys that would be mirror images about the slab's long axis but for twice `row_miss`; 0: not asked for.
    symmetry_weight: float = 0.0
    symmetry_within: float = 40.0  # images farther off sideways are no pair [mm]
    # The other plans to choose from, against the balanced one.
    fewest_stretch: float = 1.4  # as long again is a stretch worth a key: about a third fewer keys [-]
    strongest_stretch: float = 0.7  # about a third more keys [-]
    strongest_reach: float = 1.2  # and longer wings, over `wished_reach` [-]
    # Where it looks.
    station_step: float = 4.0  # along the crack; a maker sets out to a millimetre, looks to a few [mm]
    fork_reach: float = 12.0  # so far before and beyond a fork it looks at half that step: there a key holds both [mm]
    turns: tuple[float, ...] = (0.0, -5.0, 5.0, -10.0, 10.0, -15.0, 15.0)  # off square, tried in this order [deg]
    # Off the waist, in shares of half the middle share, tried after the turns: to sound wood beside an edge. [-]
    shifts: tuple[float, ...] = (0.4, -0.4)
    parallel_within: float = 25.0  # neighbouring cracks this parallel may share a key [deg]
    join_gap: float = 8.0  # two tips that face each other this near are one crack [mm]
    refusal_radius: float = 20.0  # no suggestion has its centre this near to a refused key [mm]
    node_limit: int = 20_000  # of the exact solver's tree; past it the best plan so far, and said


@dataclass(frozen=True, slots=True)
class ResinSettings(Settings):
    """How deep cracks and voids are reckoned where nobody probed them.

    A photo shows no depth. All of these are our own assumptions (common
    practice, no source); a probed depth replaces them, and the range printed
    beside each volume is as wide as they are unsure. Figures of the resin
    itself are the user's data sheet, in the shop file.
    """

    least_confidence: float = 0.5  # as for keys: below it nothing is reckoned with
    least_width: float = 0.3  # resin does not run into less; thin glue does [mm]
    end_depth: float = 1.0 / 3.0  # of its length: depth of a crack from the slab's end, until it is through [-]
    closed_depth: float = 1.0 / 5.0  # of its length: depth of a check closed at both ends or at a knot [-]
    closed_depth_most: float = 1.0 / 2.0  # a closed check deeper than half its length would be a half penny [-]
    least_depth: float = 1.0 / 20.0  # of its length: no crack is reckoned shallower [-]
    void_depth: float = 1.0  # of its width: depth of a void, until it is through [-]
    void_depth_least: float = 0.1  # of its width: a bark pocket can be so shallow [-]
    depth_power: float = 0.5  # depth falls toward the tip as this power of the width; 0 not at all, 1 as the width
    through_while: float = 0.5  # a crack that is through at its widest stays so down to this share of the width [-]
    # Volume over area times depth. [-]
    wall_share: float = 2.0 / 3.0  # of a blind crack: walls that close as the square root, see resin/depths.py
    wall_share_through: float = 0.85  # of a crack known to be through, its lower width unknown: 2/3 to 1
    wall_share_least: float = 0.5  # a sharp wedge
    wall_share_least_probed: float = 0.55  # a probe goes down only where the walls still gape
    wall_share_most: float = 1.05  # straight walls that wander or open a little below
    void_wall_share: float = 0.85  # of a void: between a bowl (2/3) and straight walls
    void_waist: float = 0.85  # a void may be narrower half-way down than both its mouths say, to this share
    blind_most: float = 0.9  # of the thickness: no blind crack is reckoned deeper at best
    probe_within: float = 15.0  # a probed depth belongs to the nearest crack or void within this [mm]
    tape_margin: float = 30.0  # of tape past an opening on every side (common practice, no source) [mm]
    through_within: float = 1.0  # a probe that stops so far short of the thickness met the bench [mm]


@dataclass(frozen=True, slots=True)
class UndersideSettings(Settings):
    """How the photo of the underside is brought together with the show face's."""

    turned: str = ""  # "side" over its long side, "end" over end; empty: found from the outlines
    # Photo positions of points known on both faces, (x, y) in the show photo and (x, y) in the other. [px]
    common_px: tuple[tuple[float, float, float, float], ...] = ()
    # Markers laid on both faces with their centres over the same drilled hole.
    drilled_markers: tuple[int, ...] = ()
    bevel: float = 0.35  # usual slope of a live edge, run over rise (one sigma; our choice) [-]
    lean: float = 0.15  # usual sideways run of a crack's walls over the slab's thickness (one sigma; our choice) [-]
    # Farther off than this, outlines less their bevel, or common points, belong to two slabs. [mm]
    outline_within: float = 8.0
    points_within: float = 5.0
    join_gap: float = 6.0  # a crack is through between two places seen through, no farther apart than this [mm]
    narrowing: float = 0.5  # share of its width that a through crack is expected to have below, to be seen there [-]


@dataclass(frozen=True, slots=True)
class SheetSettings(Settings):
    """How the drawings and sheets are written."""

    units: str = "mm"  # of the printed texts: mm or in
    paper: str = "a4"  # a4 or letter
    # Drawings for the CAM program.
    dxf_version: str = "R2010"  # R2010, R2000 or, for old programs, R12, which has no field for the unit
    drawing_units: str = "mm"  # of the coordinates in DXF files: mm or in
    with_reference: bool = True  # slab edge, voids and cracks as well as what is cut
    check_bar: float = 100.0  # length of the bar that shows the drawing's scale [mm]
    datum_ring: float = 3.0  # circle round a datum mark: a drill that a witness pin fits (a choice) [mm]
    order: str = "inner-first"  # of outlines in the file: a name in sheets/order.ORDERS
    stroke_texts: bool = False  # texts as single-stroke lines, for programs without fonts and for engraving
    with_underside: bool = False  # the pockets mirrored as well, for cutting them from the underside
    # Pictures.
    picture_side: int = 3000  # long side at most [px]
    resin_look: str = "black"  # black, clear or tinted
    resin_colour: tuple[int, int, int] = (24, 92, 104)  # of tinted resin, sRGB: a dark teal


@dataclass(frozen=True, slots=True)
class CuttingSettings(Settings):
    """How keys lie on their boards, and the slab on the machine's bed. All are choices."""

    key_gap: float = 3.0  # between neighbouring keys over the bit's width: what a tab or a skin stands on [mm]
    board_edge: float = 10.0  # kept free round a board for clamps and a bruised rim [mm]
    spare_keys: int = 0  # cut in addition, of each size used
    hold: str = "auto"  # keys are held by a "skin" or by "tabs"; auto: a skin where the board is thick enough
    skin: float = 0.8  # wood left under the keys, to be sanded or sawn away [mm]
    # Slabs are put on the bed by hand; what is to be reached stays so far inside. [mm]
    placing: float = 15.0
    clamp_room: float = 40.0  # kept free round a clamp: the slab may lie amiss, and a collet must pass [mm]
    mark_distance: float = 120.0  # least between two marks: half a mm amiss turns a slab by a quarter degree [mm]
    mark_margin: float = 6.0  # sound wood round a witness point [mm]


# Markers of the dictionary that look the same in a mirror: with these alone a mirrored photo goes unnoticed.
MIRROR_ALIKE_IDS = frozenset({8, 9, 17, 47})


@dataclass(frozen=True, slots=True)
class MarkerSheetSettings(Settings):
    """The printed scale markers."""

    paper: str = "a4"  # a4 or letter
    size: float = 100.0  # side of the black square, its black border included [mm]
    count: int = 4  # one for each corner of a slab
    first_id: int = 0  # the rest follow; the dictionary has 0 to 49

    @property
    def ids(self) -> tuple[int, ...]:
        """The ids that are printed: from the first on, without those that a mirrored photo would not betray."""
        telling = (i for i in range(self.first_id, self.first_id + self.count + len(MIRROR_ALIKE_IDS))
                   if i not in MIRROR_ALIKE_IDS)
        return tuple(itertools.islice(telling, self.count))


@dataclass(frozen=True, slots=True)
class LensBoardSettings(Settings):
    """The printed sheet from which a lens is measured."""

    paper: str = "a4"  # a name in LENS_BOARDS


@dataclass(frozen=True, slots=True)
class LensBoardLayout:
    """One lens sheet: a chessboard with a marker in every white square."""

    columns: int  # squares along the long side
    rows: int
    first_id: int  # no two sheets share an id, so that a photo tells which sheet it shows


# 30 mm squares: 40 to 60 px each where the sheet fills a phone's picture, enough
# for corners to a few hundredths of a pixel. Markers at 0.7 leave the corners'
# surroundings plain. Another dictionary than the scale markers', so that a lens
# sheet left in view is never taken for one.
LENS_SQUARE = 30.0  # [mm]
LENS_MARKER_SHARE = 0.7
LENS_DICTIONARY = "DICT_5X5_250"
LENS_BOARDS = {
    "a4": LensBoardLayout(9, 6, 0),
    "letter": LensBoardLayout(8, 6, 50),
    "a3": LensBoardLayout(13, 8, 100),
}

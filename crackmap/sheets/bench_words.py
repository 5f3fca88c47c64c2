"""The bench sheet's sentences: moisture gate, tools, order of work, mass, resin, cautions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from crackmap.errors import WoodError
from crackmap.keys.witness import witness_place
from crackmap.published import LIFTING_LOAD_CONSTANT
from crackmap.records import Plan, Pour, Survey
from crackmap.sheets.words import counted, dam_sentence, over_all
from crackmap.shop import Shop
from crackmap.units import MM_PER_INCH, show_length
from crackmap.wood.moisture import equilibrium_moisture
from crackmap.wood.species import species_named

# Over the moisture that the room will bring the wood to: a slab so near moves little more (a choice). [%]
GATE_ROOM = 2.0
# From light softwood to heavy hardwood at 12 % moisture, where the wood is not named (a choice). [kg/m3]
LIGHT_WOOD, HEAVY_WOOD = 400.0, 900.0
# Over these the sheet tells the maker to trust the tape first (choices). [mm]
ROUGH_SCALE = 2.0
PRICKING_ERROR = 0.5  # how well a mark is pricked and found again (common practice, no source)
TAPE_SIGMAS = 3.0  # beyond chance
TAPE_READS = 1.0  # how closely a tape is read between two pricked marks (common practice, no source) [mm]
EDGE_READS = 4.0  # and along a slab, whose ends are rough and worn (a choice) [mm]
MOST_UNHELD = 8  # so many reasons are printed; more would bury them
LB_PER_KG = 2.204623


@dataclass(frozen=True, slots=True)
class Gate:
    """Whether the slab is dry enough to be keyed; `passed` is None where that isn't known."""

    passed: bool | None
    text: str


def moisture_gate(shop: Shop) -> Gate:
    """The line at the top of the sheet: wait, or go on."""
    wood = shop.wood
    why = "A slab that is still drying goes on cracking past its keys."
    wanted = None
    if wood.room_humidity_percent is not None:
        wanted = equilibrium_moisture(wood.room_temperature_c, wood.room_humidity_percent)
    if wanted is None:
        target = "wanted ______ % (in heated rooms about 8 %, where dry 6 %, where damp 11 %)"
    else:
        target = (
            f"wanted {wanted:.1f} % (what wood settles at in {wood.room_temperature_c:.0f} °C and "
            f"{wood.room_humidity_percent:.0f} % humidity) and {GATE_ROOM:.0f} % over it at most"
        )
    if wood.moisture_percent is None:
        return Gate(None, f"Moisture now ______ %, {target}. Not there yet: wait. {why}")
    now = f"Moisture now {wood.moisture_percent:.1f} %, {target}."
    if wanted is None:
        return Gate(None, f"{now} Not there yet: wait. {why}")
    if wood.moisture_percent > wanted + GATE_ROOM:
        return Gate(False, f"{now} NOT DRY ENOUGH: WAIT. {why}")
    return Gate(True, f"{now} Dry enough: measure again at both ends and the middle, then go on.")


def slab_mass(survey: Survey, plan: Plan, shop: Shop) -> tuple[float, float, str]:
    """Least and greatest mass, and what they rest on. [kg]"""
    area = shapely.Polygon(survey.outline).area - sum(
        shapely.Polygon(void.polygon).area for void in survey.voids
    )
    volume = max(0.0, area) * plan.thickness_mm / 1e9  # [m3]
    density = None
    if shop.wood.species:
        try:
            density = species_named(shop.wood.species).density
        except WoodError:
            density = None  # a wood that the tables don't know: the range says so
    if density is None:
        return volume * LIGHT_WOOD, volume * HEAVY_WOOD, "light softwood to heavy hardwood; more if wet"
    return volume * density, volume * density, f"{shop.wood.species} at 12 % moisture; more if wetter"


def mass_sentences(survey: Survey, plan: Plan, shop: Shop, units: str) -> list[str]:
    """The slab's mass and how to lift it."""
    least, most, rests_on = slab_mass(survey, plan, shop)

    def shown(kg: float) -> str:
        return f"{kg * LB_PER_KG:.0f} lb" if units == "in" else f"{kg:.0f} kg"

    mass = f"About {shown(least)}" if least == most else f"{shown(least)} to {shown(most)}"
    hands = math.ceil(most / LIFTING_LOAD_CONSTANT.value)
    lift = (
        "One person may lift it in a good posture, close to the body."
        if hands <= 1
        else f"Lift it with {hands} people at least, or with a hoist or trolley."
    )
    return [
        f"{mass} without bark ({rests_on}).",
        f"{lift} {shown(LIFTING_LOAD_CONSTANT.value)} a person holds only in the ideal posture "
        "(NIOSH); a slab is "
        "awkward to hold: count on less, and follow the rules that apply where you work.",
    ]


def tool_sentences(plan: Plan, shop: Shop, units: str, datum_ring: float) -> list[str]:
    """What to lay out before starting. `datum_ring` is the ring's diameter. [mm]"""
    bit, fit = shop.bit, shop.fit
    lines = [
        f"Router bit {show_length(bit.diameter, units, 2)}, cutting length "
        f"{show_length(bit.cutting_length, units)}."
    ]
    depths = sorted({key.shape.depth for key in plan.keys})
    if depths:
        lines.append(
            "Pocket depth "
            + ", ".join(show_length(depth, units) for depth in depths)
            + f" in a slab of {show_length(plan.thickness_mm, units)}."
        )
    tested = (
        "found by a test cut" if fit.from_test else "not yet tested: cut the test piece in an offcut first"
    )
    lines += [
        f"Gap between pocket and key {show_length(fit.clearance, units, 2)} a side, {tested}.",
        f"Drill or awl for marks A and B (ring drawn {show_length(datum_ring, units)}), steel tape, "
        "straightedge, moisture meter.",
        "Mallet and block, glue, plane or flush-trimming set-up.",
        "Eye, ear and breathing protection, dust extraction, gloves for the resin.",
    ]
    return lines


def order_of_work(plan: Plan, first_look: tuple[str, ...] = ()) -> list[str]:
    """The steps, in an order that cannot spoil what went before; `first_look` is done when the machine is zeroed."""
    keys = (
        [
            _zeroing(plan),
            *first_look,
            "In the CAM program measure the check bar, then the distance from A to B, and compare the plan's mark "
            "with the one at the head of this sheet. If anything is off, stop.",
            "Run one pocket in the air, then one at 1 mm depth, and check it with the tape.",
            "Cut the pockets. Cut the keys, grain along their length, and try each dry.",
            *_corner_steps(plan),
            "Glue the keys in. When set, plane them flush.",
        ]
        if plan.keys
        else []
    )
    pour = (
        [
            "Seal porous walls, tape and dam as listed, test the dams with water and dry them.",
            "Pour the resin in layers, as its data sheet says, and let it cure.",
        ]
        if plan.resin.volume_ml > 0
        else []
    )
    return [
        "Dry the slab to the moisture wanted (see the gate on page 1).",
        "Flatten it first: planing afterwards takes the marks away and makes the pockets shallower.",
        "Photograph it and run crackmap; look at the annotated picture beside the slab.",
        "Prick the marks A and B through the paper into the wood, take the paper off, check the tape "
        "distances.",
        *((*pour, *keys) if plan.resin.resin_first else (*keys, *pour)),
        "When all has cured as the data sheets say, sand and finish.",
    ]


def first_look(survey: Survey, plan: Plan) -> tuple[str, ...]:
    """The step by which swapped marks or the wrong face show before anything is cut."""
    place = witness_place(survey, plan.keys, survey.datum.a, survey.datum.b)
    if place is None or len(plan.setups) > 1:
        return ()
    x, y = (float(v) for v in place.at)
    return (f"With the spindle off jog to x {x:.1f}, y {y:.1f} mm: the bit must stand over {place.over}. If it does "
            "not, A and B were swapped, the slab was turned or the wrong face lies up: do not cut.",)


def tape_limits(survey: Survey, units: str) -> list[str]:
    """How far the tape may be off the sheet, and what is wrong beyond that."""
    sigma = survey.scale.scale_sigma_percent / 100.0
    apart = float(np.hypot(*(survey.datum.b - survey.datum.a)))
    long = over_all(survey)[0]
    a_to_b = max(TAPE_SIGMAS * sigma * apart, TAPE_READS)
    end_to_end = max(TAPE_SIGMAS * sigma * long, EDGE_READS)
    return [
        f"Stop if A to B is off by more than {show_length(a_to_b, units)}, or the length over all by more than "
        f"{show_length(end_to_end, units)}: a marker was moved, or the markers are not of the size given, as when a "
        "print is fitted to the page. Measure a marker's black square, run again with --marker-size.",
        *_better_scale(survey, apart, units),
        "Stop if the slab is thinner than the sheet says: the pockets would come too deep.",
    ]


def _better_scale(survey: Survey, apart: float, units: str) -> list[str]:
    """How a taped distance betters the scale, where the marks are two markers."""
    ids = [next((str(r.id) for r in survey.references if r.kind == "marker" and r.used
                 and np.allclose(r.corners_mm.mean(axis=0), mark, atol=1.0)), "")
           for mark in (survey.datum.a, survey.datum.b)]
    if not all(ids):
        return []
    return [f"If A to B is off by more than {show_length(TAPE_READS, units)}, run again with your tape's figure, as "
            f"--taped {'-'.join(ids)}={apart:.1f}mm: it betters the scale."]


def _zeroing(plan: Plan) -> str:
    if len(plan.setups) > 1:
        return ("Take the set-ups in their order: lay the slab as drawn, find it by the set-up's marks, cut its "
                "pockets, drill the witness points named there, and only then unclamp.")
    return "Zero the machine over mark A; turn the slab or the drawing until the x axis runs through mark B."


def _corner_steps(plan: Plan) -> list[str]:
    """Hand work on pockets whose keys have square corners."""
    square = [key.id for key in plan.keys if key.shape.corners == "chisel"]
    if not square:
        return []
    radius = max(key.shape.corner_radius for key in plan.keys if key.shape.corners == "chisel")
    which = "of every pocket" if len(square) == len(plan.keys) else f"of the pockets of {', '.join(square)}"
    return [f"Square the inside corners {which} with a chisel: the bit leaves them round, {radius:.1f} mm, and the "
            "keys are drawn square. Pare from both sides into the corner, down to the floor."]


def setting_out_cautions(survey: Survey, plan: Plan, units: str) -> list[str]:
    """Why the tape must have the last word, where the scale or the marks are poor."""
    q = survey.scale
    lines = []
    off = max(over_all(survey)[0] * q.scale_sigma_percent / 100.0, q.sigma_worst_mm)
    if off > ROUGH_SCALE:
        lines.append(
            f"The scale is rough: places may be off by {show_length(off, units)} and more. Lay every "
            "pocket over its "
            "crack and check it with the tape before cutting, or photograph again with two markers at "
            "the slab's ends."
        )
    apart = float(np.hypot(*(survey.datum.b - survey.datum.a)))
    farthest = max((float(np.hypot(*(key.centre - survey.datum.a))) for key in plan.keys), default=0.0)
    swing = PRICKING_ERROR * farthest / max(apart, 1e-6)
    if swing > ROUGH_SCALE:
        lines.append(
            f"Marks A and B are only {show_length(apart, units)} apart: "
            f"{show_length(PRICKING_ERROR, units)} amiss in "
            f"pricking them swings the farthest key by {show_length(swing, units)}. Set the x axis by "
            "the tape distances "
            "from the slab's ends as well."
        )
    return lines


def resin_sentences(plan: Plan, shop: Shop) -> list[str]:
    """What to mix, and the resin stage's own notes."""
    r = plan.resin
    if r.volume_ml <= 0.0:
        return ["Nothing to fill."]
    ratio = " : ".join(f"{part:g}" for part in shop.resin.ratio)
    return [
        f"Mix about {_ml(r.mix_ml)}: {_ml(r.part_a_ml)} ({r.part_a_g:.0f} g) resin and {_ml(r.part_b_ml)} "
        f"({r.part_b_g:.0f} g) hardener, {ratio} by {shop.resin.ratio_by}.",
        f"Cracks and voids take {_ml(r.volume_ml)}, between {_ml(r.least_ml)} and {_ml(r.most_ml)}; "
        f"{r.allowance_percent:g} % is added for soaking in and for the cup.",
        *_pour_sentences(r.pours),
        *([] if r.cost is None else [f"Cost of the resin: about {r.cost:.2f} {r.currency}".rstrip() + "."]),
        *(as_sentence(note) for note in r.notes),
    ]


def dam_sentences(plan: Plan, units: str) -> list[str]:
    """Where to tape and dam before the pour: what is sure line by line, what may be in one."""
    dams = plan.resin.dams
    unsure = list(dict.fromkeys(dam.opening for dam in dams if not dam.sure))
    lines = [dam_sentence(dam, units) for dam in dams if dam.sure]
    if unsure:
        lines.append(f"May come out below as well, nobody has seen: {', '.join(unsure)}. Tape under them too.")
    return [*lines, "The picture tape-and-dams.png shows where."] if lines else []


def _pour_sentences(pours: tuple[Pour, ...]) -> list[str]:
    """The pours, a short line each: how much of what goes into how many cups."""
    deep = max((pour.deep_mm for pour in pours), default=0.0)
    if not pours:
        return []
    lines = [f"Pours, as resin + hardener, from the bottom up, each standing {deep:.0f} mm deep at most:"]
    for pour in pours:
        cup = pour.batch
        cups = "" if pour.batches <= 1 else f"{pour.batches} cups, each "
        lines.append(f"{pour.name}, {_ml(pour.volume_ml)}: {cups}{_ml(cup.part_a_ml)} ({cup.part_a_g:.0f} g) + "
                     f"{_ml(cup.part_b_ml)} ({cup.part_b_g:.0f} g)")
    return lines


def time_sentences(plan: Plan, units: str) -> list[str]:
    """How long the machine runs, as a range, and what that rests on."""
    time = plan.time
    if time is None:
        return []
    lines = [f"{counted(item.count, item.name.removesuffix('s'))}: about {_minutes(item.likely)}, between "
             f"{_minutes(item.least)} and {_minutes(item.most)}." for item in time.items]
    feeds, plunges = (_speeds(slow, fast, units) for slow, _, fast in (time.feed, time.plunge))
    lines.append(f"Reckoned with {feeds} feed, {plunges} plunge, passes of {show_length(time.pass_depth, units)}, "
                 f"{100.0 * time.stepover:.0f} % step-over.")
    return [*lines, *time.notes]


def _speeds(slow: float, fast: float, units: str) -> str:
    divisor, name = (MM_PER_INCH, "in/min") if units == "in" else (1.0, "mm/min")
    return f"{slow / divisor:.0f} to {fast / divisor:.0f} {name}"


def _minutes(minutes: float) -> str:
    """In whole minutes, or hours and minutes."""
    whole = max(1, round(minutes))
    return f"{whole} min" if whole < 100 else f"{whole // 60} h {whole % 60:02d} min"


_TOO_SMALL = ("short:", "hairline,", "closed at both ends:")  # how such reasons begin


def unheld_sentences(plan: Plan) -> list[str]:
    """Why cracks have no key: those held by their line and those too small in one line each, others singly."""
    held = [each.crack for each in plan.unheld if each.why.startswith("part of ")]
    small = [each.crack for each in plan.unheld if each.why.startswith(_TOO_SMALL)]
    rest = [each for each in plan.unheld if each.crack not in {*held, *small}]
    lines = [as_sentence(f"{each.crack} has no key: {each.why}") for each in rest[:MOST_UNHELD]]
    if small:
        lines.append(f"Too small for a key, to be filled or glued: {', '.join(small)}.")
    if held:
        lines.append(f"Held by the keys of the crack that they are part of: {', '.join(held)}.")
    others = [each.crack for each in rest[MOST_UNHELD:]]
    if others:
        lines.append(f"No key either: {', '.join(others)}; plan.json says why.")
    return lines


def as_sentence(text: str) -> str:
    """A text with a capital at its start and a full stop at its end."""
    stop = "" if text.endswith((".", "!", "?")) else "."
    return text[:1].upper() + text[1:] + stop


CAUTIONS = (
    "The instructions of the makers of machine, bit, glue and resin, and the rules that apply where "
    "you work, come "
    "before anything printed here.",
    "Router: work clamped, hands out of the machine's reach, eyes and ears protected, extraction on.",
    "Wood dust causes cancer (IARC group 1): extract it at the source and wear a fitting mask.",
    "Resin and hardener sensitise the skin: gloves, air, nothing on bare skin. Large batches grow "
    "hot: keep to the "
    "data sheet's layer and batch.",
    "Oily rags heat themselves: spread them out or drown them in a lidded metal bin.",
    "Keys hold a slab together against drying; they are no proof of strength. Nothing here is "
    "structural design.",
)


def _ml(volume: float) -> str:
    return f"{volume:.0f} ml" if volume >= 10.0 else f"{volume:.1f} ml"

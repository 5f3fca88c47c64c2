"""Woods by name: movement, stiffness and strength with the source of each figure."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from functools import cache
from statistics import fmean

from crackmap.errors import WoodError, quoted
from crackmap.published import (
    CELL_WALL_DENSITY,
    DENSITY_PER_SPECIFIC_GRAVITY,
    LONG_TO_BENDING_STIFFNESS,
    SPLITTING_TOUGHNESS,
    TENSION_DRY_OVER_GREEN_HARDWOOD,
    TENSION_DRY_OVER_GREEN_SOFTWOOD,
)
from crackmap.wood.tables import Row, figure, table


@dataclass(frozen=True, slots=True)
class Species:
    """One wood at 12 % moisture; None where the tables have a gap.

    Directions: L along the grain, R across the rings, T along the rings.
    `notes` say what stands in for what and which figures are from memory.
    """

    id: str
    name: str
    kind: str  # "hardwood" or "softwood"
    fibre_saturation: float  # moisture below which it shrinks; figures from memory [%]
    shrinkage_radial: float | None  # green to oven-dry [%]
    shrinkage_tangential: float | None  # [%]
    change_radial: float | None  # per % of moisture, 6 to 14 % [-]
    change_tangential: float | None  # [-]
    density: float | None  # at 12 % moisture [kg/m3]
    bending_strength: float | None  # [MPa]
    compression_across: float | None  # across the grain [MPa]
    shear_along: float | None  # along the grain [MPa]
    tension_across: float | None  # across the grain [MPa]
    tension_along: float | None  # along the grain [MPa]
    stiffness_along: float | None  # E_L [MPa]
    stiffness_radial: float | None  # E_R [MPa]
    stiffness_tangential: float | None  # E_T [MPa]
    shear_stiffness_lr: float | None  # G_LR [MPa]
    shear_stiffness_lt: float | None  # G_LT [MPa]
    toughness: float | None  # K_Ic of a crack along the grain that opens along the rings (TL) [MPa sqrt(mm)]
    notes: tuple[str, ...] = ()


def species_names() -> tuple[str, ...]:
    """Every name that `species_named` knows, in order."""
    return tuple(sorted({row["name"] for row in table("names").values()} | set(table("other_names"))))


def species_named(name: str) -> Species:
    """The wood called `name` ("walnut", "white oak", "Oak, white", "oak_white").

    Raises
    ------
    WoodError
        If no wood has that name; names the nearest.
    """
    known = _ids_by_name()
    wanted = _plain(name)
    turned = _plain(" ".join(reversed(name.split(",", 1)))) if "," in name else wanted
    for key in (wanted, turned):
        if key in known:
            found, note = known[key]
            return _species(found, note)
    near = difflib.get_close_matches(wanted, list(species_names()), n=3, cutoff=0.5)
    hint = (f"did you mean {' or '.join(map(quoted, near))}?" if near else
            f"the {len(table('names'))} woods in the tables include ash, beech, cherry, elm, maple, oak and "
            "walnut.")
    raise WoodError(f"unknown wood {quoted(name)}; {hint}")


@cache
def _ids_by_name() -> dict[str, tuple[str, str]]:
    names = {_plain(species): (species, "") for species in table("names")}
    names |= {_plain(row["name"]): (species, "") for species, row in table("names").items()}
    others = table("other_names").items()
    return names | {_plain(other): (row["species"], row["note"]) for other, row in others}


def _plain(name: str) -> str:
    return " ".join(name.lower().replace("_", " ").replace("-", " ").split())


@cache
def _species(species: str, note: str) -> Species:
    row = table("names")[species]
    strength = table("strength").get(species)
    shrinkage = table("movement").get(species)
    change = table("movement").get(row["change_as"])
    notes = [note] if note else []
    notes += _memory_notes(("strength", strength, "status"), ("dimensional change", change, "change_status"))
    if change is not None and row["change_as"] != species:
        notes.append(f"dimensional change of {row['change_as'].replace('_', ' ')}")
    elastic, elastic_note = _elastic(row)
    bending = _mega(figure(strength, "bending_strength_kpa"))
    bending_stiffness = figure(strength, "bending_stiffness_mpa")
    along = None if bending_stiffness is None else LONG_TO_BENDING_STIFFNESS.value * bending_stiffness
    if along is not None:
        notes.append(elastic_note)
    gravity = figure(strength, "specific_gravity")
    tension, tension_note = _tension_along(species, row["kind"], bending)
    density = None if gravity is None else gravity * DENSITY_PER_SPECIFIC_GRAVITY.value
    toughness, toughness_note = _toughness(species, density)
    notes += [each for each in (tension_note, toughness_note) if each]

    def share(column: str) -> float | None:
        return None if along is None else along * elastic[column]

    return Species(
        id=species, name=row["name"], kind=row["kind"],
        fibre_saturation=float(row["fibre_saturation_pct"]),
        shrinkage_radial=figure(shrinkage, "shrinkage_radial_pct"),
        shrinkage_tangential=figure(shrinkage, "shrinkage_tangential_pct"),
        change_radial=figure(change, "change_radial_per_pct"),
        change_tangential=figure(change, "change_tangential_per_pct"),
        density=density, bending_strength=bending,
        compression_across=_mega(figure(strength, "compression_across_kpa")),
        shear_along=_mega(figure(strength, "shear_along_kpa")),
        tension_across=_mega(figure(strength, "tension_across_kpa")),
        tension_along=tension, stiffness_along=along,
        stiffness_radial=share("er_over_el"), stiffness_tangential=share("et_over_el"),
        shear_stiffness_lr=share("glr_over_el"), shear_stiffness_lt=share("glt_over_el"),
        toughness=toughness, notes=tuple(notes),
    )


def _mega(kpa: float | None) -> float | None:
    return None if kpa is None else kpa / 1000.0


def _memory_notes(*rows: tuple[str, Row | None, str]) -> list[str]:
    return [f"{what}: {row[column]}" for what, row, column in rows
            if row is not None and row[column] not in ("seen", "")]


def _elastic(row: Row) -> tuple[dict[str, float], str]:
    """Ratios to E_L of this wood, of its relative, or the mean of its kind where the table has a gap."""
    columns = ("et_over_el", "er_over_el", "glr_over_el", "glt_over_el")
    kind = row["kind"]
    alike = [each for name, each in table("elastic").items() if _is_softwood(name) == (kind == "softwood")]
    means = {c: fmean(float(each[c]) for each in alike if each[c]) for c in columns}
    own = table("elastic").get(row["elastic_as"]) if row["elastic_as"] else None
    if own is None:
        return means, f"elastic ratios: mean of {len(alike)} {kind}s, from memory"
    whose = "" if row["elastic_as"] == row["species"] else f" of {row['elastic_as'].replace('_', ' ')}"
    status = "" if own["status"] == "seen" else ", from memory"
    return {c: float(own[c]) if own[c] else means[c] for c in columns}, f"elastic ratios{whose}{status}"


def _is_softwood(name: str) -> bool:
    known = table("names").get(name)
    return (known["kind"] == "softwood") if known else name in ("douglas_fir", "redwood", "spruce_engelmann")


def _tension_along(species: str, kind: str, bending: float | None) -> tuple[float | None, str]:
    """Tension along the grain; the bending strength, which is lower, where it was not measured. [MPa]"""
    green = table("tension_along_green").get(species)
    if green is None and bending is None:
        return None, ""
    if green is None:
        return bending, "tension along the grain taken as the bending strength, which is on the safe side"
    soft, hard = TENSION_DRY_OVER_GREEN_SOFTWOOD.value, TENSION_DRY_OVER_GREEN_HARDWOOD.value
    dry_over_green = soft if kind == "softwood" else hard
    return float(green["tension_along_mpa"]) * dry_over_green, "dry over green tension: from memory"


def _toughness(species: str, density: float | None) -> tuple[float | None, str]:
    """K_Ic across the rings' plane, TL. [MPa sqrt(mm)]

    Where the table has a gap: Gibson and Ashby's rule for splitting along the
    grain, a constant times (density / density of the cell wall) to the power 1.5.
    """
    row = table("toughness").get("douglas_fir" if species.startswith("douglas_fir") else species)
    root_mm = 1000.0**0.5
    if row is not None and row["tl_kpa_sqrt_m"]:
        return float(row["tl_kpa_sqrt_m"]) / 1000.0 * root_mm, f"toughness {row['status']}"
    if density is None:
        return None, ""
    solid = density / CELL_WALL_DENSITY.value
    toughness = SPLITTING_TOUGHNESS.value * solid**1.5 * root_mm
    return toughness, f"toughness from density: {SPLITTING_TOUGHNESS.source}"

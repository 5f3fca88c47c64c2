"""When keys are not the answer, and what they do to the slab."""

from __future__ import annotations

from crackmap.keys.strength import DRY_ENOUGH, Holding
from crackmap.wood.movement import movement
from crackmap.wood.species import Species

# A straight split longer than this share of the slab is better sawn along and glued again (our choice). [-]
LONG_SPLIT = 0.6
# A centreline that strays from its chord by no more than this share of it counts as straight
# (our choice). [-]
STRAIGHT = 0.03


def keying_advice(holding: Holding | None, *, moisture_now: float | None = None,
                  moisture_to_come: float | None = None, split_share: float = 0.0,
                  straying: float = 1.0, no_tip: bool = False) -> tuple[str, ...]:
    """Sentences for the maker: why keys may be the wrong answer for this crack.

    Parameters
    ----------
    holding : Holding or None
        The reckoning, where the wood is known.
    moisture_now, moisture_to_come : float, optional
        Of the slab. [%]
    split_share : float
        Crack length over slab length. [-]
    straying : float
        Farthest distance of the centreline from its chord over the chord. [-]
    no_tip : bool
        The crack is keyed and open at both ends, so no tip shares the pull.
    """
    said = []
    if moisture_now is not None and moisture_to_come is not None:
        over = moisture_now - moisture_to_come
        if over > DRY_ENOUGH:
            said.append(f"Dry it longer: the slab is at {moisture_now:.0f} %, its room will bring it to "
                        f"{moisture_to_come:.0f} %; a key across wood that still shrinks can start a new "
                        "crack beside it.")
        elif over < -DRY_ENOUGH:
            said.append(f"The slab will take up moisture, {moisture_now:.0f} to {moisture_to_come:.0f} %, "
                        "and press on the keys; let it settle in its room first.")
    if split_share >= LONG_SPLIT and straying <= STRAIGHT:
        said.append(f"The split is straight and runs {split_share:.0%} of the slab: sawing it apart along "
                    "the split and gluing it again is stronger than any key.")
    if no_tip:
        said.append("It is open at both ends, so that no tip shares the pull with the keys or bounds it, and their "
                    "holding is not reckoned: the keys keep the lips in line, no more can be said. Where it must "
                    "bear load, saw along it and glue it again, or ask an engineer.")
    if holding is not None and holding.loads and not holding.holds:
        worst = min(holding.loads, key=lambda load: load.factor / load.capacity.wanted_factor)
        said.append(f"A key may not hold ({worst.force_n / 1000:.1f} kN to hold, "
                    f"{worst.capacity.weakest.design_n / 1000:.1f} kN by {worst.capacity.weakest.name}, with "
                    "its factor of safety): more or larger keys, more drying first, or leave the crack free "
                    "to move. Advisory, not structural design.")
    return tuple(said)


def restraint_note(slab_wood: Species, key_length: float, moisture_now: float,
                   moisture_to_come: float) -> str:
    """What a stiff key does to a slab that moves across its grain, in one sentence.

    The key's length in mm, moistures in percent.
    """
    moved = movement(slab_wood, key_length, moisture_now, moisture_to_come, ring_angle_deg=0.0).change_mm
    verb = "shrink" if moved < 0.0 else "swell"
    return (f"Over the length of a {key_length:.0f} mm key the slab wants to {verb} by up to "
            f"{abs(moved):.2f} mm from {moisture_now:.0f} to {moisture_to_come:.0f} %; the key, along its "
            "grain, hardly moves and holds it back there, so the wood past its ends is strained. No longer "
            "a key than the crack needs.")

"""The names that a shop file uses: does each stand for a shape or wood that is known?"""

from __future__ import annotations

from crackmap.errors import KeyShapeError, SettingsError, WoodError
from crackmap.keys.shapes import form_named
from crackmap.shop import Shop
from crackmap.wood.species import species_named


def demand_known_names(shop: Shop) -> None:
    """Fail where the shop names an unknown shape or wood, or corners that its shape has not.

    Boards may be of any wood: no figure is reckoned from theirs.

    Raises
    ------
    SettingsError
        Names the file, the field and the nearest known names.
    """
    where = f"{shop.source}: " if shop.source else ""
    try:
        form = form_named(shop.keys.shape)
    except KeyShapeError as problem:
        raise SettingsError(f"{where}[keys] shape: {problem}") from problem
    if shop.keys.corners != "round" and form.square is None:
        raise SettingsError(f'{where}[keys] corners = "{shop.keys.corners}" needs a shape with square corners, '
                            f'"straight"; a {form.name} key is round.')
    for field, name in (("[wood] species", shop.wood.species), ("[keys] key_wood", shop.keys.key_wood)):
        try:
            if name:
                species_named(name)
        except WoodError as problem:
            raise SettingsError(f"{where}{field}: {problem}") from problem

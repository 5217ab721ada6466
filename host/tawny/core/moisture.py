"""Moisture of a residue by mass balance.

`moisture_wet` is water over everything, `moisture_dry` is water over dry matter; both are
fractions, and a bare "moisture" means neither.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from tawny.errors import N_, InputError

WET_MOST = 0.95  # wetter than this is a liquid, and 1 would leave no dry matter to divide by


def dry_from_wet(moisture_wet: float) -> float:
    """Return the moisture on dry basis from that on wet basis.

    Raises:
        InputError: If it is not 0 to 0.95.
    """
    _check_wet(moisture_wet)
    return moisture_wet / (1.0 - moisture_wet)


def wet_from_dry(moisture_dry: float) -> float:
    """Return the moisture on wet basis from that on dry basis.

    Raises:
        InputError: If it is negative or not finite.
    """
    if not 0.0 <= moisture_dry < math.inf:
        raise InputError(
            N_("moisture {given:.4g} on dry basis must be 0 or more"), given=moisture_dry
        )
    return moisture_dry / (1.0 + moisture_dry)


def mass_at_g(mass_g: float, from_wet: float, to_wet: float) -> float:
    """Return the mass a residue has after its moisture has changed; its dry matter stays.

    Args:
        mass_g: Mass at `from_wet`.
        from_wet: Moisture before, wet basis.
        to_wet: Moisture after, wet basis; drier or wetter.

    Raises:
        InputError: If the mass or a moisture is out of range.
    """
    if not 0.0 <= mass_g < math.inf:
        raise InputError(N_("mass {given_g} g must be 0 g or more"), given_g=mass_g)
    _check_wet(from_wet)
    _check_wet(to_wet)
    return mass_g * (1.0 - from_wet) / (1.0 - to_wet)


def water_to_add_g(mass_g: float, from_wet: float, to_wet: float) -> float:
    """Return the water that brings a residue from one moisture to a higher one.

    More than the difference of the percentages, because the water added is weighed too.

    Args:
        mass_g: Mass of the residue now.
        from_wet: Moisture now, wet basis.
        to_wet: Moisture wanted, wet basis.

    Raises:
        InputError: If an argument is out of range, or the residue is already wetter.
    """
    wanted_g = mass_at_g(mass_g, from_wet, to_wet)
    if not to_wet >= from_wet:
        raise InputError(
            N_(
                "moisture {from_percent:.3g} % is already above {to_percent:.3g} %:"
                " dry it until it weighs {wanted_g:.1f} g"
            ),
            from_percent=from_wet * 100.0,
            to_percent=to_wet * 100.0,
            wanted_g=wanted_g,
        )
    return max(0.0, wanted_g - mass_g)


class Charge(NamedTuple):
    """What goes into the mould.

    Attributes:
        residue_g: Residue as it lies in the lot, with its own water.
        water_g: Water to mix in.
        dry_g: Dry matter in it.
        all_water_g: Water in it, the residue's own and what is mixed in.
    """

    residue_g: float
    water_g: float
    dry_g: float
    all_water_g: float


def charge_of(charge_g: float, charge_wet: float, residue_wet: float) -> Charge:
    """Return how much residue and water make a charge.

    Args:
        charge_g: Mass of the charge.
        charge_wet: Moisture of the charge, wet basis.
        residue_wet: Moisture of the residue in the lot, wet basis.

    Raises:
        InputError: If an argument is out of range, or the residue is wetter than the charge.
    """
    residue_g = mass_at_g(charge_g, charge_wet, residue_wet)
    dry_g = charge_g * (1.0 - charge_wet)
    return Charge(
        residue_g=residue_g,
        water_g=water_to_add_g(residue_g, residue_wet, charge_wet),
        dry_g=dry_g,
        all_water_g=charge_g - dry_g,
    )


def _check_wet(moisture_wet: float) -> None:
    if not 0.0 <= moisture_wet <= WET_MOST:
        raise InputError(
            N_("moisture {given_percent:.4g} % on wet basis is outside 0 to {most_percent:g} %"),
            given_percent=moisture_wet * 100.0,
            most_percent=WET_MOST * 100.0,
        )

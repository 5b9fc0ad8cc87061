"""What to beware of at the pipe: on every sheet, and once wherever the program leads to the pipe.

Written for the person who fits the probe. The program computes; it permits nothing. Sources for what stands
here, general cautions only: 29 CFR 1910.147(a)(2)(iii)(B) and Alberta OHS Code section 170 on hot tapping,
API RP 2201 (title and scope), HSE HSG39 (title); the rest is common practice.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Family(StrEnum):
    """Fluids that ask for the same words."""

    AIR_OR_INERT = "air or inert gas"
    OXYGEN = "oxygen"
    FLAMMABLE = "flammable gas"
    WATER = "water"
    OTHER = "another fluid"


_FAMILIES: Mapping[str, Family] = {
    "air": Family.AIR_OR_INERT,
    "nitrogen": Family.AIR_OR_INERT,
    "argon": Family.AIR_OR_INERT,
    "helium": Family.AIR_OR_INERT,
    "carbon dioxide": Family.AIR_OR_INERT,
    "oxygen": Family.OXYGEN,
    "hydrogen": Family.FLAMMABLE,
    "methane": Family.FLAMMABLE,
    "water": Family.WATER,
}


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to beware of: `when` it matters, and what to do."""

    when: str
    text: str


_FIRST = (
    Caution("These figures", "are arithmetic, not permission: they allow nobody to work on a pipe."),
    Caution(
        "Who decides",
        "Local codes, the manuals of meter and fittings, and licensed practice rule over this sheet.",
    ),
    Caution(
        "Pressure",
        "Empty the pipe of pressure and lock it out where that can be done. Where it cannot, only authorised "
        "persons work on it, under the site's permit, at the lowest pressure that can be had.",
    ),
)
_DRILLING = Caution(
    "Before drilling",
    "Saddle and valve rated for the pipe's pressure and temperature; wall measured and strong enough; "
    "material known; no weld under the drill; hearing and eye protection on; know where the swarf goes.",
)
_FITTING = (
    Caution(
        "Where to stand",
        "Beside the probe's axis, never in line with it: a stem that is let go leaves the pipe like a shot.",
    ),
    Caution(
        "Restraint",
        "On before the valve is opened; off only after the valve is closed and the fitting vented.",
    ),
    Caution("Valve", "Draw the probe clear of the valve before closing it: a closing ball shears the stem."),
)
_FLUID: Mapping[Family, tuple[Caution, ...]] = {
    Family.AIR_OR_INERT: (
        Caution("Vented gas", "In a pit or a small room, nitrogen, argon, helium and CO2 suffocate."),
    ),
    Family.OXYGEN: (
        Caution(
            "OXYGEN",
            "Do not drill this pipe and do not fit a probe that is not cleaned for oxygen: oil, grease and "
            "swarf burn in it, and set steel alight. The gas supplier's rules apply, not this sheet's.",
        ),
    ),
    Family.FLAMMABLE: (
        Caution(
            "FLAMMABLE GAS",
            "Do not drill this pipe under gas by this sheet. The network operator's procedure, gas-free "
            "certificate, and equipment for explosive atmospheres come first; this meter may not be allowed.",
        ),
    ),
    Family.WATER: (
        Caution(
            "Water",
            "Electric tools and a jet of water do not go together. Hot water scalds; drinking water asks for "
            "approved, disinfected parts; water hammer can drive the stem out.",
        ),
    ),
    Family.OTHER: (
        Caution(
            "THIS FLUID",
            "is not air or an inert gas, or was not said. Its own hazards (poison, fire, burns, heat, cold) "
            "and the plant's procedure for it come before everything here.",
        ),
    ),
}  # fmt: skip


#: Before dismounting, in this order.
REMOVAL = (
    "Permit and authorised person as for fitting; the recording is fetched and verified.",
    "Stand beside the probe's axis. The restraint stays on.",
    "Slacken the seal only as far as the stem slides; draw it back against the restraint, by its own means.",
    "Draw the probe fully clear of the valve; see it on the stem's mark.",
    "Close the valve.",
    "Vent the fitting and see that no pressure is left.",
    "Only now take the restraint off, and the probe out.",
    "Plug the valve, look for leaks, leave the handle secured.",
)


def family_of(fluid: str | None) -> Family:
    """The family of a fluid of a point file; another fluid where it is not known."""
    return _FAMILIES.get(fluid or "", Family.OTHER)


def cautions_for(fluid: str | None) -> tuple[Caution, ...]:
    """The cautions for a pipe with this fluid, most general first.

    Words on drilling are for air and inert gas only: for the other fluids their own stand in the place.
    """
    family = family_of(fluid)
    own = _FLUID[family]
    if family is Family.AIR_OR_INERT:
        return (*_FIRST, *_FITTING, _DRILLING, *(() if fluid == "air" else own))
    return (*own, *_FIRST, *_FITTING)

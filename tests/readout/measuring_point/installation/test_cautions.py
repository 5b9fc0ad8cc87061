"""What stands on every sheet: the cautions that no sheet may lack, and other words for other fluids."""

import re

import pytest

from readout.measuring_point.grammar import FLUIDS
from readout.measuring_point.installation.cautions import REMOVAL, Family, cautions_for, family_of

#: What a sheet for air says, by words that only that caution has.
REQUIRED = [
    "arithmetic, not permission", "lock it out", "authorised", "permit", "never in line",
    "before the valve is opened", "only after the valve is closed and the fitting vented",
    "clear of the valve before closing", "Saddle and valve rated", "wall measured", "material known",
    "no weld", "hearing and eye protection", "swarf", "Local codes", "manuals", "licensed practice",
]  # fmt: skip


def words(fluid: str | None) -> str:
    return " ".join(f"{one.when} {one.text}" for one in cautions_for(fluid))


@pytest.mark.parametrize("wanted", REQUIRED)
def test_a_sheet_for_air_has_every_caution(wanted: str) -> None:
    assert wanted in words("air")


@pytest.mark.parametrize("fluid", [*FLUIDS, None])
def test_every_fluid_has_the_cautions_of_a_pipe_under_pressure(fluid: str | None) -> None:
    found = words(fluid)
    for wanted in REQUIRED[:8]:
        assert wanted in found


@pytest.mark.parametrize("fluid", ["oxygen", "hydrogen", "methane", "water", "other", None])
def test_words_on_drilling_are_for_air_and_inert_gas_only(fluid: str | None) -> None:
    """Their own words stand first instead."""
    assert "Saddle and valve rated" not in words(fluid)
    assert cautions_for(fluid)[0].when != cautions_for("air")[0].when


def test_each_family_has_its_own_words() -> None:
    first = {family_of(fluid): cautions_for(fluid)[0].text for fluid in [*FLUIDS, None]}
    assert len(first) == len(Family)
    assert len(set(first.values())) == len(Family)


def test_an_unknown_fluid_is_never_taken_for_air() -> None:
    assert family_of(None) is Family.OTHER
    assert family_of("steam") is Family.OTHER


def test_the_valve_is_closed_before_the_fitting_is_vented_and_the_restraint_taken_off() -> None:
    order = [
        next(i for i, step in enumerate(REMOVAL) if re.search(words_, step))
        for words_ in ("fully clear of the valve", "^Close the valve", "^Vent", "take the restraint off")
    ]
    assert order == sorted(order)

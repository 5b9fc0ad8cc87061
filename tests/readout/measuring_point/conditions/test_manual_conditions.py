"""The tables of the manual's page on conditions are what the program computes."""

import re
from pathlib import Path

import pytest

from readout.measuring_point.conditions.convert import conversion_factor
from readout.measuring_point.conditions.corrections import Correction, Principle, ruling
from readout.measuring_point.conditions.gases import GASES, Fluid, Model
from readout.measuring_point.conditions.states import (
    AT_20_C,
    FREE_AIR,
    GAS_15_C,
    NORMAL,
    US_68_F,
    US_COMPRESSOR,
    US_GAS,
    State,
)
from readout.measuring_point.flow.expected import Stream, case_of_velocity
from readout.measuring_point.flow.profile import MEAN_VELOCITY_SHARE, Profile

PAGE = (Path(__file__).parents[4] / "docs/conditions.md").read_text(encoding="utf-8")


def table(head: str) -> list[list[str]]:
    """The rows below the table whose head begins so."""
    lines = PAGE.splitlines()
    start = next(n for n, line in enumerate(lines) if line.startswith(f"| {head} |")) + 2
    rows = []
    for line in lines[start:]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in line.strip("|").split("|")])
    assert rows
    return rows


def test_the_references_of_the_page() -> None:
    references = (NORMAL, GAS_15_C, FREE_AIR, AT_20_C, US_GAS, US_68_F, US_COMPRESSOR)
    for row, reference in zip(table("reference"), references, strict=True):
        for model, told in zip(Model, row[2:], strict=True):
            factor = conversion_factor(Fluid.AIR, NORMAL.state, reference.state, model)
            assert factor == pytest.approx(float(told), rel=5e-5), row


def test_the_chain_of_the_page() -> None:
    stream = Stream(0.0531, Fluid.AIR, State(293.15, 8.01325e5), FREE_AIR.state, Model.IDEAL)
    line = case_of_velocity(stream, 10).line_flow
    for row, state in zip(table("at"), (line.at, NORMAL.state, FREE_AIR.state), strict=True):
        places = len(row[1].partition(".")[2])
        found = line.amount * 3600 * conversion_factor(Fluid.AIR, line.at, state, Model.IDEAL)
        assert f"{found:.{places}f}" == row[1]


def test_the_gases_of_the_page() -> None:
    shown = {
        Fluid(name.removesuffix(", as a gas")): (float(bar), float(error))
        for name, bar, error in table("gas")
    }
    assert shown == {fluid: (gas.densest_pa / 1e5, gas.error_percent) for fluid, gas in GASES.items()}


def test_the_corrections_of_the_page() -> None:
    rows = {name: cells for names, *cells in table("the meter") for name in names.split(", ")}
    assert set(rows) == set(Principle)
    columns = (Correction.OTHER_LINE_CONDITIONS, Correction.OTHER_REFERENCE, Correction.OTHER_GAS)
    for principle in Principle:
        for cell, correction in zip(rows[principle][1:], columns, strict=True):
            is_refused = cell.startswith("refused") or cell == "water only"
            assert ruling(principle, correction).is_permitted is not is_refused, (principle, correction)


def test_the_profile_factors_of_the_page() -> None:
    for n, centre, mean in table("n"):
        profile = Profile(1e5, float(n))
        assert profile.factor(0.5) == pytest.approx(float(centre), abs=6e-5)
        assert profile.factor(MEAN_VELOCITY_SHARE) == pytest.approx(float(mean), abs=6e-5)


def test_the_page_names_the_spans_of_the_words_that_are_refused() -> None:
    assert re.search(r"span 2\.9 %.*\"Nm³\".*8\.7 %", PAGE)

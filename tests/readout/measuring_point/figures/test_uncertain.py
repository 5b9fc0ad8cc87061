"""The budget of uncertainty as a point's files give it, in words and as a table with a chart."""

import math
from pathlib import Path

import pytest

from readout.measuring_point.figures.figures import figures_of
from readout.measuring_point.figures.place import find_place
from readout.measuring_point.figures.uncertain import (
    BAR,
    Trust,
    trust_document,
    trust_table,
    trust_words,
    trusted,
)

DEMO = Path(__file__).parents[4] / "demo_data/bottling_hall/bottling-hall-header.yaml"


@pytest.fixture(scope="module")
def trusts() -> list[Trust]:
    found = find_place(DEMO)
    assert found.place is not None
    return trusted(figures_of(found.place))


def test_the_budget_of_the_example_is_its_squares(trusts: list[Trust]) -> None:
    """By hand, 52.68 m/s: 2 × 0.25/53.1, 1 %, 0.15 % × 160/52.68, 0.5 %; GUM 5.1.6 (from memory)."""
    _, high = trusts
    assert high.budget is not None
    parts = (100 * 2 * 0.25 / 53.1, 1.0, 0.15 * 160 / 52.68, 0.5)
    assert high.budget.standard_percent == pytest.approx(math.hypot(*parts), rel=1e-3)
    assert high.budget.coverage_factor == pytest.approx(2, abs=0.01)


def test_a_small_flow_is_trusted_less_since_full_scale_counts(trusts: list[Trust]) -> None:
    low, high = (trust.budget for trust in trusts)
    assert low is not None
    assert high is not None
    assert low.expanded_percent > 2 * high.expanded_percent


def test_figures_end_where_their_uncertainty_does(trusts: list[Trust]) -> None:
    """3.1 % of 420 m³/h are 13 m³/h; 10 % of 40 m³/h are 4.0 m³/h: two digits."""
    assert [trust.flow for trust in trusts] == ["40.0 ± 4.0 m³/h", "420 ± 13 m³/h"]


def test_words_state_the_coverage_and_what_is_left_out(trusts: list[Trust]) -> None:
    words = list(trust_words(trusts[-1]))
    assert "k = 2" in words[0]
    assert "not in it: insertion depth" in words


def test_the_table_adds_up_and_its_bars_are_the_shares(trusts: list[Trust]) -> None:
    head, *rows, last = trust_table(trusts[-1])
    assert head[0] == "source"
    assert last[0] == "together, k = 1"
    assert sum(float(row[4]) for row in rows) == pytest.approx(100, abs=2)
    assert [len(row[5]) for row in rows] == [round(BAR * float(row[4]) / 100) for row in rows]
    assert float(rows[0][2]) == 2  # the diameter counts twice


def test_a_flow_of_nothing_has_no_budget(tmp_path: Path) -> None:
    for file in DEMO.parent.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    text = DEMO.read_text(encoding="utf-8").replace("40 m3/h to", "0 m3/h to")
    (tmp_path / DEMO.name).write_text(text, encoding="utf-8")
    found = find_place(tmp_path / DEMO.name)
    assert found.place is not None
    low, high = trusted(figures_of(found.place))
    assert low.budget is None
    assert "nothing flows" in low.why_not
    assert trust_document(low)["budget"] is None
    assert trust_table(low) == []
    assert high.budget is not None

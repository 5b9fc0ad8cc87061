"""The budget of a product of powers: parts, shares, correlation, means, totals, and rounding."""

import math
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readout.errors import WrongUse
from readout.measuring_point.uncertainty.budget import Kind, Part, budget_of, summed_percent
from readout.measuring_point.uncertainty.figures import rounded, rounded_by_percent
from readout.measuring_point.uncertainty.propagation import Input, propagate

THREE = (Part("diameter", 0.5, 2), Part("velocity", 1), Part("profile", 1))


def test_the_diameter_counts_twice() -> None:
    """Constructed after ISO 5168: u(D) 0.5 %, u(v) 1 %, u(k) 1 % make √3 % exactly."""
    found = budget_of(THREE)
    assert found.standard_percent == pytest.approx(math.sqrt(3), rel=1e-12)
    assert [row.contribution_percent for row in found.rows] == pytest.approx([1, 1, 1])
    assert [row.share_percent for row in found.rows] == pytest.approx([100 / 3] * 3)
    assert found.coverage_factor == 2
    assert found.expanded_percent == pytest.approx(2 * math.sqrt(3))
    assert found.says == "3.5 % (k = 2, about 95 %)"


def test_the_flow_itself_goes_through_the_same_way() -> None:
    """Q = π/4 D² v k: 54.5 mm, 10 m/s, 0.84 → 70.5447 m³/h, and √3 % again."""
    inputs = (
        Input("D", 0.0545, 0.005 * 0.0545), Input("v", 10, 0.1), Input("k", 0.84, 0.0084),
    )  # fmt: skip
    found = propagate(lambda d, v, k: math.pi / 4 * d**2 * v * k * 3600, inputs).outputs[0]
    assert found.value == pytest.approx(70.5447, abs=5e-5)
    assert found.standard / found.value == pytest.approx(math.sqrt(3) / 100, rel=1e-12)


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.01, 20), st.sampled_from([-1, 0.5, 1, 2, -0.5])), min_size=1, max_size=6)
)
def test_independent_parts_add_as_squares(parts: list[tuple[float, float]]) -> None:
    """By hand: (u/y)² = Σ (pᵢ uᵢ)²."""
    found = budget_of([Part(f"part {n}", u, p) for n, (u, p) in enumerate(parts)])
    assert found.standard_percent == pytest.approx(math.sqrt(sum((u * p) ** 2 for u, p in parts)), rel=1e-9)
    assert sum(row.share_percent for row in found.rows) == pytest.approx(100)


@pytest.mark.parametrize(("r", "percent"), [(1, 0), (0, math.sqrt(2)), (-1, 2), (0.5, 1)])
def test_correlated_pressure_and_temperature_partly_cancel(r: float, percent: float) -> None:
    """By hand: p has exponent 1, T −1; u² = 1 + 1 − 2 r."""
    parts = (Part("pressure", 1, 1), Part("temperature", 1, -1))
    found = budget_of(parts, {("pressure", "temperature"): r})
    assert found.standard_percent == pytest.approx(percent, abs=1e-7)
    if percent:
        assert found.correlation_share_percent == pytest.approx(100 * (1 - 2 / percent**2), abs=1e-6)


def test_a_part_of_few_observations_makes_the_coverage_factor_larger() -> None:
    """Welch-Satterthwaite by hand: u⁴/Σ(uᵢ⁴/ν) = 4/(1/4) = 16; t at 16 is 2.17 (GUM Table G.2, memory)."""
    found = budget_of([Part("repeated", 1, degrees_of_freedom=4), Part("given", 1)])
    assert found.degrees_of_freedom == pytest.approx(16)
    assert found.coverage_factor == pytest.approx(2.17, abs=5e-3)


def test_systematic_parts_do_not_average_out() -> None:
    """By hand: 3 % systematic and 4 % random; of 400 readings 3 and 0.2 %, of endless many still 3 %."""
    found = budget_of([Part("diameter", 1.5, 2), Part("noise", 4, kind=Kind.RANDOM)])
    assert found.expanded_percent == pytest.approx(10)
    assert found.of_mean_percent(1) == pytest.approx(10)
    assert found.of_mean_percent(400) == pytest.approx(2 * math.hypot(3, 0.2))
    assert found.of_mean_percent(10**12) == pytest.approx(6)
    with pytest.raises(WrongUse, match="at least one"):
        found.of_mean_percent(0)


@settings(deadline=None)
@given(st.integers(1, 10**9))
def test_a_budget_of_systematic_parts_is_the_same_for_any_number_of_readings(readings: int) -> None:
    found = budget_of(THREE)
    assert found.of_mean_percent(readings) == pytest.approx(found.expanded_percent, rel=1e-9)


def test_a_sum_of_points_shares_what_is_one_error_and_averages_what_is_not() -> None:
    """By hand: two flows of 100, each 1 % own and 2 % shared: √(1² + 1² + (2 + 2)²)/200 = 2.1213 %, k = 2."""
    each = budget_of([Part("own", 1), Part("air pressure", 2)])
    both = [(100.0, each), (100.0, each)]
    assert summed_percent(both, ["air pressure"]) == pytest.approx(2 * math.sqrt(18) / 2)
    assert summed_percent(both) == pytest.approx(each.expanded_percent / math.sqrt(2))
    assert summed_percent(both, ["own", "air pressure"]) == pytest.approx(each.expanded_percent)
    assert summed_percent([(100.0, each)], ["air pressure"]) == pytest.approx(each.expanded_percent)


def test_a_difference_of_two_flows_loses_what_they_share() -> None:
    """By hand: 100 − 80 with 1 % own each: √(1² + 0.8²)/20 = 6.40 %; the shared 2 % stays 2 %."""
    each = budget_of([Part("own", 1), Part("air pressure", 2)])
    found = summed_percent([(100.0, each), (-80.0, each)], ["air pressure"])
    assert found == pytest.approx(2 * math.hypot(6.403124, 2), rel=1e-6)
    with pytest.raises(WrongUse, match="sum of nothing"):
        summed_percent([(100.0, each), (-100.0, each)])


def test_no_budget_without_a_source() -> None:
    with pytest.raises(WrongUse, match="without a single source"):
        budget_of([])


@pytest.mark.parametrize(
    ("value", "expanded", "text"),
    [
        (587.469, 24.8, "587 ± 25"),
        (587.469, 5.87, "587.5 ± 5.9"),
        (587.469, 0.0996, "587.47 ± 0.10"),
        (587.469, 9.96, "587 ± 10"),
        (587.469, 220.4, "590 ± 220"),
        (12345.6, 1234.5, "12300 ± 1200"),
        (0.00123456, 0.0000234, "0.001235 ± 0.000023"),
        (-20.8, 0.34, "-20.80 ± 0.34"),
        (0, 1.5, "0.0 ± 1.5"),
        (0.4, 1500, "0 ± 1500"),
    ],
)
def test_a_figure_ends_where_its_uncertainty_ends(value: float, expanded: float, text: str) -> None:
    """GUM 7.2.6: two digits of the uncertainty at most (from memory); worked out by hand."""
    assert str(rounded(value, expanded)) == text


@settings(deadline=None)
@given(st.floats(-1e9, 1e9), st.floats(1e-6, 1e6))
def test_rounding_changes_nothing_that_matters(value: float, expanded: float) -> None:
    """A value moves by no more than a twentieth of its uncertainty, the uncertainty by 5 % of itself."""
    found = rounded(value, expanded)
    assert abs(float(found.expanded) - expanded) <= 0.0501 * expanded
    assert abs(float(found.value) - value) <= 0.0501 * expanded + 1e-9 * abs(value)
    assert found.value.as_tuple().exponent == found.expanded.as_tuple().exponent


def test_a_percentage_rounds_the_value_it_belongs_to() -> None:
    found = rounded_by_percent(638.837, 4.3)
    assert (found.value, found.expanded) == (Decimal(639), Decimal(27))


@pytest.mark.parametrize(("value", "expanded"), [(1, 0), (1, -1), (math.nan, 1), (1, math.inf)])
def test_nothing_is_rounded_to_no_uncertainty(value: float, expanded: float) -> None:
    with pytest.raises(WrongUse, match="cannot be rounded"):
        rounded(value, expanded)

"""Propagation against the worked examples of the GUM (JCGM 100:2008, Annex H)."""

import math
from typing import Any

import GTC
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from readout.errors import WrongUse
from readout.measuring_point.uncertainty.propagation import Input, coverage_factor, propagate

END_GAUGE = (
    Input("standard", 50_000_623, 25, 18),
    Input("difference, repeated", 215, 5.8, 24),
    Input("difference, random of the comparator", 0, 3.9, 5),
    Input("difference, systematic of the comparator", 0, 6.7, 8),
    Input("expansion of the standard", 11.5e-6, 2e-6 / math.sqrt(3)),
    Input("difference of expansions", 0, 1e-6 / math.sqrt(3), 50),
    Input("difference of temperatures", 0, 0.05 / math.sqrt(3), 2),
    Input("mean temperature of the bed", -0.1, 0.2),
    Input("cyclic temperature of the bed", 0, 0.5 / math.sqrt(2)),
)


def end_gauge(
    l_s: Any, d: Any, d1: Any, d2: Any, alpha_s: Any, d_alpha: Any, d_theta: Any, t: Any, cycle: Any
) -> Any:
    """Equation H.3: l = l_s + d − l_s (δα θ + α_s δθ)."""
    return l_s + (d + d1 + d2) - l_s * (d_alpha * (t + cycle) + alpha_s * d_theta)


def test_the_end_gauge_of_the_gum() -> None:
    """GUM H.1, first order (read in GTC's example): 50 000 838 nm, u 32 nm (31.66), 25, 9.7, 2.9 and 16.6."""
    found = propagate(end_gauge, END_GAUGE).outputs[0]
    assert found.value == pytest.approx(50_000_838, abs=0.5)
    assert found.standard == pytest.approx(31.66, abs=0.01)
    parts = found.components
    comparator = [parts[source.name] for source in END_GAUGE[1:4]]
    assert abs(parts["standard"]) == pytest.approx(25, abs=0.05)
    assert math.hypot(*comparator) == pytest.approx(9.7, abs=0.05)
    assert abs(parts["difference of expansions"]) == pytest.approx(2.9, abs=0.05)
    assert abs(parts["difference of temperatures"]) == pytest.approx(16.6, abs=0.05)
    assert not parts["expansion of the standard"]


def test_the_end_gauge_s_degrees_of_freedom_and_its_99_per_cent() -> None:
    """GUM H.1.6: ν 16, k 2.92, U99 93 nm; GTC's unrounded ν is 16.75, GUM's rounded inputs give 17.47."""
    found = propagate(end_gauge, END_GAUGE).outputs[0]
    assert found.degrees_of_freedom == pytest.approx(16.75, abs=1)
    k = coverage_factor(math.floor(found.degrees_of_freedom), 99)
    assert k == pytest.approx(2.92, abs=0.005)
    assert k * found.standard == pytest.approx(93, abs=0.6)


IMPEDANCE = (Input("V", 4.999, 3.2e-3), Input("I", 19.661e-3, 9.5e-6), Input("phi", 1.04446, 7.5e-4))
TIED = {("V", "I"): -0.36, ("V", "phi"): 0.86, ("I", "phi"): -0.65}


def test_the_impedance_of_the_gum_with_its_correlations() -> None:
    """GUM H.2: R 127.732(70), X 219.85(30), Z 254.26(24) Ω; r −0.59, −0.49, +0.99 (run in GTC)."""

    def impedance(v: Any, i: Any, phi: Any) -> Any:
        z = v / i
        return z * GTC.cos(phi), z * GTC.sin(phi), z

    found = propagate(impedance, IMPEDANCE, TIED)
    assert [output.value for output in found.outputs] == pytest.approx([127.732, 219.85, 254.26], abs=5e-3)
    assert [output.standard for output in found.outputs] == pytest.approx([0.070, 0.30, 0.24], abs=5e-3)
    r = found.correlations
    assert (r[0][1], r[0][2], r[1][2]) == pytest.approx((-0.588, -0.485, 0.993), abs=0.006)


def test_without_its_correlations_the_impedance_would_come_out_wrong() -> None:
    """By hand: u²(Z)/Z² = u²(V)/V² + u²(I)/I² gives 0.204 Ω in place of 0.236 Ω."""
    found = propagate(lambda v, i, phi: v / i, IMPEDANCE).outputs[0]
    assert found.standard == pytest.approx(254.26 * math.hypot(3.2e-3 / 4.999, 9.5e-6 / 19.661e-3), rel=1e-4)
    assert found.standard == pytest.approx(0.204, abs=1e-3)


@pytest.mark.parametrize(
    ("dof", "percent", "k"),
    [
        (math.inf, 95.45, 2.0),
        (10, 95, 2.23),
        (5, 95, 2.57),
        (1, 95.45, 13.97),
        (20, 95.45, 2.13),
        (50, 95, 2.01),
    ],
)
def test_coverage_factors_of_student_s_t(dof: float, percent: float, k: float) -> None:
    """GUM Table G.2 (from memory)."""
    assert coverage_factor(dof, percent) == pytest.approx(k, abs=6e-3)


@settings(deadline=None)
@given(st.floats(0.01, 10), st.floats(0.01, 10), st.floats(-0.99, 0.99))
def test_a_sum_of_two_correlated_inputs(one: float, other: float, r: float) -> None:
    """By hand, GUM 5.2.2: u² = a² + b² + 2 r a b."""
    inputs = (Input("a", 5, one), Input("b", 7, other))
    found = propagate(lambda a, b: a + b, inputs, {("a", "b"): r}).outputs[0]
    assert found.standard == pytest.approx(math.sqrt(one**2 + other**2 + 2 * r * one * other), rel=1e-9)


def test_an_exact_input_may_be_correlated_without_effect() -> None:
    inputs = (Input("a", 5, 0), Input("b", 7, 0.1))
    assert propagate(lambda a, b: a * b, inputs, {("a", "b"): 0.5}).outputs[0].standard == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("correlations", "says"),
    [
        ({("V", "U"): 0.5}, "'U' is correlated and no input"),
        ({("V", "I"): 1.5}, "-1 to 1"),
        ({("V", "V"): 0.5}, "of two inputs"),
        ({("V", "I"): 0.9, ("I", "phi"): 0.9, ("V", "phi"): -0.9}, "contradict each other"),
    ],
)
def test_correlations_that_cannot_be_are_refused(
    correlations: dict[tuple[str, str], float], says: str
) -> None:
    with pytest.raises(WrongUse, match=says):
        propagate(lambda v, i, phi: v * i * phi, IMPEDANCE, correlations)


def test_a_correlation_with_finite_degrees_of_freedom_is_refused() -> None:
    """The formula of Welch and Satterthwaite asks for independent inputs (GUM G.4.1, note; from memory)."""
    inputs = (Input("a", 1, 0.1, 5), Input("b", 1, 0.1))
    with pytest.raises(WrongUse, match="finite degrees of freedom"):
        propagate(lambda a, b: a * b, inputs, {("a", "b"): 0.5})


def test_two_inputs_of_one_name_are_refused() -> None:
    with pytest.raises(WrongUse, match="same name"):
        propagate(lambda a, b: a * b, (Input("a", 1, 0.1), Input("a", 1, 0.1)))


@pytest.mark.parametrize(
    ("value", "standard", "dof"), [(1, -1, 5), (math.nan, 1, 5), (1, math.inf, 5), (1, 1, 0)]
)
def test_what_is_no_uncertainty_is_refused(value: float, standard: float, dof: float) -> None:
    with pytest.raises(WrongUse, match="a:"):
        Input("a", value, standard, dof)

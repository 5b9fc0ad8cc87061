"""Propagation of uncertainty through any function, by GTC, which is imported nowhere else.

First order, with correlated inputs (JCGM 100:2008, 5.1.2 and 5.2.2) and effective degrees of freedom by
Welch and Satterthwaite (G.4.1); clauses from memory.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from readout.errors import WrongUse


@dataclass(frozen=True, slots=True)
class Input:
    """An input quantity: its estimate and standard uncertainty in the same unit, and degrees of freedom."""

    name: str
    value: float
    standard: float
    degrees_of_freedom: float = math.inf

    def __post_init__(self) -> None:
        """Refuse what is no uncertainty."""
        if not (math.isfinite(self.value) and math.isfinite(self.standard) and self.standard >= 0):
            raise WrongUse(f"{self.name}: {self.value:g} with standard uncertainty {self.standard:g} is none")
        if not self.degrees_of_freedom >= 1:
            raise WrongUse(
                f"{self.name}: {self.degrees_of_freedom:g} degrees of freedom; 1 or more are needed"
            )


@dataclass(frozen=True, slots=True)
class Result:
    """An output quantity. `components`: by input, what it alone contributes, with the sign of its effect."""

    value: float
    standard: float
    degrees_of_freedom: float
    components: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Results:
    """Several output quantities of the same inputs, and their correlation coefficients, row by row."""

    outputs: tuple[Result, ...]
    correlations: tuple[tuple[float, ...], ...]


#: Correlation coefficients of pairs of inputs by name.
Correlations = Mapping[tuple[str, str], float]


def propagate(
    model: Callable[..., Any], inputs: Sequence[Input], correlations: Correlations | None = None
) -> Results:
    """The outputs of `model`, which takes the inputs in order and returns one number or a tuple of them.

    The model works with + - * / ** on what it is given.

    Raises:
        WrongUse: two inputs of one name, a correlation of an unknown input, one outside −1 to 1, one of an
            input with finite degrees of freedom, or correlations that contradict each other.
    """
    import GTC

    known = {source.name: source for source in inputs}
    if len(known) != len(inputs):
        raise WrongUse("two inputs of the budget have the same name; each needs its own")
    pairs = dict(correlations or {})
    _refuse_wrong(pairs, known)
    tied = {name for pair in pairs for name in pair}
    numbers = {
        name: GTC.ureal(
            source.value, source.standard, source.degrees_of_freedom, independent=name not in tied
        )
        for name, source in known.items()
    }
    for (one, other), coefficient in pairs.items():
        if known[one].standard and known[other].standard:
            GTC.set_correlation(coefficient, numbers[one], numbers[other])
    returned = model(*numbers.values())
    outputs = returned if isinstance(returned, tuple) else (returned,)
    results = tuple(_result(output, numbers) for output in outputs)
    return Results(results, tuple(tuple(float(GTC.get_correlation(a, b)) for b in outputs) for a in outputs))


def _result(output: Any, numbers: Mapping[str, Any]) -> Result:
    from GTC import dof, reporting, uncertainty, value

    components = {name: float(reporting.u_component(output, number)) for name, number in numbers.items()}
    return Result(float(value(output)), float(uncertainty(output)), float(dof(output)), components)


def _refuse_wrong(pairs: Correlations, known: Mapping[str, Input]) -> None:
    for (one, other), coefficient in pairs.items():
        for name in (one, other):
            if name not in known:
                raise WrongUse(f"'{name}' is correlated and no input; inputs are {', '.join(known)}")
            if math.isfinite(known[name].degrees_of_freedom):
                raise WrongUse(
                    f"'{name}' is correlated and has finite degrees of freedom, for which the combined ones "
                    "are not defined; leave out one of both"
                )
        if one == other or not -1 <= coefficient <= 1:
            raise WrongUse(
                f"correlation of '{one}' with '{other}' is {coefficient:g}; -1 to 1, of two inputs"
            )
    if pairs:
        _refuse_contradictions(pairs)


def _refuse_contradictions(pairs: Correlations) -> None:
    """Correlations that no quantities can have together: their matrix has a negative eigenvalue."""
    import numpy as np

    names = sorted({name for pair in pairs for name in pair})
    matrix = np.eye(len(names))
    for (one, other), coefficient in pairs.items():
        i, j = names.index(one), names.index(other)
        matrix[i, j] = matrix[j, i] = coefficient
    if float(np.linalg.eigvalsh(matrix)[0]) < -1e-9:
        raise WrongUse("these correlations contradict each other: no quantities can have them together")


def coverage_factor(degrees_of_freedom: float, coverage_percent: float = 95.45) -> float:
    """k for a coverage probability [%]: Student's t (JCGM 100:2008, G.3.4, from memory); 2 unless given.

    95.45 % and infinite degrees of freedom are k = 2 exactly, by convention.
    """
    from GTC import reporting

    if coverage_percent == 95.45 and math.isinf(degrees_of_freedom):
        return 2.0
    return float(reporting.k_factor(degrees_of_freedom, coverage_percent))

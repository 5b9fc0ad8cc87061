"""The budget of a flow: parts as relative uncertainties of factors, what each adds, and the whole.

The flow is a product of powers, Q ∝ D² v k p / T, so a part adds |exponent| × its relative uncertainty
(JCGM 100:2008, 5.1.6, from memory). Percentages are of the flow.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from readout.errors import WrongUse
from readout.measuring_point.uncertainty.propagation import Correlations, Input, coverage_factor, propagate
from readout.sentence import Sentence


class Kind(StrEnum):
    """Whether a part is the same in every reading (and so in their mean and total) or new in each."""

    SYSTEMATIC = "systematic"
    RANDOM = "random"


@dataclass(frozen=True, slots=True)
class Part:
    """A source: relative standard uncertainty of the input [%], and its exponent in the flow's formula.

    `note`: where the figure comes from.
    """

    name: str
    standard_percent: float
    exponent: float = 1.0
    note: str = ""
    kind: Kind = Kind.SYSTEMATIC
    degrees_of_freedom: float = math.inf

    @property
    def contribution_percent(self) -> float:
        """What it alone makes uncertain in the flow [%], one standard uncertainty."""
        return abs(self.exponent) * self.standard_percent


@dataclass(frozen=True, slots=True)
class Row:
    """A line of the table: a part, its contribution [%] and its share of the combined variance [%].

    Shares of correlated parts do not add up to 100: the rest is `Budget.correlation_share_percent`.
    """

    part: Part
    contribution_percent: float
    share_percent: float


@dataclass(frozen=True, slots=True)
class Budget:
    """The whole: standard and expanded uncertainty of the flow [%], coverage factor and what it covers [%].

    `left_out`: sources for which no figure is known, so that the budget is too small by them.
    """

    rows: tuple[Row, ...]
    standard_percent: float
    coverage_factor: float
    coverage_percent: float
    degrees_of_freedom: float
    correlation_share_percent: float
    systematic_percent: float
    random_percent: float
    left_out: tuple[Sentence, ...] = ()

    @property
    def expanded_percent(self) -> float:
        """Expanded uncertainty U = k u [%]."""
        return self.coverage_factor * self.standard_percent

    @property
    def says(self) -> Sentence:
        """Such as "4.3 % (k = 2, about 95 %)"."""
        return Sentence(
            "{percent:.2g} % (k = {k:.3g}, about {covers:.0f} %)",
            percent=self.expanded_percent, k=self.coverage_factor, covers=self.coverage_percent,
        )  # fmt: skip

    def of_mean_percent(self, readings: int) -> float:
        """Expanded uncertainty [%] of a mean or total of so many independent readings, same k.

        Random parts fall with the root of their number, systematic ones stay whole.

        Raises:
            WrongUse: no reading.
        """
        if readings < 1:
            raise WrongUse(f"a mean of {readings} readings is none; at least one is needed")
        return self.coverage_factor * math.hypot(
            self.systematic_percent, self.random_percent / math.sqrt(readings)
        )


def budget_of(
    parts: Sequence[Part],
    correlations: Correlations | None = None,
    *,
    coverage_percent: float = 95.45,
    left_out: Sequence[Sentence] = (),
) -> Budget:
    """The budget of a product of powers.

    Args:
        parts: its sources, each with a name of its own.
        correlations: coefficients of pairs of parts by name.
        coverage_percent: what the expanded uncertainty covers; 95.45 is k = 2 for many degrees of freedom.
        left_out: sources of which nothing is known.

    Raises:
        WrongUse: no parts, or what `propagate` refuses.
    """
    if not parts:
        raise WrongUse(
            Sentence("a budget without a single source of uncertainty would be a claim of no error at all")
        )
    whole = _combined(parts, correlations)
    alone = {kind: [part for part in parts if part.kind is kind] for kind in Kind}
    random = _combined(alone[Kind.RANDOM], _among(alone[Kind.RANDOM], correlations))[0]
    variance = whole[0] ** 2
    rows = tuple(
        Row(part, part.contribution_percent, _share(part.contribution_percent**2, variance)) for part in parts
    )
    tied = variance - sum(part.contribution_percent**2 for part in parts)
    return Budget(
        rows, whole[0], coverage_factor(whole[1], coverage_percent), coverage_percent, whole[1],
        _share(tied, variance) if correlations else 0.0,
        math.sqrt(max(variance - random**2, 0.0)), random, tuple(left_out),
    )  # fmt: skip


def summed_percent(
    amounts: Sequence[tuple[float, Budget]], shared: Collection[str] = (), factor: float = 2.0
) -> float:
    """Expanded uncertainty [%] of a sum of flows or totals, each with its own budget.

    Args:
        amounts: flow or total (one unit for all, any sign: a difference is a sum) and its budget.
        shared: names of parts that are one and the same error at all points, such as the site's air
            pressure: they add up. All others are taken as independent.
        factor: coverage factor.

    Raises:
        WrongUse: nothing to sum, or the sum is zero.
    """
    total = sum(amount for amount, _ in amounts)
    if not total:
        raise WrongUse("a sum of nothing has no relative uncertainty")
    together: dict[str, float] = dict.fromkeys(shared, 0.0)
    own = 0.0
    for amount, budget in amounts:
        rest = budget.standard_percent**2
        for row in budget.rows:
            if row.part.name in together:
                signed = math.copysign(row.contribution_percent, row.part.exponent)
                together[row.part.name] += amount * signed
                rest -= row.contribution_percent**2
        own += amount**2 * max(rest, 0.0)
    return factor * math.sqrt(own + sum(value**2 for value in together.values())) / abs(total)


def _combined(parts: Sequence[Part], correlations: Correlations | None) -> tuple[float, float]:
    """Combined standard uncertainty [%] and degrees of freedom."""
    if not parts:
        return 0.0, math.inf
    inputs = [Input(p.name, 1.0, p.standard_percent / 100, p.degrees_of_freedom) for p in parts]

    def product(*factors: Any) -> Any:
        flow = factors[0] ** parts[0].exponent
        for factor, part in zip(factors[1:], parts[1:], strict=True):
            flow = flow * factor**part.exponent
        return flow

    result = propagate(product, inputs, correlations).outputs[0]
    return 100 * result.standard, result.degrees_of_freedom


def _among(parts: Sequence[Part], correlations: Correlations | None) -> Correlations:
    names = {part.name for part in parts}
    return {pair: r for pair, r in (correlations or {}).items() if names.issuperset(pair)}


def _share(part: float, whole: float) -> float:
    return 100 * part / whole if whole else 0.0

"""The budget of uncertainty of the expected flows, from what the files say."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from protocols.units import printed
from readout.errors import WrongUse
from readout.measuring_point.conditions.corrections import Principle
from readout.measuring_point.figures.figures import Expected, Figures
from readout.measuring_point.figures.place import Place
from readout.measuring_point.flow.expected import Basis
from readout.measuring_point.uncertainty.budget import Budget
from readout.measuring_point.uncertainty.figures import rounded_by_percent
from readout.measuring_point.uncertainty.sources import Installation, flow_budget
from readout.sentence import Sentence, told_by

#: Width of a bar of the chart for the whole variance, in characters.
BAR = 20


@dataclass(frozen=True, slots=True)
class Trust:
    """How far an expected flow can be trusted: its budget, or the sentence why there is none."""

    expected: Expected
    budget: Budget | None
    why_not: Sentence | None = None

    @property
    def flow(self) -> str:
        """The flow at reference conditions with what it can be trusted to: `420 ± 18 m³/h`."""
        if self.budget is None or self.budget.expanded_percent <= 0:
            return ""
        amount = self.expected.case.reference_flow.amount * 3600
        return f"{rounded_by_percent(amount, self.budget.expanded_percent)} m³/h"


def trusted(figures: Figures) -> list[Trust]:
    """The budgets of the expected flows, lowest first. Loads GTC, which takes its time."""
    stream, place = figures.stream, figures.place
    if stream is None or place.bore is None:
        return []
    installation = _installation(place, figures.atmosphere_pa)
    found = []
    for one in figures.expected:
        try:
            budget = flow_budget(one.case, stream, installation, place.point.uncertainty)
            found.append(Trust(one, budget))
        except WrongUse as error:
            found.append(
                Trust(one, None, Sentence("{flow}: {why}", flow=printed(str(one.said)), why=told_by(error)))
            )
    return found


def _installation(place: Place, atmosphere_pa: float | None) -> Installation:
    bore, conditions, found = place.bore, place.point.conditions, place.map
    if bore is None:
        raise WrongUse(Sentence("nothing of the pipe is given: no budget of uncertainty; give pipe"))
    pressure = None if conditions is None else conditions.pressure
    readings = () if found is None else found.readings
    basis = next((one.basis for one in readings if one.basis), None)
    principle = Principle.OTHER if found is None or found.principle is None else Principle(found.principle)
    return Installation(
        bore_standard_m=bore.standard_uncertainty_mm / 1000,
        bore_note=bore.uncertain,
        principle=principle,
        velocity_basis=Basis.REFERENCE if basis == "reference" else Basis.ACTUAL,
        is_insertion=place.insertion is not None,
        atmosphere_pa=atmosphere_pa if pressure is not None and pressure.gauge else None,
    )


def trust_table(trust: Trust) -> list[tuple[str, ...]]:
    """Head, a row a source, the sum: source, standard %, exponent, in the flow %, share, bar, note."""
    budget = trust.budget
    if budget is None:
        return []
    rows: list[tuple[str, ...]] = [
        ("source", "u, %", "times", "in the flow, %", "of variance, %", "", "from")
    ]
    for row in budget.rows:
        bar = "#" * round(BAR * max(row.share_percent, 0) / 100)
        rows.append(
            (
                row.part.name, f"{row.part.standard_percent:.2f}", f"{row.part.exponent:g}",
                f"{abs(row.contribution_percent):.2f}", f"{row.share_percent:.0f}", bar, row.part.note,
            )
        )  # fmt: skip
    if abs(budget.correlation_share_percent) >= 0.5:
        rows.append(("correlated", "", "", "", f"{budget.correlation_share_percent:.0f}", "", ""))
    rows.append(("together, k = 1", "", "", f"{budget.standard_percent:.2f}", "100", "", ""))
    return rows


def trust_words(trust: Trust) -> Iterator[str]:
    """What the budget comes to, and what it leaves out."""
    budget = trust.budget
    if budget is None:
        yield trust.why_not or ""
        return
    yield f"{printed(str(trust.expected.said))}: {trust.flow}, expanded uncertainty {budget.says}"
    for source in budget.left_out:
        yield f"not in it: {source}"


SYSTEMATIC = "These parts are the same in every reading: a longer time or a total does not average them out."


def trust_document(trust: Trust) -> dict[str, Any]:
    """The budget as JSON; None where there is none, with the reason."""
    budget = trust.budget
    if budget is None:
        return {"said": str(trust.expected.said), "budget": None, "why_not": trust.why_not}
    return {
        "said": str(trust.expected.said),
        "flow": trust.flow,
        "budget": [
            {
                "source": row.part.name,
                "standard_percent": round(row.part.standard_percent, 4),
                "exponent": row.part.exponent,
                "contribution_percent": round(row.contribution_percent, 4),
                "share_percent": round(row.share_percent, 2),
                "from": row.part.note,
            }
            for row in budget.rows
        ],
        "standard_percent": round(budget.standard_percent, 4),
        "coverage_factor": round(budget.coverage_factor, 3),
        "expanded_percent": round(budget.expanded_percent, 4),
        "left_out": list(budget.left_out),
    }

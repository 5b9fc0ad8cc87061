"""How far a measured flow can be trusted: the budget of its measuring point, at the mean measured."""

from dataclasses import dataclass, replace
from decimal import Decimal

from protocols.units import Quantity, unit_of
from readout.errors import WrongUse
from readout.measuring_point.model import Conditions, QuantitySpan
from readout.review.about.installation import Installation, plain_unit
from readout.sentence import Sentence, joined, told_by


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Expanded, of the flow and of its total: what is wrong in every reading does not average out.

    `says` has factor and confidence in words, `left_out` the sources of which nobody said anything.
    """

    percent: float
    says: Sentence
    left_out: tuple[Sentence, ...]


def flow_uncertainty(about: Installation, flow: float | None, unit: str | None) -> Uncertainty | Sentence:
    """The uncertainty of `flow` in `unit`, or what is missing to tell it, as a sentence.

    Loads the library for budgets, which takes a second or two.
    """
    from readout.measuring_point.figures.figures import figures_of
    from readout.measuring_point.figures.place import Place
    from readout.measuring_point.figures.uncertain import trusted
    from readout.measuring_point.installation.insertion import insertion_of
    from readout.measuring_point.pipe.bore import bore_of
    from readout.sealing.table import map_of

    point, word = about.measuring_point, unit_of(plain_unit(unit or ""))
    if point is None or point.pipe is None:
        return Sentence("nothing is kept of the pipe: no uncertainty is told")
    if not flow or word is None:
        return Sentence("no flow was measured: no uncertainty is told")
    mean = Quantity(Decimal(repr(abs(flow))), word)
    conditions = replace(point.conditions or Conditions(), expected_flow=QuantitySpan(mean, mean))
    try:
        bore = bore_of(point.pipe, point.uncertainty.get("inside_diameter"), None)
        insertion = None if point.pipe.probe is None else insertion_of(point.pipe.probe, bore)
        place = Place(
            replace(point, conditions=conditions), map_of(about.map_text), bore, insertion, None, None
        )
        figures = figures_of(place)
        trusts = trusted(figures)
    except WrongUse as error:
        return Sentence("no uncertainty is told: {why}", why=told_by(error))
    if not trusts:
        missing = joined("; ", figures.missing or [Sentence("the point file says too little")])
        return Sentence("no uncertainty is told: {why}", why=missing)
    budget = trusts[0].budget
    if budget is None:
        return Sentence("no uncertainty is told: {why}", why=trusts[0].why_not)
    return Uncertainty(budget.expanded_percent, budget.says, tuple(budget.left_out))

"""Corrections from the ledger: the flow put right beside the raw one. Rows stay as they are.

A meter that takes a velocity and multiplies it by the area computes a flow that goes with the square of the
diameter set in it; the ledger's line tells the factor.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from readout.review.about.logbook import Amendment
from readout.sentence import Sentence, joined


@dataclass(frozen=True, slots=True)
class Correction:
    """What one line of the ledger, number `line`, corrects from `from_ms` on, in words.

    Flow is multiplied by `factor`; None where the correction does not touch it.
    """

    from_ms: int
    line: int
    what: Sentence
    factor: float | None
    why: str | None


def corrections(
    amendments: Sequence[Amendment], refused: Mapping[int, str] = MappingProxyType({})
) -> list[Correction]:
    """In the order they were written; `refused`: the ledger's line → why it could not be taken in."""
    found = [_correction(one) for one in amendments]
    return [
        replace(one, what=Sentence("{what}; not taken in: {why}", what=one.what, why=refused[one.line]))
        if one.line in refused
        else one
        for one in found
    ]


def _correction(one: Amendment) -> Correction:
    changes = [_change(key, value, one.was.get(key)) for key, value in one.set.items()]
    what = joined(", ", changes)
    if one.flow_factor is not None:
        factor = Sentence(
            "flow × {factor:g} = (true bore / bore the meter computes with)²", factor=one.flow_factor
        )
        if one.computed_with_mm is not None:
            factor = Sentence("{factor}, the latter {mm:g} mm", factor=factor, mm=one.computed_with_mm)
        what = joined("; ", (what, factor))
    return Correction(one.from_ms, one.line, what, one.flow_factor, one.why)


def _change(key: str, value: str, was: str | None) -> Sentence:
    if not was:
        return Sentence("{key}: {now} instead of nothing", key=key, now=value)
    return Sentence("{key}: {now} instead of {before}", key=key, now=value, before=was)


def factors(found: Sequence[Correction], begin: NDArray[np.int64]) -> NDArray[np.float64] | None:
    """By what each minute's flow [n] is multiplied; a later line replaces an earlier. None: by nothing.

    Every factor is to the flow as the meter told it, so two are never multiplied with each other.
    """
    mine = [(one.from_ms, one.factor) for one in found if one.factor is not None]
    if not mine:
        return None
    made = np.ones(len(begin))
    for from_ms, factor in mine:
        made[begin >= from_ms] = factor
    return made

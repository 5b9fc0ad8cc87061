"""What each named interval gives: means of flow and pressure, and a leak test where its name says so."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from protocols.units import Quantity, unit_of
from readout.review.about.installation import plain_unit
from readout.review.about.logbook import Mark
from readout.review.about.units import number_in
from readout.review.marks.leak_tests import (
    DECAY,
    LOADS,
    LeakTest,
    by_flow,
    by_load_and_unload,
    by_pressure_decay,
    cycles,
    decay_readings,
    falls,
)
from readout.review.review import ReadingReview, Review
from readout.sentence import Sentence

LEAK_TEST = "leak test"

Rows = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Inputs:
    """What rows cannot tell: the network's volume, and what its compressor delivers under load."""

    volume: Quantity | None = None
    output: Quantity | None = None


@dataclass(frozen=True, slots=True)
class MarkResult:
    """Of one mark: seconds of it with a flow, means in the units shown, and results of leak tests."""

    mark: Mark
    measured_s: float
    flow: float | None
    pressure: float | None
    leak_tests: Sequence[LeakTest]


def mark_results(review: Review, inputs: Inputs) -> list[MarkResult]:
    """One for each mark of the log book, in its order."""
    return [_result(review, mark, inputs) for mark in review.book.marks]


def _result(review: Review, mark: Mark, inputs: Inputs) -> MarkResult:
    begin = review.measured.minutes.begin
    rows = (begin >= mark.begin_ms) & (begin < mark.end_ms)
    flow = review.corrected or review.flow
    about = review.installation.pressure
    pressure = None if about is None else review.readings.get(about.name)

    def mean(reading: ReadingReview | None) -> tuple[float, float | None]:
        if reading is None or not rows.any():
            return 0.0, None
        own = reading.values.at(rows)
        seconds = float(own.seconds.sum())
        return seconds, float(own.integral.sum()) / seconds if seconds else None

    measured, flowing = mean(flow)
    tests: Sequence[LeakTest] = ()
    if mark.name.strip().lower().startswith(LEAK_TEST) and rows.any():
        tests = _leak_tests(review, rows, flow, pressure, inputs)
    return MarkResult(mark, measured, flowing, mean(pressure)[1], tests)


def _leak_tests(
    review: Review, rows: Rows, flow: ReadingReview | None, pressure: ReadingReview | None, inputs: Inputs
) -> list[LeakTest]:
    """By every method for which there is what it needs."""
    tests: list[LeakTest] = []
    if flow is not None:
        own = flow.values.at(rows)
        tests.append(by_flow(own, flow.shown.unit))
        loaded, unloaded = cycles(own.means, own.seconds)
        if loaded + unloaded:
            unit = flow.shown.unit
            output = None if inputs.output is None or unit is None else number_in(inputs.output, unit)
            tests.append(by_load_and_unload(loaded, unloaded, output, unit if output is not None else None))
        elif inputs.output is not None:
            why = Sentence("the flow does not go between two levels, unloaded at most half of loaded")
            tests.append(LeakTest(LOADS, None, None, None, {}, why))
    if pressure is not None and inputs.volume is not None and pressure.shown.unit:
        tests.append(_decay(review, rows, pressure, inputs.volume))
    return tests


def _decay(review: Review, rows: Rows, pressure: ReadingReview, volume: Quantity) -> LeakTest:
    """Only of a gauge pressure, referred to the point's reference pressure, else 1 bar absolute."""
    point = review.installation.measuring_point
    kept = None if point is None or point.reference is None else point.reference.pressure
    reference = 1.0 if kept is None else number_in(kept, "bar")
    unit = unit_of(plain_unit(pressure.shown.unit or ""))
    if unit is None or not (pressure.shown.unit or "").endswith("(g)"):
        why = Sentence("the pressure measured is no gauge pressure")
        return LeakTest(DECAY, None, None, None, {}, why)
    hours, found = decay_readings(review.measured.minutes.begin[rows], pressure.values.at(rows))
    bar = number_in(Quantity(Decimal(1), unit), "bar")
    gauge = found * bar
    if not falls(gauge):
        why = Sentence("the pressure does not fall from reading to reading: it is no decay")
        return LeakTest(DECAY, None, None, None, {}, why)
    cubic = number_in(volume, "m3")
    return by_pressure_decay(hours, gauge, cubic, reference, working_bar=float(gauge[0]))

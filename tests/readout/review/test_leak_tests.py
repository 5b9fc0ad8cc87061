"""Leak tests against published examples, and what is told where before and after may not be compared."""

from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from readout.errors import WrongUse
from readout.review.marks.comparison import compared
from readout.review.marks.leak_tests import (
    by_flow,
    by_load_and_unload,
    by_pressure_decay,
    cycles,
    decay_losses,
    fitted,
)
from readout.review.review import review
from readout.review.rows.minutes import Values
from storage.archive import Archive
from storage.ledger import Kind
from storage.logbook.entering import enter


def test_load_and_unload_of_a_training_text() -> None:
    """Indian BEE training text (from memory): 1.5 min of 12 loaded are 12.5 %, of 35 m3/min 4.375 m3/min."""
    found = by_load_and_unload(90, 630, 35.0, "m3/min")
    assert found.share == 0.125
    assert found.flow == 4.375
    with pytest.raises(WrongUse, match="not below 0"):
        by_load_and_unload(0, 0, None, None)


def test_only_whole_cycles_count() -> None:
    """Constructed minutes: loaded 2, unloaded 6, three times, and a cycle cut at either end."""
    loaded = [1] * 1 + ([0] * 6 + [1] * 2) * 3 + [0] * 3
    means = np.where(np.array(loaded) == 1, 30.0, 0.5)
    assert cycles(means, np.full(len(means), 60.0)) == (6 * 60.0, 18 * 60.0)
    assert cycles(np.full(9, 4.0), np.full(9, 60.0)) == (0.0, 0.0)


#: US Navy MO-206, appendix B / MO-209, tables 5-3 and 5-4 (public domain): minutes at gauge pressures [psi].
TIMES = [0, 10 + 42 / 60, 23 + 17 / 60, 38 + 34 / 60, 58 + 56 / 60, 87 + 28 / 60, 135 + 1 / 60, 277 + 40 / 60]
PSI = [90, 80, 70, 60, 50, 40, 30, 20]
LOSSES_SCFM = [40, 34, 28, 21, 15, 9, 3]


def test_the_regression_of_a_published_pressure_decay() -> None:
    """Losses 40 to 3 scfm at 85 to 25 psig: Q = 0.62 P − 12.75, 47 scfm at 96 psig."""
    line = fitted(np.arange(85.0, 20.0, -10), np.array(LOSSES_SCFM, float))
    assert round(line.slope, 2) == 0.62
    assert round(line.intercept, 2) == -12.75
    assert round(line.at(96)) == 47


def test_losses_of_the_published_decay_from_its_pressures() -> None:
    """With 629 ft3 (the volume that its rows come to) and 14.7 psi each loss rounds to the printed one."""
    pressures, losses = decay_losses(np.array(TIMES), np.array(PSI, float), 629.0, 14.7)
    assert list(pressures) == [85, 75, 65, 55, 45, 35, 25]
    assert [round(loss) for loss in losses] == LOSSES_SCFM
    with pytest.raises(WrongUse, match="two or more readings"):
        decay_losses(np.array([1.0]), np.array([90.0]), 1.0, 1.0)


def test_a_decay_of_a_known_leak_is_found_again() -> None:
    """Constructed: loss goes with absolute pressure, p = 8 bar × exp(-t/2h) from 10 m3: 10 × p / 2 h."""
    hours = np.linspace(0, 0.2, 41)
    absolute = 8.0 * np.exp(-hours / 2)
    found = by_pressure_decay(hours, absolute - 1.0, 10.0, 1.0, working_bar=6.5)
    assert found.flow == pytest.approx(10 * 7.5 / 2, rel=1e-4)


def test_flow_back_counts_against_flow_on() -> None:
    flow = Values(np.full(2, 60.0), np.array([60.0 * 5, -60.0 * 3]), np.zeros(2), np.zeros(2))
    assert by_flow(flow, "m3/h").flow == 1.0


def marked(hall: ModuleType, root: Path, **after: object):
    """A week before and a week after, a row a minute, less on work days and Sundays; marks for both."""
    with Archive.open(root) as archive:
        for begin, end, flow, changes in (
            ("2026-05-10T23:00Z", "2026-05-17T23:00Z", 100.0, {}),
            ("2026-05-17T23:00Z", "2026-05-24T23:00Z", 80.0, after),
        ):
            dues = hall.every(60_000, begin, end)
            hall.fill(archive, hall.record(60_000, **changes), dues, lambda _, flow=flow: (flow, 7000, 1))
            hall.seal(archive, dues[-1] + 1000)
    for name, begin, end in (
        ("before", "2026-05-10T23:00:00.000Z", "2026-05-17T23:00:00.000Z"),
        ("After", "2026-05-17T23:00:00.000Z", "2026-05-24T23:00:00.000Z"),
    ):
        enter(root, Kind.MARK, {"point": hall.POINT, "name": name, "from": begin, "until": end})
    found = review(root, hall.POINT)
    assert found is not None
    return compared(found)


def test_before_and_after_stand_side_by_side_by_day_type(hall: ModuleType, root: Path) -> None:
    found = marked(hall, root)
    assert found is not None
    assert list(found.not_comparable) == []
    rows = {name: (before, after) for name, before, after in found.rows}
    assert list(rows) == ["production", "no production"]
    assert [(one.mean, one.count) for one in rows["production"]] == [(100.0, 5), (80.0, 5)]
    assert [(one.mean, one.count) for one in rows["no production"]] == [(100.0, 2), (80.0, 2)]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ("position: mean velocity", "the probe's position was centre before and mean velocity after"),
        ("inside_diameter: 54.5 mm", "the diameter was 53.1 mm before and 54.5 mm after"),
        ("diameter_set_in_meter: 54 mm", "the diameter set in the meter was 53.1 mm before and 54 mm after"),
    ],
)
def test_what_was_fitted_otherwise_is_not_comparable(
    hall: ModuleType, root: Path, changed: str, words: str
) -> None:
    key = changed.partition(":")[0]
    old = {"position": "position: centre", "inside_diameter": "{inside_diameter: 53.1 mm"}
    was = old.get(key, "diameter_set_in_meter: 53.1 mm")
    file = hall.POINT_FILE.replace(was, "{" * was.startswith("{") + changed)
    found = marked(hall, root, file=file)
    assert found is not None
    assert list(found.not_comparable) == [f"not comparable: {words}"]


def test_another_damping_or_reference_is_not_comparable(hall: ModuleType, root: Path) -> None:
    other = hall.MAP.replace("temperature: 20 degC", "temperature: 0 degC")
    settings = {"damping": {"value": 2.0, "unit": "s"}}
    found = marked(hall, root, map_text=other, settings=settings)
    assert found is not None
    assert list(found.not_comparable) == [
        "not comparable: the reference of the flow was 20 degC, 1 bar(a) before and 0 degC, 1 bar(a) after",
        "not comparable: the damping was not said before and 2.0 s after",
    ]
    assert replace(found).unit == "m3/h"

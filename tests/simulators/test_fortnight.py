"""The fortnight's truth against a sum in small steps; what its meter holds against the decoder."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from protocols.register_map.parse import parse_map
from protocols.values.decode import Words, decode
from simulators.fortnight import (
    BEGIN,
    DIP,
    END,
    LEAK,
    LOST,
    STOPPED,
    plant,
    registers,
    rounds,
    truth,
    without,
)
from simulators.plant.series import flows, totals

MAP = Path(__file__).parents[2] / "demo_data/bottling_hall/insertion-meter.yaml"


def test_the_truth_is_what_a_sum_over_half_seconds_finds() -> None:
    """Another way: the flow in the middle of each half second, sorted by Dublin's clock and by the losses."""
    step = 0.5
    middle = np.arange(BEGIN + step / 2, END, step)
    volume = flows(plant(), middle) * step / 3600
    local = (middle + 3600) % 86_400  # Dublin is an hour ahead of UTC in May
    weekday = ((middle + 3600) // 86_400 + 3) % 7
    lost = np.zeros(len(middle), bool)
    for begin, end in LOST.values():
        lost |= (middle >= begin) & (middle < end)
    idle = ((weekday >= 5) | (local < 6 * 3600) | (local >= 22 * 3600)) & ~lost
    idle &= ~((middle >= STOPPED.begin) & (middle < STOPPED.end))
    found = truth()
    assert found.measured_s == (~lost).sum() * step
    assert found.out_of_hours_s == idle.sum() * step
    assert found.total_m3 == pytest.approx(volume[~lost].sum(), rel=1e-6)
    assert found.out_of_hours_m3_h == pytest.approx(volume[idle].sum() / idle.sum() / step * 3600, rel=1e-5)


def test_the_plant_alone_and_in_series_tell_the_same_over_an_episode() -> None:
    """Flow, total and pressure before, within and after each of them."""
    hall = plant()
    moments = np.array(
        sorted(
            one.begin + more for one in (LEAK, STOPPED, DIP) for more in (-1.0, 0.0, 1.0, 1199.0, 90_000.0)
        )
    )
    assert flows(hall, moments) == pytest.approx([hall.flow(float(one)) for one in moments], rel=1e-12)
    assert totals(hall, moments) == pytest.approx([hall.total(float(one)) for one in moments], rel=1e-12)
    before, within = (hall.truth(STOPPED.begin + more).pressure for more in (-60.0, 60.0))
    assert before - within == pytest.approx(3.9, abs=0.2)


def test_spans_lose_what_is_cut_out_of_them() -> None:
    assert without([(0.0, 10.0)], [(2.0, 3.0), (9.0, 12.0)]) == [(0.0, 2.0), (3.0, 9.0)]
    assert without([(0.0, 1.0), (4.0, 6.0)], [(0.0, 5.0)]) == [(5.0, 6.0)]


def test_registers_hold_what_the_plant_tells() -> None:
    """Half an hour about the start of the leak: flow and total as the protocol's decoder reads the words."""
    found = parse_map(MAP.read_bytes(), "map.yaml").map
    assert found is not None
    due = np.arange(LEAK.begin - 900, LEAK.begin + 900, 5.0)
    held = {column: Words(data, np.ones(len(due), bool)) for column, data in registers(found, due).items()}
    readings = {value.name: decode(value, held).data for value in found.readings if value.name != "state"}
    assert readings["flow"] == pytest.approx(flows(plant(), due), rel=0.005)
    assert readings["total"] == pytest.approx(totals(plant(), due), abs=0.051)
    assert readings["flow"][180:].mean() - readings["flow"][:180].mean() == pytest.approx(18, abs=1)


def test_the_recorder_does_not_run_for_a_while_and_the_meter_is_silent_in_another() -> None:
    first, second = rounds(5.0)
    begin, end = sorted(LOST.values())[1]
    assert (first.due[-1], second.due[0]) == (begin - 5.0, end)
    silent = [datetime.fromtimestamp(one, UTC).isoformat() for one in first.due[first.silent][[0, -1]]]
    assert silent == ["2026-05-14T08:10:00+00:00", "2026-05-14T10:24:55+00:00"]
    assert not second.silent.any()

"""The last hours for charts: spikes keep their height, gaps stay gaps, memory does not grow."""

import math

import numpy as np
import pytest

from readout.daemon.live.history import History, Ring, Span
from readout.daemon.live.told import Told, ToldReading

#: 2026-05-04T06:00:00Z in ms.
BEGAN = 1_777_874_400_000


def row(sequence: int, due_ms: int, value: float | None, status: str = "ok") -> Told:
    reading = ToldReading("flow", value, "m3/h", None)
    return Told("header", sequence, due_ms, due_ms + 40, "synchronised", status, "", (reading,))


def test_one_row_of_a_half_minute_keeps_its_height() -> None:
    """250 among rows of 20: lowest, highest and mean (29 × 20 + 250) / 30 of its step, worked out by hand."""
    history = History()
    for n in range(30):
        history.add(row(n + 1, BEGAN + n * 1000, 250.0 if n == 7 else 20.0), 1000)
    drawn = history.chart("header", "flow", Span.LONG, BEGAN + 29_000)
    assert (drawn["low"][-1], drawn["high"][-1]) == (20.0, 250.0)
    assert drawn["mean"][-1] == pytest.approx(830 / 30, rel=1e-6)
    assert drawn["begin_ms"] + 719 * 30_000 == BEGAN
    assert drawn["low"][:-1] == [None] * 719


def test_a_gap_is_one_span_with_its_status_and_nothing_is_drawn_over_it() -> None:
    history = History()
    statuses = ["ok"] * 5 + ["no reply"] * 2 + ["skipped"] * 3 + ["ok"]
    for n, status in enumerate(statuses):
        history.add(row(n + 1, BEGAN + n * 1000, 20.0 if status == "ok" else None, status), 1000)
    drawn = history.chart("header", "flow", Span.SHORT, BEGAN + 10_000)
    assert drawn["mean"][-11:] == [20.0] * 5 + [None] * 5 + [20.0]
    assert drawn["gaps"] == [
        {"begin_ms": BEGAN + 5000, "end_ms": BEGAN + 7000, "status": "no reply"},
        {"begin_ms": BEGAN + 7000, "end_ms": BEGAN + 10_000, "status": "skipped"},
    ]


def test_a_span_without_rows_is_a_gap_too() -> None:
    """While no recorder ran there are no rows: from the archive, and from the archive to the first one told.

    Rows that came at a longer interval than now, without one missing, have no gap between them.
    """
    history = History()
    numbers = {"flow": 10.0}
    before = [
        {"sequence": n + 1, "due_ms": BEGAN + due * 1000, "status": "ok", "numbers": numbers}
        for n, due in enumerate((0, 2, 4, 6, 20, 22, 24))
    ]
    history.fill("header", 1000, before)
    history.add(row(8, BEGAN + 40_000, 10.0), 1000)
    history.add(row(9, BEGAN + 41_000, 10.0), 1000)
    drawn = history.chart("header", "flow", Span.SHORT, BEGAN + 42_000)
    assert drawn["gaps"] == [
        {"begin_ms": BEGAN + 8000, "end_ms": BEGAN + 20_000, "status": "no row"},
        {"begin_ms": BEGAN + 25_000, "end_ms": BEGAN + 40_000, "status": "no row"},
    ]


def test_rows_further_apart_than_a_step_give_a_line_without_holes() -> None:
    """A row a minute: the fine chart's step is the minute then."""
    history = History()
    for n in range(10):
        history.add(row(n + 1, BEGAN + n * 60_000, float(n)), 60_000)
    drawn = history.chart("header", "flow", Span.SHORT, BEGAN + 9 * 60_000)
    assert drawn["step_ms"] == 60_000
    assert drawn["mean"][-10:] == [float(n) for n in range(10)]


def test_what_the_archive_had_is_not_counted_twice() -> None:
    """Rows up to a number come from the archive; the same ones told live are left out."""
    history = History()
    before = [
        {"sequence": n, "due_ms": BEGAN + n * 1000, "status": "ok", "numbers": {"flow": 10.0}}
        for n in range(1, 4)
    ]
    history.fill("header", 1000, before)
    for n in range(2, 6):
        history.add(row(n, BEGAN + n * 1000, 90.0), 1000)
    drawn = history.chart("header", "flow", Span.SHORT, BEGAN + 5000)
    assert drawn["high"][-5:] == [10.0, 10.0, 10.0, 90.0, 90.0]


def test_a_ring_never_grows_and_forgets_what_is_older() -> None:
    ring = Ring(10_000, 1000)
    for n in range(100_000):
        ring.add(BEGAN + n * 1000, float(n))
    begin, low, _, _ = ring.until(BEGAN + 99_999_000)
    assert begin == BEGAN + 99_990_000
    assert list(low) == [float(n) for n in range(99_990, 100_000)]


def test_a_clock_that_is_put_back_leaves_no_mixture() -> None:
    """A step that is written again holds the later rows only; the future is not shown."""
    ring = Ring(10_000, 1000)
    for n in range(10):
        ring.add(BEGAN + n * 1000, 1.0)
    ring.add(BEGAN - 7000, 5.0)  # 10 steps before BEGAN + 3000: the same place
    _, low, high, _ = ring.until(BEGAN - 7000)
    assert low[-1] == high[-1] == 5.0
    assert np.isnan(low[:-1]).all()
    _, low, _, _ = ring.until(BEGAN + 9000)
    assert math.isnan(low[3])
    assert np.nansum(low) == 9.0


def test_a_reading_that_is_no_number_is_no_chart() -> None:
    history = History()
    words = ToldReading("state", ["supply low"], None, None)
    flag = ToldReading("relay", True, None, None)
    history.add(Told("header", 1, BEGAN, BEGAN, "synchronised", "ok", "", (words, flag)), 1000)
    for name in ("state", "relay", "absent"):
        assert set(history.chart("header", name, Span.SHORT, BEGAN)["mean"]) == {None}

"""Since when the out-of-hours demand is another: found in the right hour, and not where there is no step."""

from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from statsmodels.datasets import nile

from readout.review.air.step import pettitt, step
from readout.review.review import Review, review
from readout.review.rows.minutes import Values
from storage.archive import Archive

HOUR = 3_600_000


def hourly(means: np.ndarray) -> "tuple[np.ndarray, np.ndarray, Values, np.ndarray]":
    """Minutes of hours with these means, all of them out of hours."""
    hour = np.repeat(np.arange(len(means)) * HOUR, 60)
    value = np.repeat(means, 60)
    return (
        np.arange(len(hour)) * 60_000,
        hour,
        Values(np.full(len(hour), 60.0), value * 60, value, value),
        np.ones(len(hour), np.bool_),
    )


def test_the_nile_changed_after_1898() -> None:
    """Annual flow at Aswan, 1871 to 1970: the change after 1898 is that of the literature (G. W. Cobb,
    Biometrika 65 (1978), 243-251)."""
    frame = nile.load_pandas().data
    index, chance = pettitt(frame["volume"].to_numpy())
    assert frame["year"].iloc[index] == 1899
    assert chance < 1e-6


@pytest.mark.parametrize("seed", range(5))
def test_the_statistic_is_that_of_its_definition(seed: int) -> None:
    """U(t) = Σ Σ sgn(x_i − x_j) over i up to t, j behind it (Pettitt 1979), here with ties."""
    values = np.random.default_rng(seed).integers(0, 9, 40).astype(float) + np.repeat([0, 2], [25, 15])
    signs = np.sign(values[:, None] - values[None, :])
    found = [abs(signs[:at, at:].sum()) for at in range(1, 40)]
    index, chance = pettitt(values)
    assert found[index - 1] == max(found)
    assert chance == pytest.approx(min(1, 2 * np.exp(-6 * max(found) ** 2 / (40**3 + 40**2))))


def test_a_single_night_with_a_machine_left_on_is_no_step() -> None:
    """Constructed: 60 m3/h with some noise over 100 hours, 300 in eight of them."""
    means = 60 + np.random.default_rng(3).normal(0, 0.5, 100)
    means[40:48] = 300.0
    assert step(*hourly(means), "m3/h") == "it stayed at one level"


def test_a_change_that_nobody_would_pay_for_is_no_step() -> None:
    """2 % more from the middle on is as clear as can be, and too little to be told."""
    means = np.repeat([60.0, 61.2], 50) + np.random.default_rng(4).normal(0, 0.01, 100)
    assert step(*hourly(means), "m3/h") == "it stayed at one level"


def test_too_few_hours_say_so() -> None:
    found = step(*hourly(np.repeat([60.0, 90.0], 10)), "m3/h")
    assert found == "fewer than 24 hours out of hours were measured"


def leaking(hall: ModuleType, root: Path, begin: int) -> Review:
    """Nine days from Monday 11 May 2026; out of hours 20 m3/h, from `begin` on 26."""
    dues = hall.every(60_000, "2026-05-10T23:00Z", "2026-05-19T23:00Z")

    def flow(due: int) -> float:
        weekday, hour = (due // hall.DAY + 3) % 7, (due // HOUR + 1) % 24
        base = 26.0 if due >= begin else 20.0
        return base + 90.0 * (weekday < 5 and 6 <= hour < 22) + due // 60_000 % 3

    with Archive.open(root) as archive:
        hall.fill(archive, hall.record(60_000), dues, lambda due: (flow(due), 7000, 1))
        hall.seal(archive, dues[-1] + 1000)
    found = review(root, hall.POINT)
    assert found is not None
    return found


def test_a_leak_that_begins_at_night_is_found_in_its_hour(hall: ModuleType, root: Path) -> None:
    begin = hall.ms("2026-05-16T02:20Z")
    found = leaking(hall, root, begin).step
    assert not isinstance(found, str)
    assert (found.since_ms, found.until_ms) == (hall.ms("2026-05-16T02:00Z"), hall.ms("2026-05-16T03:00Z"))
    assert (found.before, found.after) == pytest.approx((21, 27))
    assert found.unit == "m3/h"


def test_one_that_begins_in_a_shift_is_told_as_far_as_it_is_known(hall: ModuleType, root: Path) -> None:
    """At 11:00 of a production day: between that morning's 06:00 and 23:00, whose hour is wholly new."""
    begin = hall.ms("2026-05-14T10:00Z")
    found = leaking(hall, root, begin).step
    assert not isinstance(found, str)
    assert found.since_ms == hall.ms("2026-05-14T05:00Z")
    assert found.until_ms == hall.ms("2026-05-14T22:00Z")

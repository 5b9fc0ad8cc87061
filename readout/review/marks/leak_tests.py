"""What a leak test gives, by three methods. Each result tells its method and its inputs.

Here alone the word leak stands: a leak test is made with every consumer shut off.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from readout.errors import WrongUse
from readout.review.rows.minutes import Values
from readout.sentence import Sentence

Doubles = NDArray[np.float64]

LOADS = Sentence("load and unload times: loaded / (loaded + unloaded)")
DECAY = Sentence("pressure decay: volume × fall / (reference pressure × time), straight line over pressure")
#: Flow or power unloaded, as a share of loaded, at most; an idling screw draws a quarter to two fifths of its
#: power (common practice, no source).
_IDLING = 0.5
#: Of the readings of a decay at least this share must not be above the one before.
_FALLING = 0.75


@dataclass(frozen=True, slots=True)
class LeakTest:
    """`flow` in `unit`; `share` of the compressor's output (0 to 1) where the method gives one.

    `why` there is neither, although what the method needs was given.
    """

    method: Sentence
    flow: float | None
    unit: str | None
    share: float | None
    inputs: Mapping[str, float | str]
    why: Sentence | None = None


def by_load_and_unload(
    loaded_s: float, unloaded_s: float, output: float | None, unit: str | None
) -> LeakTest:
    """From a compressor's cycles: share = T / (T + t), T loaded and t unloaded [s] over whole cycles.

    `output` is what the compressor delivers under load, in `unit`; without it only the share is known.
    1.5 min loaded and 10.5 min unloaded are 12.5 %. Source: US DOE compressed air sourcebook.

    Raises:
        WrongUse: a time below 0, or both 0.
    """
    if loaded_s < 0 or unloaded_s < 0 or loaded_s + unloaded_s <= 0:
        raise WrongUse("a leak test by load and unload needs times of both, not below 0")
    share = loaded_s / (loaded_s + unloaded_s)
    return LeakTest(
        LOADS,
        None if output is None else share * output,
        unit,
        share,
        {"loaded_s": loaded_s, "unloaded_s": unloaded_s, "output": "not given" if output is None else output},
    )


def cycles(means: Doubles, seconds: Doubles) -> tuple[float, float]:
    """Seconds loaded and unloaded, from minutes' (or rows') means of a compressor's flow or power.

    Loaded is above the middle between lowest and highest. From the first change on to the last that goes the
    same way, so that only whole cycles count; (0, 0) where there is none, or where the mean below the middle
    is more than half of that above it: what merely wavers is no compressor that is unloaded.
    """
    known = seconds > 0
    values, lasting = means[known], seconds[known]
    if not len(values) or values.min() == values.max():
        return 0.0, 0.0
    loaded = values > (values.min() + values.max()) / 2
    idling, working = (float(np.average(values[one], weights=lasting[one])) for one in (~loaded, loaded))
    if idling > _IDLING * working:
        return 0.0, 0.0
    changes = np.flatnonzero(np.diff(loaded.astype(np.int8))) + 1
    if len(changes) < 3:
        return 0.0, 0.0
    last = changes[-1] if (len(changes) - 1) % 2 == 0 else changes[-2]
    span = slice(changes[0], last)
    return float(lasting[span][loaded[span]].sum()), float(lasting[span][~loaded[span]].sum())


@dataclass(frozen=True, slots=True)
class Decay:
    """A pressure decay: losses [m3/h at the reference] at mean gauge pressures [bar], and their line.

    loss = slope × gauge pressure + intercept.
    """

    pressures: Doubles
    losses: Doubles
    slope: float
    intercept: float

    def at(self, pressure: float) -> float:
        """The loss at a gauge pressure [bar] by the line."""
        return self.slope * pressure + self.intercept


def decay_losses(hours: Doubles, gauge: Doubles, volume: float, reference: float) -> tuple[Doubles, Doubles]:
    """Mean gauge pressures and losses between readings [n] of a network shut off, n − 1 of each.

    loss = volume × fall / (reference × time), isothermal: volume per unit of `hours`, at the absolute
    `reference` pressure in the unit of `gauge`. The line is laid through losses by `fitted`.

    Raises:
        WrongUse: fewer than two readings, or times that do not rise.
    """
    if len(hours) < 2 or (np.diff(hours) <= 0).any():
        raise WrongUse("a pressure decay needs two or more readings, one after the other")
    losses = volume * -np.diff(gauge) / (reference * np.diff(hours))
    return (gauge[1:] + gauge[:-1]) / 2, losses


def fitted(pressures: Doubles, losses: Doubles) -> Decay:
    """The straight line of least squares through losses over gauge pressure.

    Loss goes with the absolute pressure while a hole is choked, so the line is straight down to about
    1 bar(g), and its value at other pressures is found by it. Source: US Navy MO-206, appendix B.
    """
    if len(pressures) < 2 or pressures.min() == pressures.max():
        return Decay(pressures, losses, 0.0, float(losses.mean()))
    slope, intercept = np.polyfit(pressures, losses, 1)
    return Decay(pressures, losses, float(slope), float(intercept))


def by_pressure_decay(
    hours: Doubles, gauge_bar: Doubles, volume_m3: float, reference_bar: float, *, working_bar: float
) -> LeakTest:
    """The loss [m3/h at `reference_bar` absolute] at the working gauge pressure, by a known volume."""
    pressures, losses = decay_losses(hours, gauge_bar, volume_m3, reference_bar)
    line = fitted(pressures, losses)
    return LeakTest(
        DECAY,
        line.at(working_bar),
        "m3/h",
        None,
        {
            "volume_m3": volume_m3, "reference_bar": reference_bar, "working_bar": working_bar,
            "slope": line.slope, "intercept": line.intercept, "readings": float(len(hours)),
        },
    )  # fmt: skip


def by_flow(flow: Values, unit: str | None) -> LeakTest:
    """The mean of the flow in the interval, with its sign: what flows back counts against what flows on."""
    seconds = float(flow.seconds.sum())
    mean = float(flow.integral.sum()) / seconds if seconds else None
    return LeakTest(Sentence("mean flow with its sign"), mean, unit, None, {"measured_s": seconds})


def decay_readings(begin: NDArray[np.int64], pressure: Values, most: int = 60) -> tuple[Doubles, Doubles]:
    """Times [h] and mean pressures of up to `most` minutes of an interval, evenly chosen."""
    known: Sequence[int] = np.flatnonzero(pressure.seconds > 0).tolist()
    if len(known) > most:
        known = [known[int(n)] for n in np.linspace(0, len(known) - 1, most)]
    at = np.asarray(known, np.int64)
    return (begin[at] - (begin[at[0]] if len(at) else 0)) / 3.6e6, pressure.means[at]


def falls(gauge: Doubles) -> bool:
    """Whether pressures [n] are those of a decay: it ends lower, and hardly any is above the one before."""
    steps = np.diff(gauge)
    return len(steps) >= 2 and gauge[-1] < gauge[0] and float(np.mean(steps <= 0)) >= _FALLING

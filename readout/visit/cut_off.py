"""Whether what flows now is well above what the meter shows as nothing."""

import math
from collections.abc import Mapping

from protocols.units import Dimension, unit_of
from readout.measuring_point.checks.plain import per_hour
from readout.measuring_point.comparison.told import Settings, told_quantity
from readout.visit.live import Seen, quantity
from readout.visit.verdict import Check, to_decide

#: Below so many times the cut-off an ordinary quiet hour is shown as nothing. Common practice, no source.
CLEAR_OF_IT = 2.0


def cut_off_checks(seen: Mapping[str, Seen], settings: Settings, area_m2: float | None) -> list[Check]:
    """The watched flow against the meter's low-flow cut-off, a velocity, where its settings tell one.

    By a velocity that the map reads; else by a volume flow over `area_m2` of the pipe's bore.
    """
    cut = told_quantity(settings, "low_flow_cut_off", Dimension.VELOCITY)
    if cut is None:
        return []
    least = float(per_hour(cut))
    found = _velocities(seen, area_m2)
    if not found:
        return []
    name, velocity = found[0]
    if velocity >= CLEAR_OF_IT * least:
        return []
    side = "below" if velocity < least else "only just above"
    return [
        to_decide(
            f"{name} is {velocity / 3600:.3g} m/s on average, {side} the meter's cut-off of {cut}: it shows 0"
            " below that",
            "is it a quiet hour? else lower the cut-off, or see depth, diameter and unit",
        )
    ]


def _velocities(seen: Mapping[str, Seen], area_m2: float | None) -> list[tuple[str, float]]:
    """(Reading, its mean as a velocity [m/h]): velocities first, then volume flows over the bore."""
    velocities: list[tuple[str, float]] = []
    flows: list[tuple[str, float]] = []
    for name, one in seen.items():
        unit = unit_of(one.unit)
        if unit is None or unit.conditional or math.isnan(one.mean):
            continue
        if unit.dimension is Dimension.VELOCITY:
            velocities.append((name, abs(float(per_hour(quantity(one.mean, one.unit))))))
        elif unit.dimension is Dimension.VOLUME_FLOW and area_m2:
            flows.append((name, abs(float(per_hour(quantity(one.mean, one.unit)))) / area_m2))
    return velocities + flows

"""The comparison, made when a recording begins and when a memory is fetched.

Only what both sides tell is compared. An effect is that on the flow as the meter tells it, in per cent of the
right one: reads 5.1 % low is -5.1.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from protocols.register_map.model import RegisterMap
from protocols.units import Dimension, Quantity, Unit, unit_of
from readout.measuring_point.checks.plain import ABSOLUTE_ZERO, millimetres, pascals, per_hour
from readout.measuring_point.comparison.told import Settings, told_quantity, told_word
from readout.measuring_point.model import MeasuringPoint
from readout.measuring_point.pipe.bore import Bore
from readout.sentence import Sentence, word

#: Registers round: lengths and pressures are the same within this share, temperatures within this many K.
SAME_SHARE, SAME_K = 0.001, 0.05
#: A clock that shows whole seconds is up to 1 s behind when it is right; told beyond this [s].
CLOCK_S = 2.0
#: Other words by which a meter may name a gas.
_FORMULAS = {
    "nitrogen": "n2", "oxygen": "o2", "carbon dioxide": "co2", "argon": "ar", "helium": "he",
    "hydrogen": "h2", "methane": "ch4",
}  # fmt: skip
_OUTSIDE = ("below range", "above range")
_TIME_S = {"us": 1e-6, "ms": 1e-3, "s": 1, "min": 60, "h": 3600, "d": 86400}


@dataclass(frozen=True, slots=True)
class Finding:
    """One difference: the setting, a sentence, its effect on the flow [%] (None where it has no figure).

    `doubtful`: what was told cannot be, so that nothing follows from it but that the map is to be seen to.
    """

    setting: str
    text: str
    effect_percent: float | None = None
    doubtful: bool = False

    def __str__(self) -> str:
        return self.text


def compare(
    point: MeasuringPoint,
    found: RegisterMap,
    settings: Settings,
    bore: Bore | None,
    *,
    clock_offset_s: float | None = None,
    every_s: float | None = None,
) -> list[Finding]:
    """Where the meter is set otherwise than the point file says; nothing where all agrees.

    Args:
        point: the point as its file says it.
        found: its register map.
        settings: as the meter told them.
        bore: the point's bore, where its pipe is known.
        clock_offset_s: the meter's clock minus the computer's [s], where it has one.
        every_s: time from one row to the next [s], if it is not the point file's.
    """
    doubts = list(_doubts(settings))
    doubted = {one.setting for one in doubts}
    settings = {name: one for name, one in settings.items() if name not in doubted}
    return [
        *doubts,
        *_diameter(point, settings, bore),
        *_unit(found, settings),
        *_reference(point, settings),
        *_gas(point, found, settings),
        *_damping(point, settings, every_s),
        *_cut_off(point, settings, bore),
        *_clock(clock_offset_s),
    ]


def _doubts(settings: Settings) -> Iterator[Finding]:
    """What lies outside its range in the map: such a number is read wrongly more often than it is set."""
    for name, one in settings.items():
        value = one.get("value")
        if one.get("flag") in _OUTSIDE and isinstance(value, int | float):
            text = Sentence(
                "the meter seems to tell {setting} as {value:.4g} {unit}, outside its range in the map: see "
                "the map's word order, type and scale before anything is set; it is not compared",
                setting=name, value=value, unit=one.get("unit") or "",
            )  # fmt: skip
            yield Finding(name, text, doubtful=True)


def reads(percent: float) -> Sentence:
    """`reads 5.1 % low`; `reads right` within a twentieth of a per cent."""
    if abs(percent) < 0.05:
        return Sentence("reads right")
    return Sentence(
        "reads {percent:.1f} % high" if percent > 0 else "reads {percent:.1f} % low", percent=abs(percent)
    )


def _diameter(point: MeasuringPoint, settings: Settings, bore: Bore | None) -> Iterator[Finding]:
    told = told_quantity(settings, "inside_diameter", Dimension.LENGTH)
    if told is None or point.pipe is None:
        return
    in_meter = float(millimetres(told))
    expected = point.pipe.diameter_set_in_meter
    if expected is not None and not _same(in_meter, float(millimetres(expected))):
        yield Finding(
            "inside_diameter",
            Sentence(
                "the meter computes with an inside diameter of {in_meter:.4g} mm, and the point file says "
                "that it is set to {expected}: set one of them right",
                in_meter=in_meter, expected=expected,
            ),
        )  # fmt: skip
    if bore is not None and not _same(in_meter, float(bore.inside_mm)):
        effect = 100 * ((in_meter / float(bore.inside_mm)) ** 2 - 1)
        yield Finding(
            "inside_diameter",
            Sentence(
                "the meter computes with an inside diameter of {in_meter:.4g} mm and the pipe has "
                "{pipe:.4g} mm ({known}): it {reads}",
                in_meter=in_meter, pipe=float(bore.inside_mm), known=bore.known, reads=reads(effect),
            ),
            effect,
        )  # fmt: skip


def _unit(found: RegisterMap, settings: Settings) -> Iterator[Finding]:
    """A setting `flow_unit` against the unit by which the map reads the flow."""
    told = told_word(settings, "flow_unit")
    in_meter = None if told is None else unit_of(told)
    flow = next((one for one in found.readings if one.unit and _is_flow(unit_of(one.unit))), None)
    mapped = None if flow is None or flow.unit is None else unit_of(flow.unit)
    if flow is None or in_meter is None or mapped is None or in_meter.word == mapped.word:
        return
    factor = _ratio(mapped, in_meter)
    if factor is not None and math.isclose(factor, 1, rel_tol=1e-9):
        return
    effect = None if factor is None else 100 * (factor - 1)
    text = Sentence(
        "the meter tells its flow in {told}, and the map reads {reading} as {unit}",
        told=told, reading=flow.name, unit=flow.unit,
    )  # fmt: skip
    if effect is not None:
        text = Sentence(
            "{what}: it is told {percent:.3g} % too high"
            if effect > 0
            else "{what}: it is told {percent:.3g} % too low",
            what=text, percent=abs(effect),
        )  # fmt: skip
    yield Finding("flow_unit", text, effect)


def _is_flow(unit: Unit | None) -> bool:
    return unit is not None and unit.dimension in (Dimension.VOLUME_FLOW, Dimension.MASS_FLOW)


def _ratio(one: Unit, other: Unit) -> float | None:
    """How many `other` are one `one`; None for volume and mass, or where a unit hides its conditions."""
    if one.dimension is not other.dimension or one.conditional or other.conditional:
        return None
    return float(per_hour(Quantity(Decimal(1), one)) / per_hour(Quantity(Decimal(1), other)))


def _reference(point: MeasuringPoint, settings: Settings) -> Iterator[Finding]:
    """Reference volumes of an ideal gas go with T/p; of what the meter does not tell, the file's is taken."""
    wanted = point.reference
    if wanted is None:
        return
    temperature = told_quantity(settings, "reference_temperature", Dimension.TEMPERATURE)
    pressure = told_quantity(settings, "reference_pressure", Dimension.PRESSURE)
    if temperature is None and pressure is None:
        return
    t_meter, t_wanted = _kelvin(temperature or wanted.temperature), _kelvin(wanted.temperature)
    p_meter, p_wanted = (float(pascals(one)) for one in (pressure or wanted.pressure, wanted.pressure))
    if t_meter <= 0 or p_meter <= 0:
        yield Finding(
            "reference",
            Sentence("the meter's reference conditions are below absolute zero or vacuum: set them"),
        )
        return
    if abs(t_meter - t_wanted) <= SAME_K and _same(p_meter, p_wanted):
        return
    effect = 100 * (t_meter / p_meter * p_wanted / t_wanted - 1)
    told: object = pressure if temperature is None else temperature
    if temperature is not None and pressure is not None:
        told = Sentence("{temperature} and {pressure}", temperature=temperature, pressure=pressure)
    yield Finding(
        "reference",
        Sentence(
            "the meter's m³ are at {told}, the point file's at {temperature} and {pressure}: "
            "taken for those, it {reads}; they have to be converted",
            told=told, temperature=wanted.temperature, pressure=wanted.pressure, reads=reads(effect),
        ),
        effect,
    )  # fmt: skip


def _gas(point: MeasuringPoint, found: RegisterMap, settings: Settings) -> Iterator[Finding]:
    told = told_word(settings, "gas")
    expected = None if point.conditions is None else point.conditions.fluid
    if told is None or expected is None or expected == "other":
        return
    if expected not in told.lower() and told.lower() != _FORMULAS.get(expected):
        text = Sentence(
            "the meter is set to {told}, and the point file says {expected}; a thermal meter may be far off "
            "in another gas: what that does to its flow is in its manual"
            if found.principle == "thermal"
            else "the meter is set to {told}, and the point file says {expected}: what that does to its flow "
            "is in its manual",
            told=told, expected=word(expected),
        )  # fmt: skip
        yield Finding("gas", text)


def _damping(point: MeasuringPoint, settings: Settings, every_s: float | None) -> Iterator[Finding]:
    """A first-order damping shows 1 − exp(−t/τ) of a step after t."""
    told = told_quantity(settings, "damping", Dimension.TIME)
    every = float(point.record_every) if every_s is None and point.record_every is not None else every_s
    if told is None or every is None:
        return
    tau = float(told.number) * _TIME_S[told.unit.word]
    if tau > every:
        shown = 100 * (1 - math.exp(-every / tau))
        yield Finding(
            "damping",
            Sentence(
                "the meter damps by {tau:g} s and a row is kept every {every:g} s: of a sudden change one "
                "row shows {shown:.0f} %, so peaks are flattened (totals are not)",
                tau=tau, every=every, shown=shown,
            ),
        )  # fmt: skip


def _cut_off(point: MeasuringPoint, settings: Settings, bore: Bore | None) -> Iterator[Finding]:
    """What the meter shows as nothing, against the lowest flow that is expected."""
    expected = None if point.conditions is None else point.conditions.expected_flow
    velocity = told_quantity(settings, "low_flow_cut_off", Dimension.VELOCITY)
    if expected is None or velocity is None or bore is None or not _is_flow(expected.low.unit):
        return
    if expected.low.unit.dimension is not Dimension.VOLUME_FLOW:
        return
    cut_m3_h = float(per_hour(velocity)) * bore.area_m2
    if cut_m3_h > float(per_hour(expected.low)):
        yield Finding(
            "low_flow_cut_off",
            Sentence(
                "below {velocity}, {cut:.3g} m3/h in this pipe, the meter tells nothing, and {low} are "
                "expected at the low end: those read 0, 100 % low (the cut-off taken as a reference "
                "velocity)",
                velocity=velocity, cut=cut_m3_h, low=expected.low,
            ),
            -100.0,
        )  # fmt: skip


def _clock(offset_s: float | None) -> Iterator[Finding]:
    if offset_s is not None and abs(offset_s) > CLOCK_S:
        text = Sentence(
            "the meter's clock is {s:.0f} s ahead of this computer's: times of its memory are corrected by "
            "that, its own display shows it"
            if offset_s > 0
            else "the meter's clock is {s:.0f} s behind this computer's: times of its memory are corrected "
            "by that, its own display shows it",
            s=abs(offset_s),
        )  # fmt: skip
        yield Finding("clock", text)


def _kelvin(temperature: Quantity) -> float:
    degrees = float(temperature.number - ABSOLUTE_ZERO[temperature.unit.word])
    return degrees / 1.8 if temperature.unit.word == "degF" else degrees


def _same(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=SAME_SHARE)

"""From what a point file says of uncertainty, and from a flow in the pipe, to the parts of the flow's budget.

A half-width has k = 2 unless its k or distribution is given; rectangular is divided by √3, triangular by √6
(JCGM 100:2008, 4.3.7 and 4.3.9, from memory).
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from protocols.units import UNITS, Dimension, Quantity
from readout.errors import WrongUse
from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.conditions.corrections import Correction, Principle, ruling
from readout.measuring_point.conditions.gases import Fluid
from readout.measuring_point.conditions.states import flow_m3_per_s, kelvin_width, pascal_width
from readout.measuring_point.conversion import converted
from readout.measuring_point.flow.expected import Basis, FlowCase, Stream
from readout.measuring_point.flow.profile import likely_error_percent
from readout.measuring_point.model import Uncertain
from readout.measuring_point.uncertainty.budget import Budget, Part, budget_of
from readout.measuring_point.uncertainty.propagation import Correlations
from readout.sentence import Sentence, word

_DIVISORS = {"normal": 2.0, "rectangular": math.sqrt(3), "triangular": math.sqrt(6)}
#: Sources that a point file may give in per cent of the flow; `flow` is for meters specified as a whole.
_PLAIN = ("flow", "inlet_run", "stem_blockage")


@dataclass(frozen=True, slots=True)
class Installation:
    """What the budget needs to know besides flow and stream.

    `bore_standard_m`: standard uncertainty of the inside diameter [m], `bore_note` where it comes from.
    `velocity_basis`: on which basis the meter tells velocity, and its full scale is.
    `is_insertion`: a probe at one place, so that depth and profile count.
    `is_converted`: the flow at reference conditions is computed here (or in the meter) from a line volume
    with pressure and temperature. `atmosphere_pa`: the air pressure that made a gauge pressure absolute;
    None where the pressure is an absolute one.
    """

    bore_standard_m: float
    bore_note: str
    principle: Principle
    velocity_basis: Basis
    is_insertion: bool = True
    is_converted: bool = True
    atmosphere_pa: float | None = None


def flow_budget(
    case: FlowCase,
    stream: Stream,
    place: Installation,
    said: Mapping[str, Uncertain],
    correlations: Correlations | None = None,
) -> Budget:
    """The budget of one flow at reference conditions, from the point file's `uncertainty` by key.

    All parts count as systematic: they are the same in every reading of this installation.

    Raises:
        WrongUse: nothing flows (no relative uncertainty), a half-width in a wrong unit, or what `budget_of`
            refuses.
    """
    if not case.velocity_m_per_s:
        raise WrongUse(Sentence("nothing flows: an uncertainty in per cent of zero has no meaning"))
    parts = [_diameter(stream, place)]
    parts += _velocity(case, place, said.get("velocity"))
    if place.is_insertion:
        parts += _profile(case, stream, said)
    parts += [
        Part(name.replace("_", " "), _relative(name, said[name], case), note=_note(said[name]))
        for name in _PLAIN
        if name in said
    ]
    parts += _conditions(stream, place, said)
    return budget_of(parts, correlations, left_out=_missing(stream, place, said))


def standard_of(half_width: float, uncertain: Uncertain) -> float:
    """The standard uncertainty of a half-width, by the distribution or k that the file gives; else k = 2."""
    if uncertain.distribution is not None:
        return half_width / _DIVISORS[uncertain.distribution]
    return half_width / (2.0 if uncertain.k is None else float(uncertain.k))


def _diameter(stream: Stream, place: Installation) -> Part:
    return Part("inside diameter", 100 * place.bore_standard_m / stream.bore_m, 2.0, place.bore_note)


def _velocity(case: FlowCase, place: Installation, said: Uncertain | None) -> list[Part]:
    """Of reading and of full scale as two parts: the second grows as the velocity falls."""
    if said is None:
        return []
    here, found = case.velocity(place.velocity_basis), []
    if said.half_width is not None:
        percent = _percent_of(said.half_width, here, _velocity_si)
        note = _note(said, _told_width(said))
        found.append(Part("velocity", standard_of(percent, said), note=note))
    if said.of_reading is not None:
        percent = 100 * _ratio(said.of_reading)
        note = _note(said, _told_reading(said))
        found.append(Part("velocity, of reading", standard_of(percent, said), note=note))
    if said.of_full_scale is not None:
        percent = 100 * _ratio(said.of_full_scale) * _full_scale(said, _velocity_si) / here
        note = _note(said, _told_full_scale(said))
        found.append(Part("velocity, of full scale", standard_of(percent, said), note=note))
    return found


def _profile(case: FlowCase, stream: Stream, said: Mapping[str, Uncertain]) -> list[Part]:
    given = said.get("velocity_profile")
    if given is not None:
        found = [Part("velocity profile", _relative("velocity_profile", given, case), note=_note(given))]
    else:
        likely = likely_error_percent(case.profile, stream.sensor_share)
        note = f"not given: exponent of the profile ± 1, {likely:.2g} %, rectangular"
        found = [Part("velocity profile", likely / math.sqrt(3), note=note)]
    depth = said.get("insertion_depth")
    if depth is not None:
        found.append(Part("insertion depth", _of_depth(depth, case, stream), note=_note(depth)))
    return found


def _of_depth(depth: Uncertain, case: FlowCase, stream: Stream) -> float:
    """What a sensor one standard uncertainty off its place changes in the velocity [%], the larger way."""
    if depth.half_width is None or depth.half_width.unit.dimension is not Dimension.LENGTH:
        raise WrongUse(Sentence("uncertainty: insertion_depth is a length; write half_width such as 1 mm"))
    off = standard_of(float(millimetres(depth.half_width)) / 1000, depth) / stream.bore_m
    places = [min(max(stream.sensor_share + way * off, 0.0), 1.0) for way in (-1, 1)]
    here = case.profile.relative_velocity(stream.sensor_share)
    return max(abs(100 * (case.profile.relative_velocity(place) / here - 1)) for place in places)


def _conditions(stream: Stream, place: Installation, said: Mapping[str, Uncertain]) -> list[Part]:
    """Pressure, temperature and air pressure where the flow depends on them, as the ideal gas law has it."""
    if not _needs_conditions(stream, place):
        return []
    exponent = 0.5 if place.principle is Principle.DIFFERENTIAL_PRESSURE else 1.0
    line, around, found = stream.line, place.atmosphere_pa, []
    if "pressure" in said:
        width = _pressure_width(said["pressure"], line.pressure_pa - (around or 0.0))
        found.append(_condition("pressure", said["pressure"], width / line.pressure_pa, exponent))
    if "atmospheric_pressure" in said and around is not None:
        width = _pressure_width(said["atmospheric_pressure"], around)
        found.append(
            _condition(
                "atmospheric_pressure", said["atmospheric_pressure"], width / line.pressure_pa, exponent
            )
        )
    if "temperature" in said:
        half = said["temperature"].half_width
        if half is None or half.unit.dimension is not Dimension.TEMPERATURE:
            raise WrongUse(
                Sentence("uncertainty: temperature is given in degrees, such as 0.5 degC, not in per cent")
            )
        share = kelvin_width(half) / line.temperature_k
        found.append(_condition("temperature", said["temperature"], share, -exponent))
    return found


def _needs_conditions(stream: Stream, place: Installation) -> bool:
    """Whether line pressure and temperature go into the flow: not for mass meters, nor for water."""
    allowed = ruling(place.principle, Correction.OTHER_LINE_CONDITIONS, stream.fluid).is_permitted
    is_other = stream.fluid is not Fluid.WATER and stream.line != stream.reference
    return place.is_converted and allowed and is_other


def _missing(stream: Stream, place: Installation, said: Mapping[str, Uncertain]) -> list[Sentence]:
    """Sources that belong into the budget and of which the file says nothing."""
    wanted = [] if "flow" in said else ["velocity"]
    wanted += ["insertion_depth"] if place.is_insertion else []
    if _needs_conditions(stream, place):
        wanted += ["pressure", "temperature"]
        wanted += [] if place.atmosphere_pa is None else ["atmospheric_pressure"]
    missing: list[Sentence] = [word(name.replace("_", " ")) for name in wanted if name not in said]
    if place.principle is Principle.OTHER:
        missing.append(
            Sentence("line pressure and temperature (the map does not say how the meter measures)")
        )
    return missing


def _condition(name: str, said: Uncertain, share: float, exponent: float) -> Part:
    return Part(name.replace("_", " "), 100 * standard_of(share, said), exponent, _note(said))


def _pressure_width(said: Uncertain, reading_pa: float) -> float:
    """Half-width of a pressure [Pa]; a percentage is one of the reading, which may be a gauge pressure."""
    total = 0.0
    for width in (said.half_width, said.of_reading):
        if width is not None:
            own = _ratio(width) * abs(reading_pa) if _is_ratio(width) else pascal_width(width)
            total = math.hypot(total, own)
    if said.of_full_scale is not None:
        total = math.hypot(total, _ratio(said.of_full_scale) * _full_scale(said, pascal_width))
    return total


def _relative(name: str, said: Uncertain, case: FlowCase) -> float:
    """Standard uncertainty [%] of a part that is a share of the flow, or for `flow` an amount of it."""
    flow = case.reference_flow
    total = 0.0
    for width in (said.half_width, said.of_reading):
        if width is not None and not _is_ratio(width) and name != "flow":
            raise WrongUse(
                Sentence(
                    "uncertainty: {name} is a share of the flow, such as 1 %, not {width}",
                    name=name,
                    width=width,
                )
            )
        if width is not None:
            total = math.hypot(total, _percent_of(width, flow.amount, lambda found: _flow_si(found, case)))
    if said.of_full_scale is not None:
        full = _full_scale(said, lambda found: _flow_si(found, case))
        total = math.hypot(total, 100 * _ratio(said.of_full_scale) * full / flow.amount)
    return standard_of(total, said)


def _percent_of(width: Quantity, whole: float, in_si: Callable[[Quantity], float]) -> float:
    """A half-width as a percentage of `whole`: as it is, or by its own unit."""
    return 100 * (_ratio(width) if _is_ratio(width) else in_si(width) / whole)


def _full_scale(said: Uncertain, in_si: Callable[[Quantity], float]) -> float:
    if said.full_scale is None:
        raise WrongUse(Sentence("uncertainty: a share of full scale needs full_scale, such as 160 m/s"))
    return in_si(said.full_scale)


def _is_ratio(width: Quantity) -> bool:
    return width.unit.dimension is Dimension.RATIO


def _ratio(share: Quantity) -> float:
    """2 % as 0.02."""
    if not _is_ratio(share):
        raise WrongUse(Sentence("{share} is no share; write it in %, such as 2 %", share=share))
    return float(converted(share, UNITS["1"]))


def _note(said: Uncertain, *parts: str) -> str:
    """What the file says, in its own units: "point file: 2 % of reading, k = 2"; all of it or `parts`."""
    told = parts or tuple(filter(None, (_told_width(said), _told_reading(said), _told_full_scale(said))))
    how = said.distribution or f"k = {2 if said.k is None else said.k}"
    return f"point file: {', '.join(told)}, {how}"


def _told_width(said: Uncertain) -> str:
    return "" if said.half_width is None else str(said.half_width)


def _told_reading(said: Uncertain) -> str:
    return "" if said.of_reading is None else f"{said.of_reading} of reading"


def _told_full_scale(said: Uncertain) -> str:
    return "" if said.of_full_scale is None else f"{said.of_full_scale} of {said.full_scale}"


def _flow_si(flow: Quantity, case: FlowCase) -> float:
    """A volume or mass flow as a volume flow at the case's reference conditions [m³/s]."""
    if flow.unit.dimension is Dimension.MASS_FLOW:
        per_kg = case.reference_flow.amount / case.mass_flow_kg_per_s
        return float(converted(flow, UNITS["kg/s"])) * per_kg
    return flow_m3_per_s(flow, case.reference_flow.at)


def _velocity_si(velocity: Quantity) -> float:
    if velocity.unit.dimension is not Dimension.VELOCITY:
        raise WrongUse(
            Sentence(
                "{velocity} is a {dimension}; write a velocity, such as 160 m/s",
                velocity=velocity,
                dimension=velocity.unit.dimension,
            )
        )
    return float(converted(velocity, UNITS["m/s"]))

"""The figures of a place: what the expected flows mean in this pipe, and the force on the stem."""

from collections.abc import Iterator
from dataclasses import dataclass

from protocols.register_map.model import Value
from protocols.units import Dimension, Quantity, unit_of
from readout.errors import WrongUse
from readout.measuring_point.checks.plain import millimetres, per_hour
from readout.measuring_point.conditions.convert import Volume, converted_volume
from readout.measuring_point.conditions.gases import Fluid, Model, fluid_of
from readout.measuring_point.conditions.states import (
    FREE_AIR,
    NORMAL,
    Reference,
    absolute_pa,
    flow_m3_per_s,
    standard_air_pressure_pa,
    state_of,
)
from readout.measuring_point.figures.place import Place
from readout.measuring_point.flow.expected import (
    Basis,
    FlowCase,
    RangeFit,
    Stream,
    case_of_mass_flow,
    case_of_reference_flow,
    range_fit,
)
from readout.measuring_point.installation.force import StemForce, stem_force
from readout.measuring_point.installation.insertion import (
    MEAN_VELOCITY_DEPTH,
    Position,
    depth_sensitivity_percent,
)
from readout.measuring_point.model import Site
from readout.sentence import Sentence, told_by

#: Under which every flow of a gas is shown too, besides the point's own reference.
SHOWN_REFERENCES = (NORMAL, FREE_AIR)
_SHARES = {Position.CENTRE: 0.5, Position.MEAN_VELOCITY: float(MEAN_VELOCITY_DEPTH)}


@dataclass(frozen=True, slots=True)
class Expected:
    """One end of the expected flow: as the file says it, and what it means in the pipe.

    `volumes`: the same stream [m³/s] under each of `SHOWN_REFERENCES`; empty for water. `fit` is None where
    the map gives no range of velocities. `correction`: factor to the flow as the meter tells it, for the
    profile at the sensor's place as far as the meter does not apply it itself. `millimetre_percent`: change
    of the velocity at the sensor when it stands 1 mm off.
    """

    said: Quantity
    case: FlowCase
    volumes: tuple[tuple[Reference, Volume], ...]
    fit: RangeFit | None
    correction: float
    millimetre_percent: float | None


@dataclass(frozen=True, slots=True)
class Figures:
    """All figures; what could not be worked out is in `missing`, with the reason and what to give."""

    place: Place
    atmosphere_pa: float | None
    atmosphere_from: str
    stream: Stream | None
    expected: tuple[Expected, ...]
    force: StemForce | None
    missing: tuple[Sentence, ...]


def figures_of(place: Place, model: Model = Model.IDEAL) -> Figures:
    """Every figure that the files allow."""
    missing: list[Sentence] = []
    atmosphere, atmosphere_from = _atmosphere(place.point.site)
    stream = _stream(place, atmosphere, model, missing)
    expected = () if stream is None else tuple(_expected(place, stream, missing))
    force = _force(place, atmosphere, missing)
    return Figures(place, atmosphere, atmosphere_from, stream, expected, force, tuple(dict.fromkeys(missing)))


def _atmosphere(site: Site) -> tuple[float | None, str]:
    """Air pressure at the site [Pa], and where it comes from."""
    if site.atmospheric_pressure is not None:
        return absolute_pa(site.atmospheric_pressure, None), "as the file says"
    if site.altitude is not None:
        height = float(millimetres(site.altitude)) / 1000
        return standard_air_pressure_pa(height), f"standard atmosphere at {site.altitude}"
    return None, "not known"


def _stream(place: Place, atmosphere: float | None, model: Model, missing: list[Sentence]) -> Stream | None:
    point, bore = place.point, place.bore
    if bore is None:
        missing.append(Sentence("nothing of the pipe is given: no velocity; give pipe"))
        return None
    conditions = point.conditions
    if conditions is None or conditions.pressure is None or conditions.temperature is None:
        missing.append(Sentence("no velocity: give conditions: pressure and temperature"))
        return None
    try:
        fluid = fluid_of(place.fluid)
        line = state_of(conditions.temperature, conditions.pressure, atmosphere)
    except WrongUse as error:
        missing.append(Sentence("no velocity: {why}", why=told_by(error)))
        return None
    if point.reference is not None:
        reference = state_of(point.reference.temperature, point.reference.pressure, atmosphere)
    elif fluid is Fluid.WATER:
        reference = line
    else:
        missing.append(
            Sentence("no velocity: give reference, what the expected flow's volumes are referred to")
        )
        return None
    position = Position.CENTRE if place.insertion is None else place.insertion.position
    return Stream(float(bore.inside_mm) / 1000, fluid, line, reference, model, _SHARES[position])


def _expected(place: Place, stream: Stream, missing: list[Sentence]) -> Iterator[Expected]:
    conditions = place.point.conditions
    span = None if conditions is None else conditions.expected_flow
    if span is None:
        missing.append(Sentence("no velocity: give conditions: expected_flow"))
        return
    for said in (span.low, span.high):
        try:
            case = _case(stream, said)
        except WrongUse as error:
            missing.append(Sentence("no figures for {flow}: {why}", flow=said, why=told_by(error)))
            continue
        volumes = () if stream.fluid is Fluid.WATER else tuple(_volumes(stream, case))
        yield Expected(
            said, case, volumes, _fit(place, case, missing), _correction(place, case),
            _millimetre(place, case),
        )  # fmt: skip


def _case(stream: Stream, said: Quantity) -> FlowCase:
    if said.unit.dimension is Dimension.MASS_FLOW:
        return case_of_mass_flow(stream, float(per_hour(said)) / 3600)
    return case_of_reference_flow(stream, flow_m3_per_s(said, stream.reference))


def _volumes(stream: Stream, case: FlowCase) -> Iterator[tuple[Reference, Volume]]:
    for reference in SHOWN_REFERENCES:
        yield reference, converted_volume(case.line_flow, reference.state, stream.fluid, stream.model)


def _correction(place: Place, case: FlowCase) -> float:
    """The profile's factor at the sensor's place over the one that the meter applies already."""
    insertion, pipe = place.insertion, place.point.pipe
    if insertion is None or pipe is None or case.velocity_m_per_s == 0:
        return 1.0
    here = case.profile.factor(_SHARES[insertion.position])
    if "velocity profile" not in pipe.applied_in_meter:
        return here
    return here / case.profile.factor(_SHARES[insertion.calibrated_for])


def _millimetre(place: Place, case: FlowCase) -> float | None:
    insertion, bore = place.insertion, place.bore
    if insertion is None or bore is None:
        return None
    return depth_sensitivity_percent(
        case.profile.relative_velocity, float(insertion.depth_mm), float(bore.inside_mm)
    )


def _fit(place: Place, case: FlowCase, missing: list[Sentence]) -> RangeFit | None:
    """The flow against the range of velocities that the map gives."""
    velocity = None if place.map is None else _velocity_reading(place.map.readings)
    if velocity is None or velocity.range is None or velocity.unit is None:
        missing.append(Sentence("the map gives no range of velocities: not compared with the meter's range"))
        return None
    unit = unit_of(velocity.unit)
    if unit is None:
        return None
    low, high = (
        float(per_hour(Quantity(end, unit))) / 3600 for end in (velocity.range.low, velocity.range.high)
    )
    if velocity.basis is None:
        missing.append(
            Sentence("the map does not say whether its velocity is actual or at reference: taken as actual")
        )
    basis = Basis.REFERENCE if velocity.basis == "reference" else Basis.ACTUAL
    return range_fit(case, max(low, 0.0), high, basis)


def _velocity_reading(readings: tuple[Value, ...]) -> Value | None:
    for one in readings:
        unit = None if one.unit is None else unit_of(one.unit)
        if unit is not None and unit.dimension is Dimension.VELOCITY:
            return one
    return None


def _force(place: Place, atmosphere: float | None, missing: list[Sentence]) -> StemForce | None:
    pipe, conditions = place.point.pipe, place.point.conditions
    probe = None if pipe is None else pipe.probe
    pressure = None if conditions is None else conditions.pressure
    if probe is None:
        return None
    if probe.stem_diameter is None or pressure is None:
        missing.append(Sentence("no force on the stem: give probe: stem_diameter and conditions: pressure"))
        return None
    if pressure.gauge:
        over = absolute_pa(pressure, 0.0)
    elif atmosphere is None:
        missing.append(Sentence("no force on the stem: give site: atmospheric_pressure or altitude"))
        return None
    else:
        over = absolute_pa(pressure, None) - atmosphere
    return stem_force(max(over, 0.0), float(millimetres(probe.stem_diameter)))

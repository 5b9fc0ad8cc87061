"""Out-of-hours demand: what flows while the site does not produce, and what that costs.

It is no measure of leakage: it holds dryer purge, drains and machines left open too. It counts only while
the pressure is in its band, because a network that is shut off or running empty has no demand to speak of.
"""

from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from protocols.units import Quantity, unit_of
from readout.measuring_point.conversion import converted
from readout.measuring_point.model import Energy, WorkCalendar
from readout.review.about.installation import plain_unit
from readout.review.rows.minutes import Values
from readout.sentence import Sentence

HOURS_A_YEAR = 8760
#: From the isentropic work per volume: exponent of air [(k-1)/k, k = 1.4].
_EXPONENT = 0.4 / 1.4
#: What a specific power counts, by the job file's word.
_INPUTS = {
    None: Sentence("electrical input"),
    "package": Sentence("electrical input (package input)"),
    "shaft": Sentence("electrical input (shaft input)"),
    "motor": Sentence("electrical input (motor input)"),
}


@dataclass(frozen=True, slots=True)
class Demand:
    """`mean` flow over `counted_s` seconds out of hours with the pressure in `band` (its unit).

    Of the minutes that have rows, `out_of_band_s` were measured and left out, `unmeasured_s` have no flow or
    no pressure. `share` is out of hours over all of those minutes, 0 to 1. Without a
    pressure `band` is None.
    """

    unit: str | None
    mean: float | None
    counted_s: float
    out_of_band_s: float
    unmeasured_s: float
    share: float
    band: tuple[float, float] | None
    amount: float


def demand(
    flow: Values, pressure: Values | None, in_hours: NDArray[np.bool_], band: tuple[float, float] | None,
    unit: str | None,
) -> Demand:  # fmt: skip
    """From minutes [n]: `in_hours` by the calendar, `band` in the pressure's unit."""
    out = ~in_hours
    measured = out & (flow.seconds > 0)
    kept = counted(flow, pressure, in_hours, band)
    unknown = np.zeros(len(out), np.bool_)
    if pressure is not None and band is not None:
        unknown = measured & ~(pressure.seconds > 0)
    seconds, amount = float(flow.seconds[kept].sum()), float(flow.integral[kept].sum())
    return Demand(
        unit=unit,
        mean=amount / seconds if seconds else None,
        counted_s=seconds,
        out_of_band_s=float(flow.seconds[measured & ~kept & ~unknown].sum()),
        unmeasured_s=float(out.sum() * 60.0 - flow.seconds[out & ~unknown].sum()),
        share=float(out.mean()) if len(out) else 0.0,
        band=band if pressure is not None else None,
        amount=amount,
    )


def counted(
    flow: Values, pressure: Values | None, in_hours: NDArray[np.bool_], band: tuple[float, float] | None
) -> NDArray[np.bool_]:
    """Minutes [n] whose flow is out-of-hours demand: measured, out of hours, the pressure in its band."""
    measured = ~in_hours & (flow.seconds > 0)
    if pressure is None or band is None:
        return measured
    with np.errstate(invalid="ignore"):
        return measured & (pressure.means >= band[0]) & (pressure.means <= band[1])


@dataclass(frozen=True, slots=True)
class Cost:
    """What a steady flow costs; `an_hour` and `a_year` in `currency`.

    `a_year` is for all `hours` in which the network is under pressure; `a_year_out_of_hours` for the share of
    them that is out of hours. `formula` has the numbers in it. Nothing here is a saving: no flow can be cut
    to nothing, and compressors at part load do not give back what a flow took.
    """

    currency: str
    an_hour: float
    a_year: float
    a_year_out_of_hours: float
    hours: float
    energy_kwh_a_year: float
    carbon_kg_a_year: float | None
    specific_power: Sentence
    specific_power_reference: Sentence
    formula: Sentence
    warnings: tuple[Sentence, ...]


def cost(
    flow: float, unit: str, share: float, energy: Energy | None, calendar: WorkCalendar | None,
    atmosphere: Quantity | None = None,
) -> Cost | Sentence:  # fmt: skip
    """The cost of `flow` in `unit`, or what is missing to tell it, as a sentence."""
    if energy is None or energy.specific_power is None or energy.price is None:
        return Sentence("the job file gives no specific power, or no price: no cost is told")
    flow_unit, cubic = unit_of(plain_unit(unit)), unit_of("m3/min")
    assert cubic is not None
    if flow_unit is None or flow_unit.dimension is not cubic.dimension or flow_unit.conditional:
        return Sentence("a flow in {unit} has no cost by a specific power of a volume flow", unit=unit)
    specific = _in(energy.specific_power, "kW/(m3/min)")
    if energy.price.per != "kWh":
        return Sentence("a price per {per} is not one per kWh", per=energy.price.per)
    number = Quantity(Decimal(repr(flow)), flow_unit)
    cubic_metres = float(converted(number, cubic))
    told = None if calendar is None else calendar.pressurised_hours_per_year
    hours = float(told or HOURS_A_YEAR)
    price, kilowatt = float(energy.price.amount), cubic_metres * specific
    carbon = None if energy.carbon is None else _in(energy.carbon, "kg/kWh")
    return Cost(
        currency=energy.price.currency,
        an_hour=kilowatt * price,
        a_year=kilowatt * hours * price,
        a_year_out_of_hours=kilowatt * hours * share * price,
        hours=hours,
        energy_kwh_a_year=kilowatt * hours,
        carbon_kg_a_year=None if carbon is None else kilowatt * hours * carbon,
        specific_power=Sentence("{power}", power=energy.specific_power),
        specific_power_reference=_reference(energy),
        formula=Sentence(
            "{flow:.4g} m3/min × {specific:.4g} kW/(m3/min) × {hours:g} h/a × {price} {currency}/kWh",
            flow=cubic_metres,
            specific=specific,
            hours=hours,
            price=energy.price.amount,
            currency=energy.price.currency,
        ),
        warnings=tuple(_warnings(energy, specific, atmosphere)),
    )


def _in(quantity: Quantity, word: str) -> float:
    unit = unit_of(word)
    assert unit is not None
    return float(converted(quantity, unit))


def _reference(energy: Energy) -> Sentence:
    at = Sentence("a pressure not said") if energy.at is None else energy.at
    return Sentence(
        "{power} over free air delivered at {at}; free air is at the compressor's inlet"
        " conditions, the flow at the meter's reference: they are not converted into each other",
        power=_INPUTS[energy.basis], at=at,
    )  # fmt: skip


def _warnings(energy: Energy, specific: float, atmosphere: Quantity | None) -> list[Sentence]:
    if energy.at is None:
        return []
    inlet = 1.0 if atmosphere is None else _in(atmosphere, "bar")
    floor = isentropic_floor(_in(energy.at, "bar") + (0.0 if energy.at.gauge is False else inlet), inlet)
    if specific >= floor:
        return []
    told = Sentence(
        "{specific:.3g} kW/(m3/min) is below the isentropic work of {floor:.3g} kW/(m3/min):"
        " no compressor needs so little; check the specific power and what its air refers to",
        specific=specific, floor=floor,
    )  # fmt: skip
    return [told]


def isentropic_floor(outlet_bar: float, inlet_bar: float = 1.0) -> float:
    """Least specific power [kW/(m3/min)] from absolute pressures [bar], air as an ideal gas, k = 1.4.

    3.5 p₁ ((p₂/p₁)^0.2857 − 1) per volume at the inlet: 4.73 kW/(m3/min) at 7 bar(g) from 1 bar.
    """
    work_kj = 100 * inlet_bar / _EXPONENT * ((outlet_bar / inlet_bar) ** _EXPONENT - 1)
    return float(work_kj / 60)

"""Pressures below vacuum and temperatures below absolute zero."""

from protocols.register_map.faults import Report
from protocols.register_map.forms import Entries, Key
from protocols.units import Quantity
from readout.measuring_point import grammar as k
from readout.measuring_point.checks.plain import (
    ABSOLUTE_ZERO,
    STANDARD_ATMOSPHERE_PA,
    absolute_pascals,
    pascals,
)
from readout.sentence import Sentence


def check_conditions(conditions: Entries | None, site: Entries | None, report: Report) -> None:
    """What cannot be in a pipe; a gauge pressure is judged with the site's air pressure, else 1.01325 bar."""
    if conditions is None:
        return
    around = None if site is None else site.get(k.ATMOSPHERIC_PRESSURE)
    atmosphere = STANDARD_ATMOSPHERE_PA if around is None else pascals(around)
    pressure = conditions.get(k.PRESSURE)
    if pressure is not None and absolute_pascals(pressure, atmosphere) <= 0:
        wrong = Sentence(
            "{pressure} is below vacuum; more than {least} bar(g), {whose} air pressure, or more than 0"
            " bar(a)",
            pressure=pressure,
            least=-atmosphere / 100000,
            whose=Sentence("the site's") if around is not None else Sentence("the standard"),
        )
        report.fault(conditions.at(k.PRESSURE), wrong)
    check_temperature(conditions, k.TEMPERATURE, report)


def check_temperature(entries: Entries | None, key: Key[Quantity], report: Report) -> None:
    """A temperature must be above absolute zero."""
    found = None if entries is None else entries.get(key)
    if entries is not None and found is not None and found.number <= ABSOLUTE_ZERO[found.unit.word]:
        least = Quantity(ABSOLUTE_ZERO[found.unit.word], found.unit)
        wrong = Sentence("{found} is below absolute zero; more than {least}", found=found, least=least)
        report.fault(entries.at(key), wrong)

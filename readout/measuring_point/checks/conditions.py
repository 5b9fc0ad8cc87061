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


def check_conditions(conditions: Entries | None, site: Entries | None, report: Report) -> None:
    """What cannot be in a pipe; a gauge pressure is judged with the site's air pressure, else 1.01325 bar."""
    if conditions is None:
        return
    around = None if site is None else site.get(k.ATMOSPHERIC_PRESSURE)
    atmosphere = STANDARD_ATMOSPHERE_PA if around is None else pascals(around)
    pressure = conditions.get(k.PRESSURE)
    if pressure is not None and absolute_pascals(pressure, atmosphere) <= 0:
        said = "the site's" if around is not None else "the standard"
        least = f"more than -{atmosphere / 100000} bar(g), {said} air pressure, or more than 0 bar(a)"
        report.fault(conditions.at(k.PRESSURE), f"{pressure} is below vacuum; {least}")
    check_temperature(conditions, k.TEMPERATURE, report)


def check_temperature(entries: Entries | None, key: Key[Quantity], report: Report) -> None:
    """A temperature must be above absolute zero."""
    found = None if entries is None else entries.get(key)
    if entries is not None and found is not None and found.number <= ABSOLUTE_ZERO[found.unit.word]:
        least = f"{ABSOLUTE_ZERO[found.unit.word]} {found.unit.word}"
        report.fault(entries.at(key), f"{found} is below absolute zero; more than {least}")

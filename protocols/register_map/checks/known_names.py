"""Settings and identity by which a meter is compared with its point file: only under their own names."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from protocols.register_map.build.numbers import Built
from protocols.register_map.faults import Report
from protocols.register_map.model import Kind
from protocols.units import Dimension, unit_of


@dataclass(frozen=True, slots=True)
class KnownName:
    """What is looked for under a name: words that other names for it have, and the dimension of its unit.

    `coded`: its number has words; `moment`: it is a time of day.
    """

    words: Sequence[str]
    dimension: Dimension | None
    what_for: str
    coded: bool = False
    moment: bool = False


#: Settings that are compared; docs/maps.md lists them. Words of other names in English, German and French.
SETTINGS: Mapping[str, KnownName] = {
    "inside_diameter": KnownName(
        ("diameter", "bore", "pipe_id", "durchmesser", "diametre"),
        Dimension.LENGTH,
        "is the meter's diameter compared with the pipe's"
    ),
    "damping": KnownName(
        ("damping", "filter", "smoothing", "time_constant", "daempfung", "dampfung", "amortissement"),
        Dimension.TIME,
        "is damping held against the interval of recording",
    ),
    "low_flow_cut_off": KnownName(
        ("cut_off", "cutoff", "low_flow", "creep", "schleichmenge", "debit_de_fuite"), Dimension.VELOCITY,
        "is the cut-off held against the lowest flow that is expected",
    ),
    "log_interval": KnownName(
        (
            "log_interval", "logging_interval", "record_interval", "recording_interval", "sample_interval",
            "intervall", "intervalle",
        ),
        Dimension.TIME, "is it known how long the meter's memory lasts",
    ),
    "gas": KnownName(
        ("gas", "fluid", "medium"), None, "is the gas that the meter is set for compared with the point's",
        coded=True,
    ),
    "clock": KnownName(
        ("time", "date", "zeit", "uhr", "datum", "heure", "horloge", "rtc", "clock"), None,
        "is the meter's clock compared with the computer's", moment=True,
    ),
}  # fmt: skip
IDENTITY: Mapping[str, KnownName] = {
    "serial_number": KnownName(("serial",), None, "is a meter told from another of its kind"),
}


def hint_at_known_names(given: Sequence[Built], known: Mapping[str, KnownName], report: Report) -> None:
    """Warn of a value that is probably what a known name stands for, where nothing bears that name."""
    there = {built.value.name for built in given}
    for name in sorted(known.keys() - there):
        about = known[name]
        for built in given:
            if _may_be(built, about) and built.value.name not in known:
                report.warn(
                    built.name,
                    f"'{built.value.name}' may be what is called {name} here: only under that name "
                    f"{about.what_for}",
                    "another name for it",
                )
                break


def _may_be(built: Built, about: KnownName) -> bool:
    value = built.value
    if not any(word in value.name for word in about.words):
        return False
    if about.coded or about.moment:
        moment = value.number.kind in (Kind.UNIX_TIME, Kind.CALENDAR)
        return moment if about.moment else bool(value.codes) and "unit" not in value.name
    unit = None if built.value.unit is None else unit_of(built.value.unit)
    return about.dimension is None or (unit is not None and unit.dimension is about.dimension)

"""The comparison for a meter that has just told its settings, with what is known of it then."""

from protocols.register_map.model import RegisterMap
from readout.errors import WrongUse
from readout.measuring_point.comparison.compare import Finding, compare
from readout.measuring_point.comparison.told import Settings
from readout.measuring_point.model import MeasuringPoint
from readout.measuring_point.pipe.bore import Bore, bore_of


def findings(
    point: MeasuringPoint,
    found: RegisterMap,
    settings: Settings,
    clock_offset_s: float | None,
    every_ms: int | None,
) -> list[Finding]:
    """What `compare` finds, rows or records coming every so many ms, if not as the point file says.

    A pipe of the user's own list is left out, since that file is not read here.
    """
    every_s = None if every_ms is None else every_ms / 1000
    return compare(point, found, settings, _bore(point), clock_offset_s=clock_offset_s, every_s=every_s)


def _bore(point: MeasuringPoint) -> Bore | None:
    if point.pipe is None or point.pipe.table is not None:
        return None
    try:
        return bore_of(point.pipe, point.uncertainty.get("inside_diameter"))
    except WrongUse:
        return None

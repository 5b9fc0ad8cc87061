"""Whether the meter that answers is the point's own, by its serial number: for commands that only read."""

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from readout.bus.exchange import Line
    from readout.clock import Clock
    from readout.daemon.points import PointToRecord
    from readout.poll.introduction import Introduction
    from readout.poll.learning import Learner

_SERIAL_NUMBER = "serial_number"


def another_answers(line: "Line", point: "PointToRecord", learner: "Learner", clock: "Clock") -> str:
    """A sentence where another meter answers than the point file says; empty where it is the point's own.

    Empty too where point file or map know no serial number, or the meter does not tell it now.
    """
    from readout.poll.introduction import introduce

    named = tuple(one for one in point.map.identity if one.name == _SERIAL_NUMBER)
    if point.point.meter.serial_number is None or not named:
        return ""
    asks = replace(point.map, identity=named, settings=(), readings=())
    told = introduce(
        line, asks, point.format, point.unit_address, point.polled.manners, clock, learner.knowledge
    )
    return another_told(point, told, "These are its values, not those")


def another_told(point: "PointToRecord", told: "Introduction", these: str) -> str:
    """The same of a meter that has told of itself; `these` is what was shown: `These are …, not those`."""
    from readout.meter.differences import is_another

    if not is_another(point.point, told.meter):
        return ""
    return (
        f"ANOTHER METER answers: serial number {told.meter[_SERIAL_NUMBER]} instead of "
        f"{point.point.meter.serial_number}. {these} of this point's meter. See unit "
        "address and cable; if the meter was exchanged, write its serial number into the point file."
    )

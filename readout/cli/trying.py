"""What commands share that try a map on a meter: its line, its questions, why an answer did not come."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from readout.errors import FellShort, NothingTrusted, PortError, WrongUse

if TYPE_CHECKING:
    from protocols.modbus.requests import ReadRequest, Request
    from protocols.modbus.timing import SerialFormat
    from protocols.register_map.model import RegisterMap
    from readout.bus.exchange import Line, Manners
    from readout.bus.outcome import Outcome
    from readout.clock import Clock


@dataclass
class Asking:
    """Sends requests to one meter and remembers why the last one brought nothing."""

    line: "Line"
    unit: int
    manners: "Manners"
    format: "SerialFormat"
    _refused: "Outcome | None" = None
    _good: int = 0

    def words(self, request: "Request") -> Sequence[int] | None:
        """The words of the reply; None where none came that could be trusted."""
        from protocols.log_memory.walk.reading import words_of
        from readout.bus.outcome import Status

        if request.WRITES:
            outcome = self.line.write_checked(self.unit, request, self.manners, absolute=True)
        else:
            outcome = self.line.ask(self.unit, request, self.manners)
        outcome = self._noted(outcome)
        return words_of(outcome.reply) if outcome.status is Status.OK else None

    def read(self, request: "ReadRequest", words_per_address: int = 1) -> "Outcome":
        """One read of registers or bits with so many 16-bit words behind each address."""
        manners = replace(self.manners, words_per_address=words_per_address)
        return self._noted(self.line.read(self.unit, request, manners))

    def why(self) -> str:
        """The sentence of the last reply that brought nothing."""
        return "" if self._refused is None else self._refused.text

    def fitting(self, text: str) -> FellShort | NothingTrusted:
        """The error for a meter of which nothing, or nothing that could be trusted, came."""
        from readout.bus.outcome import Status

        untrusted = (Status.DAMAGED_REPLY, Status.WRONG_REPLY)
        if not self._good and self._refused is not None and self._refused.status in untrusted:
            return NothingTrusted(text)
        return FellShort(text)

    def _noted(self, outcome: "Outcome") -> "Outcome":
        from readout.bus.outcome import Status

        if outcome.status is Status.PORT_LOST:
            raise PortError("lost", outcome.text)
        if outcome.status is Status.OK:
            self._good += 1
        else:
            self._refused = outcome
        return outcome


@contextmanager
def asking(
    found: "RegisterMap", port: str, unit: int, baud: int | None, clock: "Clock", trace: Path | None
) -> Iterator[Asking]:
    """The meter of a map on its open line, which is closed at the end.

    A `FellShort` raised inside becomes `NothingTrusted` where replies came and none was good.
    """
    from readout.bus.exchange import Line, Manners
    from readout.bus.port import open_port
    from readout.bus.trace import Trace
    from readout.measuring_point.load import factory_format

    line_format = factory_format(found, baud)
    wire = found.wire
    manners = Manners(wire.reply_within, wire.late_within, wire.pause, tolerate=wire.tolerate)
    kept = Trace(trace, clock) if trace else None
    try:
        line = Line(open_port(port, line_format), line_format, clock, kept)
        meter = Asking(line, unit, manners, line_format)
        try:
            yield meter
        except FellShort as error:
            raise meter.fitting(str(error)) from error
        finally:
            line.close()
    finally:
        if kept:
            kept.close()


def unit_of_meter(found: "RegisterMap", given: int | None) -> int:
    """The unit address: the one given, else the map's; WrongUse where there is none."""
    unit = given or found.serial.unit_address
    if unit is None:
        raise WrongUse("the map says no unit_address; give one with --unit-address")
    return unit

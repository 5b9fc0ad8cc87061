"""One meter on an open line, as settings need it: words of a value read, words of a value written once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Protocol

from protocols.log_memory.state import covering
from protocols.modbus import limits
from protocols.modbus.exceptions import ExceptionCode
from protocols.modbus.requests import ReadRequest, Request, WriteCoil, WriteRegister, WriteRegisters
from protocols.modbus.tables import Table
from protocols.register_map.model import Column, Value, Wire
from readout.bus.exchange import Manners
from readout.bus.outcome import Outcome, Status
from readout.errors import FellShort, NothingTrusted, PortError, WrongUse

#: What a meter does not like, in words a technician can act on.
_REFUSALS: Mapping[int, str] = {
    ExceptionCode.ILLEGAL_FUNCTION: "it cannot be written this way; see write_with in the map's wire",
    ExceptionCode.ILLEGAL_DATA_ADDRESS: "it has no such register to write; see its manual",
    ExceptionCode.ILLEGAL_DATA_VALUE: "it does not take this value; its manual may allow less than the map",
    ExceptionCode.DEVICE_FAILURE: "it failed to do so; it may refuse while it records, or at its keypad only",
    ExceptionCode.BUSY: "it is busy, or locked at its keypad or by another port; try again later",
}


class SettingLine(Protocol):
    """What settings need of a line; `readout.bus.exchange.Line` is one."""

    def read(self, unit: int, request: ReadRequest, manners: Manners) -> Outcome:
        """One read of one block."""
        ...

    def write(self, unit: int, request: Request, manners: Manners) -> Outcome:
        """Tell the meter something, never twice."""
        ...

    def write_checked(self, unit: int, request: Request, manners: Manners) -> Outcome:
        """The same, an unanswered one read back before anything is decided."""
        ...


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter on its line: whom to ask, and how."""

    line: SettingLine
    unit: int
    manners: Manners
    wire: Wire

    def words_of(self, value: Value) -> dict[Column, int]:
        """The value's words as sent, now. See `trusted` for what it raises."""
        words, _ = self.heard(value)
        return words

    def heard(self, value: Value) -> tuple[dict[Column, int], Outcome]:
        """The value's words, and the outcome of the last read, whose times tell when they were true."""
        each = value.number.words // value.number.addresses
        manners = replace(self.manners, words_per_address=each)
        found: dict[Column, int] = {}
        for request in covering(value.parts(), self.wire):
            outcome = self.line.read(self.unit, request, manners)
            words = iter(trusted(outcome).words)
            for address in range(request.start, request.start + request.count):
                found |= {Column(request.table, address, word): next(words) for word in range(each)}
        return {column: found[column] for column in value.columns()}, outcome

    def write(self, words: Mapping[Column, int]) -> Outcome:
        """Write words, each request once; the outcome of the first that failed, else of the last."""
        for request in writes(words, self.wire):
            outcome = self.line.write_checked(self.unit, request, self.manners)
            if outcome.status is not Status.OK:
                break
        return outcome


def writes(words: Mapping[Column, int], wire: Wire) -> list[Request]:
    """The requests that write these words: function 5 a coil, 16 a run of registers, or 6 a register.

    WrongUse for what nobody can write: inputs, and 32 bits behind one address.
    """
    if any(column.table not in (Table.HOLDING, Table.COIL) for column in words):
        raise WrongUse("only holding registers and coils can be written; the map says that an input may be.")
    if any(column.word for column in words):
        raise WrongUse("a register of 32 bits (bytes_per_register: 4) cannot be written by this program.")
    places = sorted(words, key=lambda column: (str(column.table), column.address))
    requests: list[Request] = []
    for place in places:
        if place.table is Table.COIL:
            requests.append(WriteCoil(place.address, bool(words[place])))
        elif wire.write_with == 6:
            requests.append(WriteRegister(place.address, words[place]))
    if wire.write_with != 6:
        holding = [place.address for place in places if place.table is Table.HOLDING]
        for run in _runs(holding):
            for first in range(0, len(run), limits.WRITE_REGISTERS):
                part = run[first : first + limits.WRITE_REGISTERS]
                told = tuple(words[Column(Table.HOLDING, address)] for address in part)
                requests.append(WriteRegisters(part[0], told))
    return requests


def _runs(addresses: Sequence[int]) -> list[list[int]]:
    """Rising addresses in runs without a gap."""
    runs = groupby(enumerate(addresses), key=lambda pair: pair[1] - pair[0])
    return [[address for _, address in run] for _, run in runs]


def trusted(outcome: Outcome) -> Outcome:
    """The outcome, where it brought something that can be trusted.

    Raises:
        PortError: the port is lost.
        NothingTrusted: only damaged or wrong replies came.
        FellShort: no reply, or a refusal, which is explained.
    """
    if outcome.status is Status.OK:
        return outcome
    if outcome.status is Status.PORT_LOST:
        raise PortError("lost", outcome.text)
    if outcome.status in (Status.DAMAGED_REPLY, Status.WRONG_REPLY):
        raise NothingTrusted(outcome.text)
    raise FellShort(refusal(outcome))


def refusal(outcome: Outcome) -> str:
    """Why an outcome is none, with what a refusal may mean."""
    why = _REFUSALS.get(outcome.exception) if outcome.exception is not None else None
    return outcome.text if why is None else f"{outcome.text}\nThe meter refuses: {why}."

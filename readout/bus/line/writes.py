"""Writes whose confirmation did not come: what to read to know, and what to say while it is unknown."""

from dataclasses import replace

from protocols.modbus.requests import (
    ReadRequest,
    Request,
    WriteCoil,
    WriteCoils,
    WriteRegister,
    WriteRegisters,
)
from protocols.modbus.tables import Table
from readout.bus.hearing.manners import Heard
from readout.bus.outcome import Outcome, Status


def read_back(request: Request) -> ReadRequest | None:
    """The read of what `request` writes; None for one that is no plain write."""
    match request:
        case WriteCoil(address):
            return ReadRequest(Table.COIL, address, 1)
        case WriteRegister(address):
            return ReadRequest(Table.HOLDING, address, 1)
        case WriteCoils(start, bits):
            return ReadRequest(Table.COIL, start, len(bits))
        case WriteRegisters(start, words):
            return ReadRequest(Table.HOLDING, start, len(words))
    return None


def wrote(request: Request, words: tuple[int, ...]) -> bool:
    """Whether `words`, just read back, are what `request` writes."""
    match request:
        case WriteCoil(on=on):
            return words == (int(on),)
        case WriteRegister(word=word):
            return words == (word,)
        case WriteCoils(bits=bits):
            return words == tuple(map(int, bits))
        case WriteRegisters(words=wanted):
            return words == tuple(wanted)
    return False


def still_unknown(outcome: Outcome, read: Outcome | None = None) -> Outcome:
    """The outcome of a write that may have been carried out; `read` is what reading it back brought."""
    if read is None:
        text = "Whether it was carried out is unknown: read it back before writing again."
    elif read.status is Status.OK:
        values = " ".join(f"{word:04X}" for word in read.words[:16])
        text = f"Read back, the meter has {values}: it was not carried out, or has moved on since."
    else:
        text = f"It could not be read back either ({read.cause}): look at the meter before writing again."
    first = outcome.text.split("\n")[0]
    status = Status.NO_REPLY if outcome.status is Status.OK else outcome.status
    return replace(
        outcome, status=status, cause=Heard.UNANSWERED_WRITE, text=f"{first}\n{text}", words=(), reply=None
    )

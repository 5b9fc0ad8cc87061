"""Replies that may still come, by their shape: RTU replies carry no number, only shape tells them apart.

A request that met silence, or rubbish that cannot have been its reply, is still owed one. Until that is
settled no request may go to that unit whose reply would have the same function and length. A spacer is asked
first: a short read whose reply has another length. Meters and gateways answer in order, so a spacer answered
means that everything before it is answered, or never will be.
"""

from dataclasses import dataclass, field

from protocols.modbus.requests import ReadRequest, Request, WriteCoil, WriteRegister, WriteRegisters
from protocols.modbus.tables import Table

#: Function, and bytes of the reply; None where only the reply tells.
Shape = tuple[int, int | None]

#: Shapes kept for a unit, the newest.
KEPT = 3
#: Registers (or groups of eight bits) in a spacer, in the order tried: more than are ever in use at once.
_SIZES = (1, 2, 3, 4, 5)


def shape_of(request: Request, words: int) -> Shape:
    """The shape of the good reply; `words` registers lie behind each address."""
    length = request.reply_characters
    if words != 1 and isinstance(request, ReadRequest) and not request.table.of_bits:
        length = 5 + 2 * request.count * words
    return request.function, length


@dataclass(slots=True)
class _Unit:
    """What is known of one unit. `owed`: shape to (given up at, silent); `silent_at`: spacers that met
    silence; `known`: requests that it has answered, one of each shape."""

    owed: dict[Shape, tuple[float, bool]] = field(default_factory=dict)
    asked: set[Shape] = field(default_factory=set)
    known: dict[Shape, ReadRequest] = field(default_factory=dict)
    silent_at: dict[ReadRequest, float] = field(default_factory=dict)


class Owed:
    """The open accounts of one line. Times in monotonic seconds."""

    def __init__(self) -> None:
        self._units: dict[int, _Unit] = {}
        self._any = False  # so that a line without a fault pays nothing

    def asking(self, unit: int, shape: Shape) -> bool:
        """A request whose reply has this shape is being sent. Whether an older reply may come first."""
        account = self._units.get(unit)
        if account is None:
            account = self._units[unit] = _Unit()
        account.asked.add(shape)
        return bool(account.owed)

    def was_asked(self, unit: int, frame: bytes) -> bool:
        """Whether a reply of this frame's shape was ever asked for: then it may be an old one."""
        account = self._units.get(unit)
        shape = (frame[1] & 0x7F, len(frame))
        return account is not None and any(_alike(shape, asked) for asked in account.asked)

    def in_the_way(self, unit: int, shape: Shape, now: float) -> bool:
        """Whether a reply that may still come could be taken for one of this shape."""
        if not self._any:
            return False
        account = self._units.get(unit)
        if account is None:
            return False
        for old in [old for old, (until, _) in account.owed.items() if until <= now]:
            del account.owed[old]
        return any(_alike(shape, old) for old in account.owed)

    def silent(self, unit: int) -> bool:
        """Whether one of the open requests met silence: the meter may need a rest."""
        account = self._units.get(unit)
        return account is not None and any(silent for _, silent in account.owed.values())

    def spacer(self, unit: int, request: Request, words: int) -> tuple[ReadRequest, bool]:
        """A read that no reply still to come, and none to `request`, could be taken for the answer to.

        The shortest that this unit has answered before (True); else one register where the request reads,
        or more: some meters are silent on half a value, so then silence proves nothing (False).
        """
        account = self._units[unit]
        taken = {shape_of(request, words), *account.owed}
        table, start = _place(request)
        sizes = [8 * (size - 1) + 1 if table.of_bits else size for size in _SIZES]
        start = min(start, 0x10000 - sizes[-1])
        made = [ReadRequest(table, start, size) for size in sizes]
        known = [read for shape, read in account.known.items() if shape_of(read, words) == shape]
        candidates = [
            read
            for read in (*sorted(known, key=lambda read: read.reply_characters), *made)
            if not any(_alike(shape_of(read, words), shape) for shape in taken)
        ]
        found = min(candidates, key=lambda read: account.silent_at.get(read, float("-inf")))
        return found, found in known

    def known(self, unit: int, request: ReadRequest, shape: Shape) -> None:
        """A read that was answered, and can be asked at any time."""
        self._units[unit].known.setdefault(shape, request)

    def answered(self, unit: int, shape: Shape, *, refused: bool) -> None:
        """A fitting reply, or an exception (`refused`), came to the latest request.

        With a reply of this shape still owed it may have been the old one; and an exception has no shape: it
        may have been the answer to what came before. Then the latest request's own reply is still to come.
        """
        if not self._any or not (account := self._units[unit]).owed:
            return
        until = max(until for until, _ in account.owed.values())
        doubtful = refused or any(_alike(shape, old) for old in account.owed)
        account.owed = {shape: (until, False)} if doubtful else {}
        self._any = any(other.owed for other in self._units.values())

    def unanswered(self, unit: int, shape: Shape, now: float, patience: float, *, silent: bool) -> None:
        """Nothing came to the latest request (`silent`), or something that need not have been its reply.

        It was given up `now`, after its meter's `patience` [s], and is given as much again, behind requests
        of other shapes. What comes later still cannot be told from a reply of its shape by any program.
        """
        account = self._units[unit]
        account.owed.pop(shape, None)
        account.owed[shape] = (now + patience, silent)
        while len(account.owed) > KEPT:
            del account.owed[next(iter(account.owed))]
        self._any = True

    def spacer_silent(self, unit: int, spacer: ReadRequest, now: float) -> None:
        """A spacer met silence: another one is better next."""
        self._units[unit].silent_at[spacer] = now


def _alike(one: Shape, other: Shape) -> bool:
    return one[0] == other[0] and (one[1] == other[1] or one[1] is None or other[1] is None)


def _place(request: Request) -> tuple[Table, int]:
    """Where a spacer reads: where the request does, if that is a place in a table."""
    match request:
        case ReadRequest(table, start):
            return table, start
        case WriteCoil(address):
            return Table.COIL, address
        case WriteRegister(address) | WriteRegisters(address):
            return Table.HOLDING, address
    return Table.HOLDING, 0

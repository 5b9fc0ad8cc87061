"""Replies of functions 20 and 24 whose lengths do not add up, with a checksum that fits.

function 20     unit 14 | outer length | inner length | 06 | registers … | checksum
function 24     unit 18 | byte count, 2 bytes | register count, 2 bytes | registers … | checksum
"""

from collections.abc import Collection

from protocols.modbus.crc import with_crc
from protocols.modbus.limits import FILE_REFERENCE
from simulators.log_memory.faults.kinds import Fault
from simulators.log_memory.faults.player import MemoryFaults

_FILES, _QUEUE = 20, 24


def altered(frame: bytes, faults: MemoryFaults, touched: Collection[int]) -> bytes:
    """The reply, which tells of the `touched` records, as a meter with these faults sends it."""
    if frame[1] not in (_FILES, _QUEUE):
        return frame
    body = bytearray(frame[:-2])
    if body[1] == _FILES:
        _alter_files(body, faults, touched)
    elif faults.due(Fault.QUEUE_COUNT, touched):
        body[5] += 1
    return with_crc(bytes(body))


def _alter_files(body: bytearray, faults: MemoryFaults, touched: Collection[int]) -> None:
    if faults.due(Fault.FILE_INNER, touched):
        body[3] = (body[3] - 1) // 2 + 1
    if faults.due(Fault.FILE_OUTER, touched):
        body[2] -= 1
    if faults.due(Fault.FILE_REFERENCE, touched):
        body[4] = FILE_REFERENCE + 1
    if faults.due(Fault.FILE_ZERO, touched):
        body[2:] = bytes((2, 0, FILE_REFERENCE))

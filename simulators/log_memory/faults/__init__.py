"""Memory faults: named things that go wrong in a meter's memory, while it records or while it is read.

kinds    each fault by its name: what its number means, and what happens
parse    a text such as "window lags 2 at 40; clock step 3600 at 100" to faults, checked against the map
player   MemoryFaults: which of them is due now
frames   replies of functions 20 and 24 that do not add up
"""

from simulators.log_memory.faults.kinds import KINDS, MemoryFault, fault_table
from simulators.log_memory.faults.parse import parse_memory_faults
from simulators.log_memory.faults.player import MemoryFaults

__all__ = ["KINDS", "MemoryFault", "MemoryFaults", "fault_table", "parse_memory_faults"]

"""The log memory of a simulated meter: it records on its own clock, and tells what it holds by any way.

options    LogOptions, Past, Rows: what it holds when it is switched on
log        SimulatedLog: the whole of it, asked by the meter
recorder   Recorder: what is recorded when; start, stop, erase, cut supply
store      Store, Truth: places of records, and what a reader must find in them
records    RecordWriter, and fields Field: quantities to words
registers  extent, sessions, lock;  ways: window, registers, files, queue
"""

from simulators.log_memory.kept.store import Truth
from simulators.log_memory.log import SimulatedLog
from simulators.log_memory.options import LogOptions, Past, Rows

__all__ = ["LogOptions", "Past", "Rows", "SimulatedLog", "Truth"]

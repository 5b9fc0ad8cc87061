"""Lines played byte by byte: scripts with their times, and traces of real lines."""

from simulators.faults.scripts.meter import ScriptedMeter
from simulators.faults.scripts.script import Script, parse_script, read_script
from simulators.faults.scripts.trace import RecordedExchange, TraceMeter, parse_trace, read_trace
from simulators.faults.scripts.unplug import Unpluggable

__all__ = [
    "RecordedExchange",
    "Script",
    "ScriptedMeter",
    "TraceMeter",
    "Unpluggable",
    "parse_script",
    "parse_trace",
    "read_script",
    "read_trace",
]

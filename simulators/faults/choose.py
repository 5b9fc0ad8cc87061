"""What the text behind `--faults` means: a plan, a file with one, or a trace to be replayed."""

from pathlib import Path

from simulators.faults.parse import parse_plan, read_plan
from simulators.faults.plan import Plan
from simulators.faults.scripts.trace import TraceMeter, read_trace

TRACE = "trace:"


def read_faults(text: str) -> Plan | TraceMeter:
    """A plan; `trace:FILE` (with `#PORT` behind it where it has several): a meter that replays it.

    A text that holds a path separator, or is the name of a file, is a file with a plan. WrongFaults, which
    says where and what is allowed.
    """
    if text.startswith(TRACE):
        file, _, port = text.removeprefix(TRACE).partition("#")
        return TraceMeter(read_trace(Path(file), port or None))
    if "/" in text or "\\" in text or _is_file(text):
        return read_plan(Path(text))
    return parse_plan(text)


def _is_file(text: str) -> bool:
    try:
        return Path(text).is_file()
    except (OSError, ValueError):  # too long for a name, or with a zero in it
        return False

"""Memory faults as text: what is understood, what is refused in a sentence, what the manual lists."""

import re
from pathlib import Path
from types import SimpleNamespace

import pytest

from simulators.clock import FakeClock
from simulators.device import SimulatedMeter
from simulators.errors import WrongFaults
from simulators.log_memory import LogOptions
from simulators.log_memory.faults import KINDS, MemoryFault, fault_table, parse_memory_faults
from simulators.log_memory.faults.kinds import Fault

MANUAL = (Path(__file__).parents[3] / "docs" / "simulated-meters.md").read_text(encoding="utf-8")


def test_a_plan_says_what_how_much_how_often_and_where(logs: SimpleNamespace) -> None:
    memory = logs.map_of(logs.map_text("window")).log_memory
    text = "window lags at 40 ; busy x3 at 100\nclock step -3600.5 at 250  # by hand\n\nrefused 2 x*;halves"
    assert parse_memory_faults(text, memory) == (
        MemoryFault(Fault.WINDOW_LAGS, 2, 40),
        MemoryFault(Fault.BUSY, 0, 100, 3),
        MemoryFault(Fault.CLOCK_STEP, -3600.5, 250),
        MemoryFault(Fault.REFUSED, 2, None, None),
        MemoryFault(Fault.HALVES, 50, None, None),
    )


def test_a_fault_is_written_as_it_is_read(logs: SimpleNamespace) -> None:
    memory = logs.map_of(logs.map_text("window")).log_memory
    for fault in parse_memory_faults("window lags 3 x2 at 7; erased; clock right at 3; refused 4 x*", memory):
        assert parse_memory_faults(str(fault), memory) == (fault,)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("window lag 2", "There is no memory fault 'window lag'; did you mean 'window lags'?"),
        ("earthquake", "There is no memory fault 'earthquake'; there are pointer ignored,"),
        ("busy 3", "busy takes no number; 3 means nothing here."),
        ("layout at 3", "layout wants a number of registers behind its name."),
        ("layout 126", "a record has 1 to 125 registers, not 126."),
        ("clock step 60", "clock step wants the record it strikes"),
        ("clock reset 1969 at 1", "a meter's clock starts in 1970 to 2099, not in 1969."),
        ("refused 7", "exceptions are 1, 2, 3, 4, 5, 6, 8, 10, 11, not 7."),
        ("busy x0", "'busy x0' never happens; take it out."),
        ("busy, 3", "'busy, 3' is no memory fault; write them as in"),
        ("queue count", "the map lacks records reached by a queue"),
        ("file reference", "the map lacks records reached by files"),
        ("repeats", "the map lacks a window or queue that moves on by itself"),
        ("dummy at 0", "the map lacks a form of an empty record"),
    ],
)
def test_what_means_nothing_is_refused_in_a_sentence(logs: SimpleNamespace, text: str, sentence: str) -> None:
    memory = logs.map_of(logs.map_text("window")).log_memory
    with pytest.raises(WrongFaults, match=re.escape(sentence)):
        parse_memory_faults(text, memory)


def test_every_mistake_is_told_at_once(logs: SimpleNamespace, clock: FakeClock) -> None:
    options = LogOptions(faults="busy 3; layout; erased")
    with pytest.raises(WrongFaults) as told:
        SimulatedMeter(logs.map_of(logs.map_text("window")), clock=clock, log=options)
    assert len(str(told.value).splitlines()) == 2


def test_the_manual_lists_every_memory_fault_with_what_happens() -> None:
    assert len(fault_table()) == len(KINDS) == len(Fault)
    for written, happens in fault_table().items():
        assert f"| `{written}` | {happens} |" in MANUAL, written

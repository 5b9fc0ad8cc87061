"""Faults on a simulated line: plans, letter by letter; scripts, byte by byte; and traces, played again."""

from simulators.faults.alphabet import ALPHABET, RECOGNISABLE, Letter, Timing
from simulators.faults.parse import parse_plan, read_plan
from simulators.faults.plan import NO_FAULTS, Conditions, Fault, LetterPlan, Plan, RandomPlan, letters
from simulators.faults.player import FaultPlayer
from simulators.faults.port import Answer, InnerPort, RestlessMeter, Truth
from simulators.faults.tap import FaultTap

__all__ = [
    "ALPHABET",
    "NO_FAULTS",
    "RECOGNISABLE",
    "Answer",
    "Conditions",
    "Fault",
    "FaultPlayer",
    "FaultTap",
    "InnerPort",
    "Letter",
    "LetterPlan",
    "Plan",
    "RandomPlan",
    "RestlessMeter",
    "Timing",
    "Truth",
    "letters",
    "parse_plan",
    "read_plan",
]

"""Every kind of finding teaches: its reason, an example that has it, an example that has nothing.

The examples are checked as a user's map would be. What calls the checks is read off the source, so that a new
check without a name, or with a name that nobody explains, fails here.
"""

import ast
import re
from pathlib import Path

import pytest

from protocols.register_map.document import MOST_BYTES
from protocols.register_map.faults import Fault
from protocols.register_map.findings import FINDINGS, Finding, whole_map
from protocols.register_map.parse import parse_map

ROOT = Path(__file__).parents[3]
SOURCES = sorted((ROOT / "protocols/register_map").rglob("*.py"))
PAGE = (ROOT / "docs/findings.md").read_text(encoding="utf-8")
KINDS = list(FINDINGS.values())

#: Files that show what a few lines cannot. A file that is not there is told by the command.
FILES = {
    "too long": b"#" * (MOST_BYTES + 1),
    "not UTF-8": "register_map: 1\nmeter: Mére 5\n".encode("latin-1"),
    "empty file": b"",
    "another kind of file": b"measuring_point: 1\nname: header\n",
    "directive": b"%YAML 1.2\n---\nregister_map: 1\n",
    "more findings": b"register_map: 1\nmeter: m\nreadings:\n" + b"".join(
        b"  r%d: {coil: 0%d}\n" % (number, number) for number in range(300)
    ),
}  # fmt: skip
BY_THE_COMMAND = {"file not readable"}


def faults_of(text: str | bytes) -> tuple[Fault, ...]:
    return parse_map(text.encode() if isinstance(text, str) else text, "map.yaml").faults


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_what_is_said_to_be_right_is_taken_without_a_word(kind: Finding) -> None:
    parsed = parse_map(whole_map(kind.right).encode(), "map.yaml")
    assert [str(fault) for fault in parsed.faults] == []
    assert parsed.map is not None


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_what_is_said_to_be_wrong_has_just_this_finding(kind: Finding) -> None:
    """In its severity; where an example shows it in a few lines, the map stands after a warning alone."""
    if kind.name in BY_THE_COMMAND:
        assert not kind.wrong
        return
    assert bool(kind.wrong) != (kind.name in FILES), "an example or a file, one of the two"
    told = faults_of(whole_map(kind.wrong) if kind.wrong else FILES[kind.name])
    assert kind.name in {fault.name for fault in told}, [str(fault) for fault in told]
    assert {fault.severity for fault in told if fault.name == kind.name} == {kind.severity}
    if kind.severity == "warning":
        assert {fault.name for fault in told} == {kind.name}
        assert parse_map(whole_map(kind.wrong).encode(), "map.yaml").map is not None


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_each_says_why_in_sentences(kind: Finding) -> None:
    assert re.fullmatch(r"[a-zA-Z0-9][a-zA-Z0-9 -]{2,40}", kind.name)
    assert not kind.why[0].islower()
    assert kind.why.endswith(".")
    assert len(kind.why.split()) >= 8
    assert kind.wrong != kind.right


def test_no_two_have_one_name() -> None:
    texts = [source.read_text(encoding="utf-8") for source in SOURCES if source.parent.name == "findings"]
    assert sum(len(re.findall(r"^ {4}Finding\($", text, re.M)) for text in texts) == len(FINDINGS)


def calls() -> list[tuple[str, ast.Call]]:
    """Every place that tells a fault of a map: file and line, and the call."""
    found = []
    for source in SOURCES:
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            called = ast.unparse(node.func)
            if called == "refuse" or re.fullmatch(r"(\w+\.)*report\.(fault|warn)", called):
                found.append((f"{source.relative_to(ROOT)}:{node.lineno}", node))
    return found


def test_every_check_names_its_kind_of_finding() -> None:
    """As the last argument: a name of the list, or a variable that was set to one beside the text."""
    places = calls()
    assert len(places) > 150
    for place, call in places:
        if place.startswith("protocols/register_map/forms/base.py"):
            continue  # hands on what it was given
        wanted = 4 if ast.unparse(call.func) == "refuse" else 3
        assert len(call.args) == wanted, place
        last = call.args[-1]
        if isinstance(last, ast.Constant):
            assert last.value in FINDINGS, f"{place}: {last.value!r}"
        else:
            assert ast.unparse(last) in ("name", "found.name"), place


def test_whatever_the_manual_lists_is_what_the_program_tells() -> None:
    """docs/findings.md: each kind once, in the program's order, with its severity and its reason."""
    rows = re.findall(r"^\| ([^|]+) \| (fault|warning) \| (.+) \|$", PAGE, re.M)
    assert rows == [(kind.name, kind.severity, kind.why) for kind in KINDS]


def test_a_finding_carries_its_name_to_whoever_asked() -> None:
    (fault,) = faults_of(whole_map("flow: {input: 0100, type: float32, unit: kg/h}"))
    assert (fault.name, fault.line, fault.column) == ("leading zeros", 4, 17)


#: Odd, but meant: nothing is said.
MEANT = [
    # 65536 times the low word: a 32-bit number that a manual lists as two
    "total: {input: 10, type: uint16, unit: kg, totaliser: true, "
    "plus: [{input: 11, type: uint16, scale: 65536}]}",
    # a sum of two counters that is no total
    "power: {input: 10, type: uint32, unit: kW, plus: [{input: 12, type: uint32}]}",
    # both ends of what the register holds
    "level: {input: 10, type: uint16, scale: 0.1, unit: '%', range: [0, 6553.5]}",
    "level: {input: 10, type: int16, unit: '%', range: [-32768, 32767]}",
    # 0 is off and a few codes far apart, as the units of a display
    "state: {input: 10, type: uint16, codes: {0: off, 5: low, 17: high, 99: service}}",
    "state: {input: 10, type: uint16, codes: {0: off, 1: on, 2: standby}}",
    "flow: {input: 10, type: float32, unit: m3/h, reference: {temperature: 60 degF, pressure: 14.696 psi}}",
    "total: {input: 10, type: uint32, unit: kg, totaliser: {rolls_over_at: 1000000000}}",
    "total: {input: 10, type: uint32, scale: 0.1, unit: kg, totaliser: {rolls_over_at: 1000000000}}",
    "serial: {baud_rate: 9600, parity: none, stop_bits: 1}",
    "serial: {baud_rate: 9600, parity: none, stop_bits: 2}",
    "wire: {registers_per_read: 20, bridge: 18}",
    "filter: {input: 10, type: int16, unit: mbar, quantity: differential pressure, range: [-50, 500]}",
    "runtime: {input: 10, type: uint32, unit: h, totaliser: true}",
    "settings:\n  clock: {holding: 34, type: unix time, write: allowed}",
]


@pytest.mark.parametrize("example", MEANT)
def test_what_is_odd_but_meant_is_taken_in_silence(example: str) -> None:
    assert faults_of(whole_map(example)) == ()


#: A slip in a value, and the number or word that the warning has to say. Worked out by hand.
SLIPS = [
    ("total: {input: 1, type: uint32, unit: kg, plus: [{input: 3, type: uint16, scale: 0.001}], "
     "totaliser: {rolls_over_at: 100000000000}}",
     "begin again at 4294967360.536"),  # 4294967295 + 65.535 + 0.001
    ("temperature: {input: 1, type: int16, unit: degC, range: [-274, 60]}", "below -273.15 degC"),
    ("temperature: {input: 1, type: int16, scale: 0.001, unit: degC, range: [-40, 60]}",
     "-32.768 to 32.767"),  # 32767 thousandths
    ("temperature: {input: 1, type: uint16, scale: 0.01, offset: -40, unit: degC, range: [-50, 60]}",
     "from -40.00 to 615.35"),  # 65535 × 0.01 - 40
    ("pressure: {input: 1, type: int16, scale: 0.01, unit: bar, gauge: true, range: [-1, 20], "
     "not_available: [-1]}",
     "-0.01 lies within the range"),
    ("total: {input: 1, type: uint32, unit: kg, totaliser: true, plus: [{input: 3, type: uint16, "
     "scale: 65535}]}", "65535 of the first part's steps"),
    ("total: {input: 1, type: uint32, scale: 0.1, unit: kg, totaliser: true, plus: [{input: 3, type: uint16, "
     "scale: 0.25}]}", "2.5 of the first part's steps"),
    ("flow: {input: 1, type: float32, unit: m3/h, reference: {temperature: 293 degC, pressure: 1 bar}}",
     "293 degC is unusual"),
    ("flow: {input: 1, type: float32, unit: m3/h, reference: {temperature: 20 degC, pressure: 7 bar}}",
     "7 bar is unusual"),
    ("serial: {baud_rate: 115000}", "is it 115200?"),
    ("serial: {parity: odd, stop_bits: 2}", "a character of 12 bits"),  # start, 8, parity, 2 stop
    ("wire: {registers_per_read: 20, bridge: 19}", "18 at most"),  # 20 less the two at its ends
    ("state: {input: 1, type: uint16, codes: {2: a, 3: b, 4: c, 6: d}}", "code 5 is missing among 2 to 6"),
]  # fmt: skip


@pytest.mark.parametrize(("example", "said"), SLIPS)
def test_a_slip_is_told_with_its_numbers(example: str, said: str) -> None:
    told = faults_of(whole_map(example))
    assert [fault.severity for fault in told] == ["warning"], [str(fault) for fault in told]
    assert said in told[0].fault, told[0].fault

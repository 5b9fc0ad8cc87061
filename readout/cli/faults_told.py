"""Faults of files as commands tell them, and the exit status they lead to."""

from collections.abc import Iterable, Sequence
from textwrap import indent, wrap
from typing import TYPE_CHECKING, Any

from readout.cli.output import tell, tell_json

if TYPE_CHECKING:
    from protocols.register_map.faults import Fault
    from protocols.register_map.findings import Finding

#: Columns of a line of prose below a fault.
_WIDTH = 100


def tell_faults(faults: "Sequence[Fault]", *, as_json: bool, why: bool = False) -> int:
    """One line a fault, or one JSON list; 2 where any is worse than a warning.

    With `why` each kind of finding says, the first time it comes, why it matters and what would be right; in
    JSON each has its name, the reason and the example.
    """
    if as_json:
        tell_json([_document(fault, why=why) for fault in faults])
    else:
        told: set[str] = set()
        for fault in faults:
            tell(str(fault))
            if why and fault.name not in told:
                told.add(fault.name)
                for line in _lesson(fault):
                    tell(line)
    return 2 if any(fault.severity == "fault" for fault in faults) else 0


def _document(fault: "Fault", *, why: bool) -> dict[str, Any]:
    from protocols.register_map.findings import FINDINGS

    found = {
        "file": fault.file, "line": fault.line, "column": fault.column, "severity": fault.severity,
        "fault": fault.fault,
    }  # fmt: skip
    finding = FINDINGS.get(fault.name) if why else None
    return found if finding is None else found | {
        "name": finding.name, "why": finding.why, "right": finding.right,
    }  # fmt: skip


def _lesson(fault: "Fault") -> Iterable[str]:
    from protocols.register_map.findings import FINDINGS

    finding = FINDINGS.get(fault.name)
    if finding is not None:
        yield from wrap(f"{finding.name}: {finding.why}", _WIDTH, initial_indent="    ",
                        subsequent_indent="      ")  # fmt: skip
        yield from _example("right", finding.right)


def _example(word: str, lines: str) -> Iterable[str]:
    """An example on the word's line where it is one line, below it where it has more."""
    if "\n" not in lines:
        yield f"    {word}: {lines}"
        return
    yield f"    {word}:"
    yield indent(lines, "      ")


def tell_finding(finding: "Finding", *, as_json: bool) -> None:
    """All that is known of one kind of finding."""
    if as_json:
        tell_json(
            {
                "name": finding.name, "severity": finding.severity, "why": finding.why,
                "wrong": finding.wrong or None, "right": finding.right,
            }
        )  # fmt: skip
        return
    tell(f"{finding.name} ({finding.severity})")
    for line in wrap(finding.why, _WIDTH, initial_indent="    ", subsequent_indent="    "):
        tell(line)
    for word, lines in (("wrong", finding.wrong), ("right", finding.right)):
        for line in _example(word, lines) if lines else ():
            tell(line)

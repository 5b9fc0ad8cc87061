"""Faults of files as commands tell them, and the exit status they lead to."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from readout.cli.output import tell, tell_json

if TYPE_CHECKING:
    from protocols.register_map.faults import Fault


def tell_faults(faults: "Sequence[Fault]", *, as_json: bool) -> int:
    """One line a fault, or one JSON list; 2 where any is worse than a warning."""
    if as_json:
        tell_json(
            [
                {"file": f.file, "line": f.line, "column": f.column, "severity": f.severity, "fault": f.fault}
                for f in faults
            ]
        )
    else:
        for fault in faults:
            tell(str(fault))
    return 2 if any(fault.severity == "fault" for fault in faults) else 0

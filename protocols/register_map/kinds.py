"""Which kind of file a YAML document is, told at once instead of key by key."""

from protocols.register_map.document import Mapping
from protocols.register_map.faults import Report

#: The files of a job by their first key. A point file also has the key `job`, so it comes before that.
KINDS = {
    "register_map": "a register map", "measuring_point": "a point file", "job": "a job file",
}  # fmt: skip


def of_another_kind(root: Mapping, wanted: str, report: Report) -> bool:
    """Whether this is another file than one whose first key is `wanted`; then a fault says which."""
    there = {pair.key.text: pair.key for pair in root.pairs}
    found = next((first for first in KINDS if first in there), wanted)
    if found == wanted:
        return False
    report.fault(
        there[found],
        f"this is {KINDS[found]}, not {KINDS[wanted]}, which begins with `{wanted}: 1`",
        "another kind of file",
    )
    return True

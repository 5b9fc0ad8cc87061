"""What each kind of finding means: why it matters, an example of wrong and of right.

Read only when somebody asks: the checks name a finding in words, and polling never loads these texts.
"""

from collections.abc import Mapping

from protocols.register_map.findings import about_memory, about_numbers, about_text, about_values, odd
from protocols.register_map.findings.finding import Finding, whole_map

__all__ = ["FINDINGS", "Finding", "whole_map"]

_ALL = (
    *about_text.FINDINGS,
    *about_numbers.FINDINGS,
    *about_values.FINDINGS,
    *about_memory.FINDINGS,
    *odd.FINDINGS,
)

#: Every kind of finding by its name.
FINDINGS: Mapping[str, Finding] = {finding.name: finding for finding in _ALL}

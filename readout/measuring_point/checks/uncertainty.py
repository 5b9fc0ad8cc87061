"""Uncertainties whose parts belong together."""

from protocols.register_map.faults import Report
from protocols.register_map.forms import Entries
from readout.measuring_point import grammar as k
from readout.sentence import Sentence


def check_uncertainty(uncertain: Entries | None, report: Report) -> None:
    """A share of full scale needs the full scale; a coverage factor and a distribution exclude each other."""
    for key in () if uncertain is None else k.UNCERTAINTY_KEYS:
        found = uncertain.get(key) if uncertain is not None else None
        if isinstance(found, Entries) and found.has(k.OF_FULL_SCALE) and not found.has(k.FULL_SCALE):
            wrong = Sentence("a share of full scale needs full_scale; write such as 160 m/s")
            report.fault(found.node, wrong)
        if isinstance(found, Entries) and found.has(k.K) and found.has(k.DISTRIBUTION):
            report.fault(found.at(k.K), Sentence("k or distribution, not both; take one out"))

"""What a check says: go, no-go or to be decided, each with its reason and what to try."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Verdict(StrEnum):
    """The end of a check, and of a whole visit; a visit with something undecided is a no-go."""

    GO = "go"
    NO_GO = "no-go"
    TO_DECIDE = "to be decided"


@dataclass(frozen=True, slots=True)
class Check:
    """One check: verdict, `reason` as a sentence, `advice` where it is no go, and figures by name with unit.

    `status` is the exit status of a visit that ends here.
    """

    verdict: Verdict
    reason: str
    advice: str = ""
    found: Mapping[str, Any] = field(default_factory=dict)
    status: int = 1

    @property
    def is_go(self) -> bool:
        """Whether the visit goes on."""
        return self.verdict is Verdict.GO


def go(reason: str, **found: Any) -> Check:
    """All is well."""
    return Check(Verdict.GO, reason, found=found)


def no_go(reason: str, advice: str, *, status: int = 1, **found: Any) -> Check:
    """It cannot stay like this."""
    return Check(Verdict.NO_GO, reason, advice, found, status)


def to_decide(reason: str, advice: str, **found: Any) -> Check:
    """A person has to say whether it may stay like this."""
    return Check(Verdict.TO_DECIDE, reason, advice, found)


_ORDER = (Verdict.GO, Verdict.TO_DECIDE, Verdict.NO_GO)


def together(checks: Sequence[Check], well: str, **found: Any) -> Check:
    """Several checks as one: the worst verdict, the reasons of all that are as bad; `well` where none is."""
    worst = max((one.verdict for one in checks), key=_ORDER.index, default=Verdict.GO)
    if worst is Verdict.GO:
        return go("; ".join([well, *(one.reason for one in checks)]), **found)
    bad = [one for one in checks if one.verdict is worst]
    advice = "; ".join(dict.fromkeys(one.advice for one in bad))
    return Check(worst, "; ".join(one.reason for one in bad), advice, found)

"""Which map fits: a verdict for each by fixed rules, the best first, equals as equals, no winner invented."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from readout.diagnose.picking.answers import Given
from readout.diagnose.picking.evidence import Evidence, sentences

#: A map fits only with so many registers that could have told otherwise: fewer may be chance.
TELLING_LEAST = 3
#: What the meter's own name counts, in telling registers.
NAME_COUNTS = 20
#: A map that explains less than this share of what another explains is no equal of it.
EQUAL_SHARE = 0.5
#: Shortest names that are compared, without spaces and signs: with letters and digits, and of letters alone.
SHORT_NAME, LONG_NAME = 4, 8


class Verdict(IntEnum):
    """Best first."""

    FITS = 0
    MAY_FIT = 1
    DOES_NOT_FIT = 2

    def __str__(self) -> str:
        return self.name.lower().replace("_", " ")


@dataclass(frozen=True, slots=True)
class Name:
    """What the meter calls itself, and `how` it told so: `function 17`, `model`."""

    text: str
    how: str


@dataclass(frozen=True, slots=True)
class Ranked:
    """One map with its verdict; `weight` orders maps of the same verdict."""

    evidence: Evidence
    verdict: Verdict
    weight: int
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]

    @property
    def file(self) -> str:
        """The map's file."""
        return self.evidence.candidate.file

    @property
    def standing(self) -> tuple[int, ...]:
        """What maps are compared by: equal standings are equals."""
        found = self.evidence
        missing = len(found.of(Given.REFUSED)) + len(found.of(Given.UNANSWERED))
        return int(self.verdict), -self.weight, len(found.odd), missing


def ranked(found: Sequence[Evidence], names: Sequence[Name] = ()) -> list[Ranked]:
    """All maps, best first. `names`: what the meter calls itself, however it was asked."""
    called = {one.candidate.file: _names_of(one, names) for one in found}
    owners = {
        name: [one.candidate.file for one in found if same_name(name.text, one.candidate.map.meter)]
        for all_names in called.values()
        for name in all_names
    }
    first = [_ranked(one, called[one.candidate.file], owners) for one in found]
    best = max((one.weight for one in first if one.verdict is Verdict.FITS), default=0)
    ahead = [one.file for one in first if one.verdict is Verdict.FITS and one.weight == best]
    final = [_alone(_beside(one, best, ahead), found) for one in first]
    return sorted(final, key=lambda one: (*one.standing, one.file))


def equals(all_maps: Sequence[Ranked]) -> list[Ranked]:
    """The maps at the head that reading cannot tell apart; empty where one is alone, or none fits at all."""
    head = [one for one in all_maps if one.verdict is Verdict.FITS]
    if not head:
        head = [
            one for one in all_maps if one.verdict is Verdict.MAY_FIT and one.standing == all_maps[0].standing
        ]
    return head if len(head) > 1 else []


def same_name(told: str, meter: str) -> bool:
    """Whether a name that a meter tells is the one in a map: one within the other, signs and spaces aside."""
    short, long = sorted((_plain(told), _plain(meter)), key=len)
    mixed = any(sign.isdigit() for sign in short) and any(sign.isalpha() for sign in short)
    return len(short) >= (SHORT_NAME if mixed else LONG_NAME) and short in long


def _plain(name: str) -> str:
    return re.sub(r"[\W_]+", "", name).casefold()


def _names_of(found: Evidence, names: Sequence[Name]) -> list[Name]:
    """The meter's names as it told them, and as this map's own `model` tells it."""
    own = [
        Name(one.reading.value, "its model register")
        for one in found.sensible
        if one.value.name == "model" and one.reading is not None and isinstance(one.reading.value, str)
    ]
    return [*names, *own]


def _ranked(found: Evidence, names: Sequence[Name], owners: dict[Name, list[str]]) -> Ranked:
    speaks_for, speaks_against = sentences(found)
    file = found.candidate.file
    own = [name for name in names if file in owners[name]]
    others = [name for name in names if owners[name] and file not in owners[name]]
    weight = found.telling + (NAME_COUNTS if own else 0)
    verdict = _verdict(found, weight, contradicted=bool(others and not own))
    if own:
        speaks_for.insert(0, f'the meter calls itself "{own[0].text}" ({own[0].how}), as the map does')
    elif others and not (speaks_against and verdict is Verdict.DOES_NOT_FIT):
        whose = " and ".join(owners[others[0]])
        speaks_against.append(
            f'the meter calls itself "{others[0].text}" ({others[0].how}), which is the name in {whose}'
        )
    if weight < TELLING_LEAST and verdict is not Verdict.DOES_NOT_FIT:
        speaks_against.append(_too_little(found))
    return Ranked(found, verdict, weight, tuple(speaks_for), tuple(speaks_against))


def _verdict(found: Evidence, weight: int, *, contradicted: bool) -> Verdict:
    refused, odd = len(found.of(Given.REFUSED)), len(found.odd)
    bad, half = refused + odd, len(found.values) / 2
    if refused and refused == len(found.values):
        return Verdict.DOES_NOT_FIT
    if bad > 1 and (bad >= half or odd > len(found.sensible)):  # one alone may be a flow below its range
        return Verdict.DOES_NOT_FIT
    doubtful = refused or odd or contradicted or found.of(Given.UNANSWERED)
    return Verdict.MAY_FIT if doubtful or weight < TELLING_LEAST else Verdict.FITS


def _too_little(found: Evidence) -> str:
    if not found.checkable:
        return "it cannot be told by reading: the map has no identity, range, codes or other mark to check"
    if found.telling == 0:
        return "all that could be checked holds 0 or a small number, which tells nothing"
    only = "register holds" if found.telling == 1 else "registers hold"
    return f"only {found.telling} {only} something that could be checked, which may be chance"


def _alone(one: Ranked, found: Sequence[Evidence]) -> Ranked:
    """What the other maps' refusals say for a map whose registers are all there."""
    whole = [other.candidate.file for other in found if not other.of(Given.REFUSED)]
    if len(found) == 1 or whole != [one.file] or one.evidence.of(Given.UNANSWERED):
        return one
    alone = "it is the only one of these maps of which the meter gives every register"
    return replace(one, speaks_for=(*one.speaks_for, alone))


def _beside(one: Ranked, best: int, ahead: Sequence[str]) -> Ranked:
    """A map that fits by far less than another does is no equal of it."""
    if one.verdict is not Verdict.FITS or one.weight > EQUAL_SHARE * best or one.file in ahead:
        return one
    counted = f"{one.weight} telling registers beside {best} of {ahead[0]}"
    return replace(one, verdict=Verdict.MAY_FIT, speaks_against=(*one.speaks_against, counted))

"""Fault plans: short strings that say, letter by letter, what happens to each exchange.

    ....x..s                 the fourth reply but one is damaged, the eighth is missing; then all is well
    (...x)*                  every fourth reply is damaged, for ever
    l480*20                  twenty replies after 480 ms
    [zy].[se]                two faults on one exchange
    rest=100: .*             a meter that needs 100 ms of rest before each request
    random:7:share=0.05      five exchanges in a hundred go wrong, the same ones whenever it is played

The alphabet is `simulators.faults.alphabet`; the manual is docs/fault-plans.md.
"""

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from random import Random
from typing import NamedTuple

from simulators.faults.alphabet import ALPHABET, RECOGNISABLE

#: The exception that `!` stands for where a random plan chose it: the meter is busy.
BUSY = 6


class Fault(NamedTuple):
    """One letter with the numbers behind it."""

    letter: str
    numbers: tuple[int, ...] = ()

    def __str__(self) -> str:
        if ALPHABET[self.letter].hexadecimal:
            # Always written out: a letter behind it might be taken for a hexadecimal digit.
            return self.letter + f"{self.numbers[0] if self.numbers else BUSY:02X}"
        return self.letter + ",".join(map(str, self.numbers))


#: What happens to one exchange; empty for nothing.
Step = tuple[Fault, ...]
GOOD: Step = ()


@dataclass(frozen=True, slots=True)
class Repeat:
    """A group of steps, `times` over; None: for ever."""

    nodes: tuple["Step | Repeat", ...]
    times: int | None


@dataclass(frozen=True, slots=True)
class Conditions:
    """What holds for the whole line while a plan is played.

    `seed` makes what letters leave open. `unit`: only exchanges with this unit count, all others go well.
    `rest` [ms]: requests that begin sooner after the last byte from a meter are not heard; `change` [ms]:
    the same where the frame before belonged to another unit.
    """

    seed: int = 0
    unit: int | None = None
    rest: int = 0
    change: int = 0


@dataclass(frozen=True, slots=True)
class LetterPlan:
    """A plan written letter by letter: `nodes` once, then all goes well."""

    conditions: Conditions
    nodes: tuple[Step | Repeat, ...]

    def steps(self) -> Iterator[Step]:
        """From the start; never ends."""
        yield from _played(self.nodes)
        yield from itertools.repeat(GOOD)


def _played(nodes: tuple[Step | Repeat, ...]) -> Iterator[Step]:
    for node in nodes:
        if not isinstance(node, Repeat):
            yield node
            continue
        rounds = itertools.repeat(None) if node.times is None else range(node.times)
        for _ in rounds:
            yield from _played(node.nodes)


@dataclass(frozen=True, slots=True)
class RandomPlan:
    """Faults by chance, the same ones for the same `conditions.seed`.

    `share` of the exchanges (0 to 1) meet one of `faults`, each as likely as it is often listed.
    `exchanges`: how many there are before all goes well; None: no end.
    """

    conditions: Conditions
    share: float
    faults: tuple[Fault, ...]
    exchanges: int | None = None

    def steps(self) -> Iterator[Step]:
        """From the start; never ends."""
        chance = Random(self.conditions.seed)
        counted = itertools.count() if self.exchanges is None else range(self.exchanges)
        kinds = [(fault,) for fault in self.faults]
        for _ in counted:
            yield chance.choice(kinds) if chance.random() < self.share else GOOD
        yield from itertools.repeat(GOOD)


Plan = LetterPlan | RandomPlan

#: A plan in which nothing happens.
NO_FAULTS = LetterPlan(Conditions(), ())
DEFAULT_SHARE = 0.05
DEFAULT_FAULTS = tuple(Fault(letter) for letter in RECOGNISABLE)


def letters(plan: Plan, count: int) -> str:
    """The first `count` steps as a letter plan, to be looked at or to be played on its own."""
    return "".join(map(_step_text, itertools.islice(plan.steps(), count)))


def _step_text(step: Step) -> str:
    if len(step) == 1:
        return str(step[0])
    return "[" + "".join(map(str, step)) + "]" if step else "."


def alphabet_table() -> Mapping[str, str]:
    """Each letter with what stands behind it (in brackets: may), and what happens: the manual's table."""
    found = {}
    for letter, kind in ALPHABET.items():
        numbers = ",".join(limit.meaning for limit in kind.numbers)
        if kind.hexadecimal:
            found[f"{letter}{numbers}"] = kind.happens
        else:
            found[f"{letter}[{numbers}]" if numbers else letter] = kind.happens
    return found

"""Readings whose unit the meter tells, row by row: one figure stands only for one unit."""

from collections.abc import Mapping, Sequence

from readout.sentence import Sentence, joined


def changed(told: Mapping[str, Sequence[str]]) -> set[str]:
    """The readings with more than one unit in the period."""
    return {name for name, words in told.items() if len(words) > 1}


def mixed_units(told: Mapping[str, Sequence[str]]) -> Sentence | None:
    """A caution that names the readings that have no figures for that; None where each has one unit."""
    found = sorted(changed(told))
    if not found:
        return None
    return Sentence(
        "The meter was set to another unit meanwhile: {readings}. Over both there is no figure; take a period"
        " with one of them (`--from`, `--until`).",
        readings=joined(", ", [_reading(name, told[name]) for name in found]),
    )


def _reading(name: str, words: Sequence[str]) -> Sentence:
    return Sentence("{name} in {units}", name=name, units=joined(", ", words))

"""Rows of one point and source whose values come from maps that differ: figures then mix two kinds."""

from collections.abc import Sequence
from itertools import pairwise

from readout.review.about.installation import MEMORY, Installation
from readout.sealing.otherwise import Otherwise, decoded_otherwise, values_of
from readout.sealing.table import map_of
from readout.sentence import Sentence, joined


def mixed_maps(installations: Sequence[tuple[int, Installation]]) -> Sentence | None:
    """A caution that names the readings; None where all maps decode them alike.

    `installations`: (valid from [ms since 1970 UTC], what was true), ascending.
    """
    texts = {about.map_sha256: about.map_text for _, about in installations}
    if len(texts) < 2:
        return None
    source = MEMORY if installations[0][1].source == MEMORY else "live"
    maps = [map_of(text) for text in texts.values()]
    found: dict[str, Otherwise] = {}
    for before, now in pairwise(maps):
        for one in decoded_otherwise(values_of(before, source), values_of(now, source)):
            found.setdefault(one.name, one)
    if not found:
        return None
    return Sentence(
        "The rows were decoded by maps that differ in {readings}: means and totals over them mix both."
        " Decode them again by the right map: `pipeledger archive redecode`.",
        readings=joined(", ", map(_reading, found.values())),
    )


def _reading(one: Otherwise) -> Sentence:
    if one.before is None or one.now is None:
        return Sentence("{name} ({key})", name=one.name, key=one.key)
    return Sentence("{name} ({key} {before}, then {now})", name=one.name, key=one.key, before=one.before,
                    now=one.now)  # fmt: skip

"""Where the meter was set otherwise than the point file says, and whether figures are corrected for it."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from protocols.units import Dimension
from readout.measuring_point.comparison.compare import SAME_SHARE, Finding
from readout.measuring_point.comparison.telling import findings
from readout.measuring_point.comparison.told import told_quantity
from readout.report.content.blocks import Text
from readout.report.language.words import Words
from readout.review.about.amended import put_right
from readout.review.about.installation import Installation
from readout.review.figures.corrections import factors
from readout.review.review import Review
from readout.sealing.table import map_of

DIAMETER = "inside_diameter"


def disagreements(found: Review, words: Words) -> Iterator[Text]:
    """One text for each difference; with its time where not all of the period is alike.

    Settings and point file are those that the archive keeps, with the amendments that held then.
    """
    moments, end = _moments(found), found.coverage.end_ms
    told: list[tuple[int, list[Text]]] = []
    for begin in moments:
        texts = list(_at(found, begin, words))
        if not told or told[-1][1] != texts:
            told.append((begin, texts))
    if len(told) == 1:
        yield from told[0][1]
        return
    zone = found.installation.zone
    for (begin, texts), (until, _) in pairwise([*told, (end, [])]):
        for one in texts:
            spanned = words(
                "From {begin} until {end}: {told}",
                begin=words.moment(begin, zone), end=words.moment(until, zone), told=one.text,
            )  # fmt: skip
            yield Text(spanned, one.weight)


def _moments(found: Review) -> list[int]:
    """When anything may have become otherwise: an installation, an amendment [ms since 1970 UTC]."""
    first, end = found.coverage.begin_ms, found.coverage.end_ms
    changed = [at for at, _ in found.measured.installations]
    changed += [one.from_ms for one in found.book.amendments]
    return [first, *sorted({at for at in changed if first < at < end})]


def _at(found: Review, moment: int, words: Words) -> Iterator[Text]:
    """What held at a moment."""
    held = [about for at, about in found.measured.installations if at <= moment]
    about = held[-1] if held else found.measured.installations[0][1]
    by = factors(found.corrections, np.array([moment], np.int64))
    factor = 1.0 if by is None else float(by[0])
    right = put_right(about, found.book.amendments, moment + 1).about
    differences = _findings(right, found.measured.interval_ms)
    for one in differences:
        yield _told(one, factor, words)
    if factor != 1 and _is_set_right(right, differences):
        text = (
            "The meter computes with the pipe's own inside diameter, and the figures on this page are"
            " multiplied by {factor} all the same: see the corrections."
        )
        yield Text(words(text, factor=words.number(factor)), "strong")


def _findings(about: Installation, every_ms: int) -> list[Finding]:
    point = about.measuring_point
    if point is None:
        return []
    return findings(point, map_of(about.map_text), about.settings, None, every_ms)


def _is_set_right(about: Installation, differences: Sequence[Finding]) -> bool:
    """Whether both diameters are known and the same."""
    if about.pipe is None or about.pipe.table is not None:
        return False
    told = told_quantity(about.settings, DIAMETER, Dimension.LENGTH)
    return told is not None and not any(
        one.setting == DIAMETER and one.effect_percent is not None for one in differences
    )


def _told(one: Finding, factor: float, words: Words) -> Text:
    """The factor of the ledger is to a wrong diameter; nothing else is corrected on the page."""
    difference = words(one.text)
    if one.setting == DIAMETER and one.effect_percent is None:  # file against meter: the pipe's decides
        return Text(words("The meter's settings: {difference}.", difference=difference), "strong")
    if one.setting != DIAMETER or one.effect_percent is None or factor == 1:
        text = "The meter's settings: {difference}. The figures on this page are not corrected for it."
        return Text(words(text, difference=difference), "strong")
    wanted = 1 / (1 + one.effect_percent / 100)
    if abs(factor / wanted - 1) <= 2 * SAME_SHARE:  # the flow goes with the square of the diameter
        text = (
            "The meter computes with another inside diameter than the pipe's; the figures on this page are"
            " corrected for it already, see the corrections."
        )
        return Text(words(text))
    text = (
        "The meter's settings: {difference}. The figures on this page are corrected for it by a factor of"
        " {factor}, and {wanted} would be right."
    )
    numbers = {"factor": words.number(factor), "wanted": words.number(wanted)}
    return Text(words(text, difference=difference, **numbers), "strong")

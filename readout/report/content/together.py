"""Several points side by side: table, picture, sum or difference; and two sources of one point compared."""

import math
from collections.abc import Iterator, Sequence

from readout.report.content.blocks import Item, Table, Text
from readout.report.content.pictures.over_time import side_by_side
from readout.report.content.sections import at_conditions
from readout.report.language.words import Words, plain
from readout.review.document import mains_first, relative_uncertainty
from readout.review.review import Review
from readout.review.several import Agreement, Together, agreement, together


def points_together(found: Sequence[Review], words: Words) -> list[Item]:
    """Nothing of one point from one source."""
    live = [one for one in found if one.installation.source == "live" and one.flow is not None]
    items: list[Item] = []
    if len(live) > 1:
        flows = mains_first(live)
        shares = [relative_uncertainty(one) for one in flows]
        both = together(flows, shares)
        if isinstance(both, str):
            items.append(Text(words("Several points: {why}.", why=words(both)), "strong"))
        else:
            widths = [
                None if share is None else abs(mean) * share
                for mean, share in zip(both.means, shares, strict=True)
            ]
            items += _side_by_side(flows, both, widths, words)
    return [*items, *_sources(found, words)]


def _side_by_side(
    flows: Sequence[Review], both: Together, widths: Sequence[float | None], words: Words
) -> Iterator[Item]:
    """`widths`: the expanded uncertainty of each mean, in its unit; None where it is not known."""
    yield Text(_difference(flows[0].installation.role, both, widths, words), "strong")
    if both.verdict:
        yield Text(words("Whether they differ {verdict}.", verdict=words(both.verdict)), "strong")
    yield _means(flows, both, widths, words)
    yield side_by_side(flows, words)


def _difference(role: str | None, both: Together, widths: Sequence[float | None], words: Words) -> str:
    """The first point, where its `role` says mains, against the others together; else the sum of all."""
    unit = words.unit(both.unit, "")
    first, *rest = map(plain, both.points)
    fields = {
        "first": first, "rest": ", ".join(rest), "unit": unit, "difference": words.number(both.difference),
        "half": _half(both.difference_uncertainty, unit, words),
    }  # fmt: skip
    if role != "header flow":
        return words(
            "All points together: {sum} {unit} ({half}); {first} less {rest}: {difference} {unit} ({half}).",
            sum=words.number(both.sum), **fields,
        )  # fmt: skip
    branches = None if None in widths[1:] else math.hypot(*(one for one in widths[1:] if one is not None))
    return words(
        "{first}: {mains} {unit}; the others together: {sum} {unit} ({sum_half}); difference"
        " {difference} {unit} ({half}).",
        mains=words.number(both.means[0]), sum=words.number(both.sum - both.means[0]),
        sum_half=_half(branches, unit, words), **fields,
    )  # fmt: skip


def _means(flows: Sequence[Review], both: Together, widths: Sequence[float | None], words: Words) -> Table:
    """A row for each point: its mean with its uncertainty, completeness and total."""
    rows = [
        (
            plain(one.installation.point), words(one.installation.role or "–"), words.number(mean),
            "–" if width is None else f"± {words.number(width, 2)}", words.percent(one.coverage.share, 2),
            _total(one, words),
        )
        for one, mean, width in zip(flows, both.means, widths, strict=True)
    ]  # fmt: skip
    lead = flows[0].flow
    at = "" if lead is None else at_conditions(lead, words)
    caption = words(
        "Side by side: mean flow over the {common} in which all points were measured, and its uncertainty"
        " (k = 2); completeness and total of each point's own period",
        common=words.span(both.common_s),
    )
    mean = f"{words('mean flow')} [{words.unit(both.unit)}] {at}".strip()
    heads = (
        words("point"), words("role of the point"), mean, words("uncertainty"), words("measured"),
        words("total, measured time"),
    )  # fmt: skip
    return Table(caption, heads, rows)


def _half(width: float | None, unit: str, words: Words) -> str:
    if width is None:
        return words("uncertainty not known")
    return f"± {words.number(width, 2)} {unit}".strip()


def _total(one: Review, words: Words) -> str:
    flow = one.corrected or one.flow
    if flow is None or flow.amount is None:
        return "–"
    return f"{words.number(flow.total, 6)} {words.unit(flow.amount.unit)}"


def _sources(found: Sequence[Review], words: Words) -> Iterator[Item]:
    """Live rows and the meter's memory of the same hours."""
    live = {one.installation.point: one for one in found if one.installation.source == "live"}
    pairs: list[tuple[str, Agreement | None]] = [
        (one.installation.point, agreement(live[one.installation.point], one))
        for one in found
        if one.installation.source != "live" and one.installation.point in live
    ]
    rows = []
    for name, one in pairs:
        if one is not None:
            means = [
                f"{words.number(mean, 5)} {words.unit(one.unit, '')}"
                for mean in (one.live_mean, one.memory_mean)
            ]
            rows.append((plain(name), words.span(one.common_s), *means, _apart(one, words)))
    if rows:
        heads = (
            words("point"), words("hours in both"), words("mean of live rows"),
            words("mean of the meter’s memory"), words("memory less live"),
        )  # fmt: skip
        yield Table(words("Live rows and the meter’s memory of the same hours"), heads, rows)
        yield Text(
            words("They are evidence for each other. Live rows take precedence, and the two are never added.")
        )
    for name, one in pairs:
        if one is None:
            yield Text(
                words("{name}: live rows and the meter’s memory have no hour in common.", name=plain(name))
            )


def _apart(one: Agreement, words: Words) -> str:
    return "–" if one.ratio is None else f"{words.number(100 * (one.ratio - 1), 2)} %"

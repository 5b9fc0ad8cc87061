"""Several points side by side, mains against branches, and a meter's memory beside its live rows."""

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from readout.report.content.blocks import Chart, Table, Text
from readout.report.content.together import points_together
from readout.report.language.words import Words
from readout.report.page import page
from readout.review.review import Review


def scaled(found: Review, name: str, by: float, **about: Any) -> Review:
    """Another point or source with the same rows, its flow multiplied."""
    flow = found.readings["flow"]
    own = flow.values
    values = replace(own, integral=own.integral * by, low=own.low * by, high=own.high * by)
    installation = replace(found.installation, point=name, **about)
    readings = {**found.readings, "flow": replace(flow, values=values)}
    return replace(found, installation=installation, readings=readings)


def items(*found: Review) -> tuple[str, list[Table], list[Chart]]:
    """Texts, tables and pictures of the points together."""
    told = points_together(found, Words())
    texts = " ".join(one.text for one in told if isinstance(one, Text))
    charts = [one for one in told if isinstance(one, Chart)]
    return texts, [one for one in told if isinstance(one, Table)], charts


def test_mains_against_branches_side_by_side(told: Callable[..., Review]) -> None:
    """Branches of 0.6 and 0.3 of the mains leave 0.1.

    The mains over 70 measured hours: 45 h of 60, one of 90, 24 h of 20 m3/h, and 10 s that are 190 more:
    (2700 + 90 + 480 + 0.53) / 70 = 46.72 m3/h; the branches 28.03 and 14.02, together 42.05, 4.672 less.
    """
    mains = scaled(told(), "header", 1.0, role="header flow")
    branches = [scaled(told(), f"filler-{n}", by, role="branch flow") for n, by in ((1, 0.6), (2, 0.3))]
    text, (table,), (picture,) = items(branches[0], mains, branches[1])
    assert "header: 46.72 m³/h; the others together: 42.05 m³/h (uncertainty not known)" in text
    assert "difference 4.672 m³/h (uncertainty not known)" in text
    assert [(row[0], row[2]) for row in table.rows] == [
        ("header", "46.72"), ("filler-1", "28.03"), ("filler-2", "14.02"),
    ]  # fmt: skip
    assert table.heads[2] == "mean flow [m³/h] at 20 °C, 1 bar(a)"
    assert {row[4] for row in table.rows} == {"97.22 %"}
    assert [(line["name"], line["line"]["dash"]) for line in picture.spec["data"]] == [
        ("header", "solid"), ("filler-1", "dash"), ("filler-2", "dot"),
    ]  # fmt: skip


def test_equals_are_added_and_told_what_they_differ_by(told: Callable[..., Review]) -> None:
    text, _, _ = items(told(), scaled(told(), "other", 0.5))
    assert "All points together: 70.08 m³/h" in text  # 46.72 x 1.5
    assert "bottling-hall-header less other: 23.36 m³/h" in text


def test_a_memory_stands_beside_its_live_rows_and_is_never_added(told: Callable[..., Review]) -> None:
    """A memory that tells half a per cent more."""
    live = told()
    text, (table,), pictures = items(live, scaled(live, live.installation.point, 1.005, source="memory"))
    assert [tuple(row) for row in table.rows] == [
        ("bottling-hall-header", "2.917 d", "46.722 m³/h", "46.955 m³/h", "0.5 %")
    ]
    assert "the two are never added" in text
    assert "together" not in text
    assert not pictures


def test_files_of_pictures_tell_the_point_where_there_are_several(told: Callable[..., Review]) -> None:
    html = page([told(), scaled(told(), "filler <2>", 0.5)], Words(), "Audit")
    names = re.findall(r'data-chart="(\d+)" data-name="([\w-]+)"', html)
    assert names[:2] == [("0", "points"), ("1", "bottling-hall-header-time")]
    assert ("6", "filler-2-time") in names
    assert [int(number) for number, _ in names] == list(range(len(names)))


def test_nothing_on_a_page_of_several_points_has_the_name_of_another(told: Callable[..., Review]) -> None:
    """A region's name and an element's id are one element's only, for whoever goes by them."""
    html = page([told(), scaled(told(), "filler", 0.5)], Words(), "Audit").partition("<script")[0]
    for kind in ("aria-label", "id"):
        names = re.findall(rf' {kind}="([^"]*)"', html)
        assert kind == "id" or len(names) > 20
        assert len(set(names)) == len(names)

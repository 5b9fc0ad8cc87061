"""Pipe tables, checked against published areas and an open library's tables; and what a mix-up costs."""

import math
from decimal import Decimal
from typing import Any

import pytest
from fluids.piping import schedule_lookup  # type: ignore[import-untyped]

from readout.measuring_point.pipe.standards import (
    ASME_SCH_40,
    EN_10255_MEDIUM,
    STANDARDS,
    flow_error_percent,
    pipe_size,
    same_nominal_size,
    split_standard,
    wrong_standard,
)

#: DN, bore of EN 10255 medium and ASME B36.10M schedule 40 [mm], their areas [cm²], and the flow error [%]
#: when the second is set and the first is there. EN 10255: read in two open catalogues that agree in every
#: row, not in the standard. ASME: read in fluids 1.3.1. Areas and errors computed.
ROWS = [
    (15, "16.1", "15.76", 2.0358, 1.9508, -4.2),
    (20, "21.7", "20.96", 3.6984, 3.4504, -6.7),
    (25, "27.3", "26.64", 5.8535, 5.5739, -4.8),
    (32, "36.0", "35.08", 10.1788, 9.6652, -5.0),
    (40, "41.9", "40.94", 13.7885, 13.1639, -4.5),
    (50, "53.1", "52.48", 22.1452, 21.6310, -2.3),
    (65, "68.9", "62.68", 37.2845, 30.8566, -17.2),
    (80, "80.9", "77.92", 51.4028, 47.6857, -7.2),
    (100, "105.3", "102.26", 87.0857, 82.1299, -5.7),
    (125, "129.7", "128.20", 132.1204, 129.0821, -2.3),
    (150, "155.1", "154.08", 188.9355, 186.4586, -1.3),
]
LARGE = [(200, "202.74", 322.8262), (250, "254.46", 508.5445), (300, "303.18", 721.9232)]


def area_cm2(bore_mm: Decimal) -> float:
    return math.pi / 4 * float(bore_mm) ** 2 / 100


@pytest.mark.parametrize(("dn", "en", "asme", "en_area", "asme_area", "error"), ROWS)
def test_both_standards_have_their_published_bores(
    dn: int, en: str, asme: str, en_area: float, asme_area: float, error: float
) -> None:
    medium, schedule_40 = pipe_size(EN_10255_MEDIUM, dn), pipe_size(ASME_SCH_40, dn)
    assert (medium.bore_mm, schedule_40.bore_mm) == (Decimal(en), Decimal(asme))
    assert area_cm2(medium.bore_mm) == pytest.approx(en_area, abs=6e-5)
    assert area_cm2(schedule_40.bore_mm) == pytest.approx(asme_area, abs=6e-5)
    assert flow_error_percent(schedule_40.bore_mm, medium.bore_mm) == pytest.approx(error, abs=0.05)


@pytest.mark.parametrize(("dn", "bore", "area"), LARGE)
def test_larger_sizes_are_schedule_40_only(dn: int, bore: str, area: float) -> None:
    """EN 10255 stops at DN 150."""
    (only,) = same_nominal_size(dn)
    assert (only.standard, only.bore_mm) == (ASME_SCH_40, Decimal(bore))
    assert area_cm2(only.bore_mm) == pytest.approx(area, abs=6e-5)


def test_schedule_40_is_that_of_an_open_library() -> None:
    """fluids 1.3.1, `schedule_lookup['40']`: NPS, inside, outside diameter and wall [m] or [mm] lists."""
    table: Any = schedule_lookup["40"]
    nps_of = {15: 0.5, 20: 0.75, 25: 1, 32: 1.25, 40: 1.5, 50: 2, 65: 2.5, 80: 3, 100: 4, 125: 5, 150: 6,
              200: 8, 250: 10, 300: 12}  # fmt: skip
    nps, inside, outside, wall = (list(column) for column in table[:4])
    for dn, size in nps_of.items():
        ours, row = pipe_size(ASME_SCH_40, dn), nps.index(size)
        assert float(ours.outside_mm) == pytest.approx(outside[row], abs=0.011)
        assert float(ours.wall_mm) == pytest.approx(wall[row], abs=0.011)
        assert float(ours.bore_mm) == pytest.approx(inside[row], abs=0.021)


def test_dn_150_medium_has_the_outside_diameter_its_mass_asks_for() -> None:
    """19.7 kg/m in the catalogues, steel of 7850 kg/m³: 165.1 mm, not the 168.3 mm of other standards."""
    size = pipe_size(EN_10255_MEDIUM, 150)
    outside, bore = float(size.outside_mm) / 1000, float(size.bore_mm) / 1000
    assert 7850 * math.pi / 4 * (outside**2 - bore**2) == pytest.approx(19.74, abs=0.05)


def test_nominal_65_differs_most_between_standards() -> None:
    spreads = {
        dn: abs(
            flow_error_percent(pipe_size(ASME_SCH_40, dn).bore_mm, pipe_size(EN_10255_MEDIUM, dn).bore_mm)
        )
        for dn, *_ in ROWS
    }
    assert max(spreads, key=lambda dn: spreads[dn]) == 65


@pytest.mark.parametrize(
    ("set_mm", "true_mm", "error"),
    [("53.6", "53.1", 1.89), ("54.1", "53.1", 3.80), ("53.1", "54.5", -5.07)],
)
def test_a_wrong_diameter_counts_twice(set_mm: str, true_mm: str, error: float) -> None:
    """(set/true)² − 1, recomputed by hand."""
    assert flow_error_percent(Decimal(set_mm), Decimal(true_mm)) == pytest.approx(error, abs=0.005)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("EN 10255 heavy DN 50", "allowed: EN 10255 medium or ASME B36.10M Sch 40"),
        ("EN 10255 medium DN 200", "DN: 15, 20, 25, 32, 40, 50, 65, 80, 100, 125, 150"),
        ("ASME B36.10M Sch 40 DN 55", "DN: 15, 20"),
        ("EN 10255 medium", "write such as EN 10255 medium DN 50"),
    ],
)
def test_an_unknown_pipe_is_refused_with_the_choices(text: str, wanted: str) -> None:
    assert wanted in wrong_standard(text)


def test_every_known_pipe_is_allowed() -> None:
    for name in STANDARDS:
        for size in [s for dn in range(1, 400) for s in same_nominal_size(dn) if s.standard == name]:
            assert wrong_standard(str(size)) == ""
            assert split_standard(str(size)) == (name, size.dn)

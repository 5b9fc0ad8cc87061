"""Each check of a visit: when it is go, when no-go, when to be decided. Figures are worked out by hand."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from protocols.register_map.model import RegisterMap
from protocols.register_map.parse import parse_map
from protocols.units import Quantity, quantity_of
from readout.errors import WrongUse
from readout.measuring_point.comparison.compare import Finding
from readout.measuring_point.model import MeasuringPoint, Owner
from readout.measuring_point.point import parse_point
from readout.plan.recording import Intervals
from readout.visit.closing import Logged, course_check, left_check, total_check
from readout.visit.live import display_check, displayed, line_check, seen_in, values_check
from readout.visit.room import room_check
from readout.visit.setup import clock_check, settings_check, supply_check
from readout.visit.tag import tag
from readout.visit.verdict import Check, Verdict, go, no_go, to_decide, together

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"
GO, NO_GO, TO_DECIDE = Verdict.GO, Verdict.NO_GO, Verdict.TO_DECIDE
DAY = 86400.0


def quantity(text: str) -> Quantity:
    found = quantity_of(text)
    assert isinstance(found, Quantity)
    return found


@pytest.fixture(scope="module")
def point() -> MeasuringPoint:
    found = parse_point(DEMO / "bottling-hall-header.yaml").point
    assert found is not None
    return found


@pytest.fixture(scope="module")
def meter() -> RegisterMap:
    found = parse_map((DEMO / "insertion-meter.yaml").read_bytes(), "insertion-meter.yaml").map
    assert found is not None
    return found


def test_several_checks_are_as_bad_as_the_worst_of_them() -> None:
    found = together([go("a"), to_decide("b", "try b"), no_go("c", "try c"), no_go("d", "try c")], "well")
    assert (found.verdict, found.reason, found.advice) == (NO_GO, "c; d", "try c")
    assert together([go("a")], "well") == go("well; a")


# ---- settings, clock, supply

DIAMETER = Finding("inside_diameter", "it reads 5.1 % low", -5.1)


def test_a_diameter_that_can_be_set_is_no_go_and_a_customers_is_to_be_decided(point: MeasuringPoint) -> None:
    ours = settings_check(point, [DIAMETER], {}, ["inside_diameter"])
    assert (ours.verdict, "meter set POINT inside_diameter" in ours.advice) == (NO_GO, True)
    theirs = replace(point, meter=replace(point.meter, owner=Owner.CUSTOMER))
    assert settings_check(theirs, [DIAMETER], {}, ["inside_diameter"]).verdict is TO_DECIDE


@pytest.mark.parametrize("finding", [Finding("damping", "flattened"), Finding("gas", "set to nitrogen")])
def test_what_has_no_figure_is_to_be_decided(point: MeasuringPoint, finding: Finding) -> None:
    assert settings_check(point, [finding], {}, []).verdict is TO_DECIDE


def test_nobody_is_told_to_set_a_meter_by_a_number_that_cannot_be(point: MeasuringPoint) -> None:
    doubtful = Finding("inside_diameter", "the meter seems to tell 2.7e23 mm", doubtful=True)
    check = settings_check(point, [doubtful], {}, ["inside_diameter"])
    assert check.verdict is NO_GO
    assert "meter set" not in check.advice
    assert "correct the map" in check.advice


def test_settings_that_agree_are_go_and_kept(point: MeasuringPoint) -> None:
    told = {"damping": {"value": 2.0, "unit": "s", "flag": None}}
    found = settings_check(point, [], told, [])
    assert found.verdict is GO
    assert found.found["settings"] == {"damping": {"value": 2.0, "unit": "s"}}


def test_a_setting_that_was_not_told_is_to_be_decided(point: MeasuringPoint) -> None:
    told = {"damping": {"value": None, "unit": "s", "flag": None}}
    assert settings_check(point, [], told, []).reason == "not told by the meter: damping"


@pytest.mark.parametrize(
    ("offset_s", "has", "verdict"),
    [
        (0.4, True, GO),
        (-2.0, True, GO),
        (2.1, True, TO_DECIDE),
        (-3600, True, TO_DECIDE),
        (None, True, NO_GO),
        (None, False, GO),
    ],
)
def test_an_offset_is_to_be_decided_and_no_time_no_go_whoever_could_set_it(
    offset_s: float | None, *, has: bool, verdict: Verdict
) -> None:
    for can_set in (True, False):
        assert clock_check(offset_s, has_clock=has, can_set=can_set).verdict is verdict


@pytest.mark.parametrize(
    ("states", "verdict"),
    [
        ({"state": []}, GO),
        ({"state": ["flow below cut-off"]}, GO),
        ({"state": ["supply low"]}, NO_GO),
        ({"mode": "sensor fault"}, NO_GO),
        ({"state": ["battery low"], "mode": "measuring"}, NO_GO),
        ({"mode": None}, GO),
    ],
)
def test_what_the_meter_says_of_its_state(states: dict[str, Any], verdict: Verdict) -> None:
    assert supply_check(states).verdict is verdict


# ---- the memory: 50,000 places of the hall's meter

STEPS = Intervals(tuple(Decimal(step) for step in (1, 2, 5, 10, 20, 60, 300)))


def room(meter: RegisterMap, held: int | None, every_ms: int | None, days: float, **changed: Any) -> Check:
    assert meter.log_memory is not None
    return room_check(replace(meter.log_memory, **changed), STEPS, held, every_ms, days * DAY)


def test_fifty_thousand_records_every_ten_seconds_last_five_days_and_a_half(meter: RegisterMap) -> None:
    """500,000 s are 138 h 53 min 20 s: five days (120 h) and a tenth of them (132 h) fit."""
    found = room(meter, 0, 10_000, 5)
    assert found.verdict is GO
    assert found.found["lasts_s"] == 500_000
    assert "lasts 138 h 53 min 20 s; planned 120 h; when full it stops" in found.reason


def test_a_visit_that_only_just_fits_is_to_be_decided(meter: RegisterMap) -> None:
    """5.5 days are 132 h, with a tenth 145.2 h: more than 138.9 h."""
    assert room(meter, 0, 10_000, 5.5).verdict is TO_DECIDE


def test_a_memory_that_ends_before_is_no_go_with_the_ways_out(meter: RegisterMap) -> None:
    """Nine days are 777,600 s: of 40,000 free places at 20 s or more (19.44 s), of 50,000 too (15.552 s)."""
    found = room(meter, 10_000, 5_000, 9)
    assert found.verdict is NO_GO
    assert "recording stops" in found.reason
    assert found.advice.startswith("answer interval: 20s; or answer interval: 20s and an empty memory")


def test_a_full_memory_offers_only_to_be_emptied(meter: RegisterMap) -> None:
    found = room(meter, 50_000, 10_000, 1)
    assert (found.verdict, found.found["free_records"]) == (NO_GO, 0)
    assert found.advice == "answer interval: 2s and an empty memory (answer erase); or come back earlier"
    assert Fraction(86400, 50_000) < 2


def test_an_interval_that_the_meter_does_not_take_is_no_go(meter: RegisterMap) -> None:
    assert room(meter, 0, 7_000, 1).advice == "it takes 1, 2, 5, 10, 20, 60, 300 s"


def test_what_the_meter_does_not_tell_is_to_be_decided(meter: RegisterMap) -> None:
    assert room(meter, None, 10_000, 1).verdict is TO_DECIDE
    assert room(meter, 0, None, 1).verdict is TO_DECIDE


def test_a_power_failure_that_ends_it_is_to_be_decided(meter: RegisterMap) -> None:
    from protocols.register_map.memory_model import AfterPowerLoss

    assert room(meter, 0, 10_000, 1, after_power_loss=AfterPowerLoss.STOPS).verdict is TO_DECIDE
    found = room(meter, 0, 10_000, 1, after_power_loss=AfterPowerLoss.RESUMES)
    assert "wrong times" in found.reason


# ---- values and display


def rounds(*flows: float | None, pressure: float = 7.1, flag: str | None = None) -> list[dict[str, Any]]:
    return [
        {
            "flow": {"value": flow, "unit": "m3/h", "flag": flag},
            "pressure": {"value": pressure, "unit": "bar", "flag": None},
        }
        for flow in flows
    ]


@pytest.mark.parametrize(("good", "verdict"), [(100, GO), (95, GO), (94, NO_GO), (0, NO_GO)])
def test_a_line_that_fails_is_not_left_alone(good: int, verdict: Verdict) -> None:
    assert line_check(100, good).verdict is verdict


def test_no_round_at_all_is_no_go() -> None:
    assert line_check(0, 0).verdict is NO_GO


@pytest.mark.parametrize(
    ("told", "verdict", "said"),
    [
        (rounds(250, 260), GO, "flow 250 to 260 m3/h"),
        (rounds(0, 0), TO_DECIDE, "flow is 0 m3/h all the time"),
        (rounds(20, 22), TO_DECIDE, "below what is expected (40 m3/h to 420 m3/h)"),
        (rounds(500), TO_DECIDE, "above what is expected"),
        (rounds(950, flag="above range"), NO_GO, "above range 1 times (its range: 0 to 900 m3/h)"),
        (rounds(None, flag="not available"), NO_GO, "not available 1 times"),
        (rounds(250, pressure=0.2), NO_GO, "pressure is 0.2 bar(g), and 7 bar(g) are expected"),
        (rounds(250, pressure=5.5), TO_DECIDE, "pressure is 5.5 bar(g)"),
        (rounds(250, pressure=5.7), GO, "pressure 5.7 to 5.7 bar"),
    ],
)
def test_values_must_be_plausible(
    point: MeasuringPoint, meter: RegisterMap, told: list[dict[str, Any]], verdict: Verdict, said: str
) -> None:
    found = values_check(seen_in(told), point, meter)
    assert (found.verdict, said in found.reason) == (verdict, True), found


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("flow 254 m3/h", GO),  # 1.6 %
        ("flow 70.55 l/s", GO),  # 253.98 m3/h
        ("flow 256 m3/h", NO_GO),  # 2.4 %
        ("flow 4.17 m3/h", NO_GO),  # m3/min taken for m3/h
        ("flow 7 bar(g)", NO_GO),
    ],
)
def test_the_display_beside_the_wire(meter: RegisterMap, text: str, verdict: Verdict) -> None:
    found = display_check(displayed(text, meter), rounds(250)[0], {}, "2026-11-25T21:00:00.000Z")
    assert found.verdict is verdict
    assert found.found["readings"]["flow"]["wire"] == 250


def test_a_value_that_moves_may_differ_by_as_much(meter: RegisterMap) -> None:
    seen = seen_in(rounds(240, 260))
    assert display_check(displayed("flow 270 m3/h", meter), rounds(250)[0], seen, "").verdict is GO


def test_a_wire_without_a_number_is_no_go(meter: RegisterMap) -> None:
    assert display_check(displayed("flow 250 m3/h", meter), rounds(None)[0], {}, "").verdict is NO_GO


@pytest.mark.parametrize(
    "text", ["", "250 m3/h", "flow", "flow 250", "flow 253,7 m3/h", "flow 250 m3/h; x 1 m"]
)
def test_a_display_answer_that_is_none_is_refused(meter: RegisterMap, text: str) -> None:
    with pytest.raises(WrongUse):
        displayed(text, meter)


# ---- the end


def test_settings_that_changed_meanwhile_are_to_be_decided() -> None:
    before = {"damping": {"value": 2, "unit": "s"}, "clock": {"value": "a", "unit": None}}
    after = {"damping": {"value": 5, "unit": "s"}, "clock": {"value": "b", "unit": None}}
    assert left_check(before, after).reason == "damping was 2 s, is 5 s"
    assert left_check(before, {**before, "clock": after["clock"]}).verdict is GO
    assert left_check({}, after).verdict is GO


def test_a_clock_that_was_set_meanwhile_is_to_be_decided() -> None:
    """100 ppm of nine days are 77.76 s; 3 s more for what a clock of whole seconds shows."""
    assert course_check(0.0, 80.0, 9 * DAY).verdict is GO
    assert course_check(0.0, 81.0, 9 * DAY).verdict is TO_DECIDE
    assert course_check(0.0, -3600.0, 9 * DAY).verdict is TO_DECIDE
    assert course_check(None, 5.0, 0).verdict is GO
    assert course_check(0.0, None, 0).verdict is GO


def test_the_totaliser_against_the_log() -> None:
    """250 m3/h over 24 h are 6000 m3; 2 % of that are 120 m3."""
    whole = Logged(quantity("250 m3/h"), DAY, DAY)
    before = quantity("1000 m3")
    assert total_check(before, quantity("7000 m3"), whole, 0.1).verdict is GO
    assert total_check(before, quantity("6900 m3"), whole, 0.1).verdict is GO
    found = total_check(before, quantity("6800 m3"), whole, 0.1)
    assert (found.verdict, found.reason) == (
        TO_DECIDE,
        "the total went on by 5800 m3, the flow of the log makes 6000 m3 (+3.4 %): they do not agree",
    )  # fmt: skip
    assert total_check(before, quantity("500 m3"), whole, 0.1).verdict is TO_DECIDE  # reset meanwhile


def test_a_log_with_gaps_is_not_compared() -> None:
    half = Logged(quantity("250 m3/h"), DAY / 2, DAY)
    found = total_check(quantity("0 m3"), quantity("1 m3"), half, 0.1)
    assert (found.verdict, "the log covers 50 %" in found.reason) == (GO, True)
    assert total_check(None, quantity("1 m3"), half, 0.1).verdict is GO
    assert total_check(quantity("0 m3"), quantity("1 m3"), None, 0.1).verdict is GO


def test_the_tag_is_a_box_that_says_until_when() -> None:
    lines = tag("header", "EX-0050", "2026-11-28 14:00 (Europe/Dublin)", "Hollow Mere bottling hall", "HM-20")
    assert len({len(line) for line in lines}) == 1
    text = "\n".join(lines)
    assert all(
        word in text for word in ("DO NOT SWITCH OFF,", "until    2026-11-28 14:00", "EX-0050", "HM-20")
    )


def test_the_tag_names_the_computer_where_that_one_records() -> None:
    lines = tag("header", None, "2026-11-28 14:00", "Hollow Mere bottling hall", None, recorder="hall-pc")
    assert len({len(line) for line in lines}) == 1
    assert "DO NOT SWITCH OFF METER OR COMPUTER" in "\n".join(lines)
    assert any("recorder hall-pc" in line for line in lines)


def test_a_totaliser_beside_the_wire_has_no_exponent() -> None:
    """1346592.1 m3 was told as 1.34659e+06 m3, which tells nobody its last digits."""
    wire = {"total": {"value": 1346592.1, "unit": "m3", "flag": None}}
    found = display_check({"total": quantity("1346592 m3")}, wire, {}, "2026-05-04T06:00:00.000Z")
    assert "wire 1346592.1 m3" in found.reason


def test_a_gauge_pressure_that_was_watched_says_so(point: MeasuringPoint) -> None:
    text = (
        "register_map: 1\nmeter: Hollow Mere test meter\nserial: {unit_address: 1}\n"
        "readings: {pressure: {input: 0, type: uint16, scale: 0.001, unit: bar, gauge: true}}\n"
    )
    found = parse_map(text.encode(), "map.yaml").map
    assert found is not None
    rounds = [{"pressure": {"value": value, "unit": "bar", "flag": None}} for value in (7.034, 7.051)]
    assert values_check(seen_in(rounds), point, found).reason == "pressure 7.034 to 7.051 bar(g)"

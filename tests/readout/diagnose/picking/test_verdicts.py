"""What speaks for and against a map, on meters that are nothing but a few registers.

Words by arithmetic: 123.4 is 42F6 CCCD as float32 (IEEE 754: 2^6 x 1.928125), 7205 x 0.001 is 7.205.
"""

import pytest

from protocols.modbus.crc import with_crc
from readout.diagnose.picking.differences import differences
from readout.diagnose.picking.ranking import Verdict, equals, same_name

from .conftest import anonymous, holding, made, refusal

HEAD = "register_map: 1\nmeter: Mere 5 vane meter\nserial: {unit_address: 12}\n"
FLOW = "  flow: {input: 0, type: float32, unit: m3/h, basis: actual, range: [0, 500]}\n"
PRESSURE = "  pressure: {input: 2, type: uint16, scale: 0.001, unit: bar, gauge: true, range: [0, 16]}\n"
STATE = "  state: {input: 3, type: uint16, codes: {0: measuring, 256: fault}}\n"
WHOLE = f"{HEAD}readings:\n{FLOW}{PRESSURE}{STATE}"
WORDS = {0: 0x42F6, 1: 0xCCCD, 2: 7205, 3: 0}


def only(picked):
    (one,) = picked.maps
    return one


def test_a_map_whose_every_value_makes_sense_fits(bench) -> None:
    one = only(bench.pick({"mere.yaml": WHOLE}, holding(WORDS)))
    assert one.verdict is Verdict.FITS
    assert one.speaks_for == (
        "answers its only read",
        "3 of 3 values make sense (2 by range, 1 by known codes)",
    )
    assert not one.speaks_against
    assert one.evidence.telling == 3, "42F6, CCCD and 7205 (1C25); a state of 0 tells nothing"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({2: 65535}, "pressure reads 65.535 bar: above range 0 to 16"),
        ({0: 0xC2F6}, "flow reads -123.4 m3/h: below range 0 to 500"),
        ({3: 7}, "state reads 7: unknown code"),
    ],
)
def test_what_makes_no_sense_is_told_with_the_number(change, said, bench) -> None:
    one = only(bench.pick({"mere.yaml": WHOLE}, holding(WORDS | change)))
    assert one.verdict is Verdict.MAY_FIT
    assert said in one.speaks_against


def test_one_reading_out_of_its_range_rules_no_map_out(bench) -> None:
    """A flow a little below 0 at standstill: -0.5 is BF00 0000."""
    one = only(bench.pick({"flow.yaml": f"{HEAD}readings:\n{FLOW}"}, holding({0: 0xBF00, 1: 0})))
    assert one.verdict is Verdict.MAY_FIT
    assert one.speaks_against[0] == "flow reads -0.5 m3/h: below range 0 to 500"


def test_half_of_the_values_without_sense_is_no_fit(bench) -> None:
    one = only(bench.pick({"mere.yaml": WHOLE}, holding(WORDS | {2: 65535, 3: 7})))
    assert one.verdict is Verdict.DOES_NOT_FIT


def test_half_of_the_values_not_given_is_no_fit(bench) -> None:
    """Two of four registers are there: flow and pressure make sense, and still it is another meter."""
    text = WHOLE + "  total: {input: 40, type: uint32, unit: kg}\n"
    there = {0: 0x42F6, 1: 0xCCCD, 2: 7205}
    assert only(bench.pick({"mere.yaml": text}, holding(there))).verdict is Verdict.DOES_NOT_FIT
    assert only(bench.pick({"mere.yaml": text}, holding(there | {3: 0}))).verdict is Verdict.MAY_FIT


def test_a_text_and_a_clock_that_were_never_set_speak_for_nothing_and_against_nothing(bench) -> None:
    time = "  last_reset: {input: 4, type: unix time}\n"
    more = f"{time}identity:\n  firmware: {{input: 6, type: text, registers: 2}}\n"
    one = only(bench.pick({"mere.yaml": WHOLE + more}, holding(WORDS | dict.fromkeys(range(4, 8), 0))))
    assert one.verdict is Verdict.FITS
    assert one.evidence.telling == 3


def test_a_refused_block_is_asked_value_by_value(bench) -> None:
    """The meter has no register 3: the others are judged, and the map may still be the right one."""
    one = only(bench.pick({"mere.yaml": WHOLE}, holding({0: 0x42F6, 1: 0xCCCD, 2: 7205})))
    assert one.verdict is Verdict.MAY_FIT
    assert one.speaks_against == ("state: not given by the meter (exception 02, illegal data address)",)
    assert [frame[2:6].hex() for frame in bench.sent if frame[1] == 4] == [
        "00000004", "00000002", "00020001", "00030001"
    ]  # fmt: skip


def test_a_wide_answer_serves_the_maps_that_want_a_part_of_it(bench) -> None:
    small = f"{HEAD}readings:\n{FLOW}"
    bench.pick({"small.yaml": small, "whole.yaml": WHOLE}, holding(WORDS))
    assert [frame[2:6].hex() for frame in bench.sent if frame[1] == 4] == ["00000004"]


def test_maps_that_read_the_same_are_equals_and_their_difference_is_told(bench) -> None:
    other = WHOLE.replace("unit: m3/h", "unit: l/min")
    picked = bench.pick({"a.yaml": WHOLE, "b.yaml": other}, holding(WORDS))
    assert [one.verdict for one in picked.maps] == [Verdict.FITS, Verdict.FITS]
    first, second = equals(picked.maps)
    maps = [one.evidence.candidate.map for one in (first, second)]
    assert differences(*maps) == "differ only in unit of flow (m3/h, l/min)"


def test_a_map_that_explains_a_part_only_is_no_equal(bench) -> None:
    """The text besides explains 4 registers more: 4D65 7265 2D35 3030, "Mere-500"."""
    larger = WHOLE + "identity:\n  serial_number: {input: 4, type: text, registers: 4}\n"
    words = WORDS | {4: 0x4D65, 5: 0x7265, 6: 0x2D35, 7: 0x3030}
    picked = bench.pick({"a.yaml": WHOLE, "b.yaml": larger}, holding(words))
    assert [(one.file, one.verdict) for one in picked.maps] == [
        ("b.yaml", Verdict.FITS), ("a.yaml", Verdict.MAY_FIT)
    ]  # fmt: skip
    assert picked.maps[1].speaks_against == ("3 telling registers beside 7 of b.yaml",)
    assert 'serial_number reads "Mere-500"' in picked.maps[0].speaks_for
    assert not equals(picked.maps)


def test_a_map_that_states_nothing_to_check_says_so(bench) -> None:
    bare = f"{HEAD}readings:\n  count: {{input: 2, type: uint16, unit: 1}}\n"
    one = only(bench.pick({"bare.yaml": bare}, holding(WORDS)))
    assert one.verdict is Verdict.MAY_FIT
    assert one.speaks_against == (
        "it cannot be told by reading: the map has no identity, range, codes or other mark to check",
    )


def test_zeros_tell_nothing(bench) -> None:
    one = only(bench.pick({"mere.yaml": WHOLE}, holding(dict.fromkeys(range(4), 0))))
    assert one.verdict is Verdict.MAY_FIT
    assert one.speaks_against == ("all that could be checked holds 0 or a small number, which tells nothing",)


def test_a_range_that_leaves_hardly_anything_out_tells_nothing(bench) -> None:
    wide = f"{HEAD}readings:\n  count: {{input: 2, type: uint16, unit: 1, range: [0, 60000]}}\n"
    one = only(bench.pick({"wide.yaml": wide}, holding(WORDS)))
    assert one.evidence.telling == 0


def test_a_model_register_that_names_another_map(bench) -> None:
    """Both maps read the same; "Crake W9" is 4372 616B 6520 5739, and only one map is of that name."""
    model = "identity:\n  model: {input: 4, type: text, registers: 4}\n"
    mere, crake = WHOLE + model, (WHOLE + model).replace("Mere 5 vane meter", "Crake W9")
    words = WORDS | {4: 0x4372, 5: 0x616B, 6: 0x6520, 7: 0x5739}
    picked = bench.pick({"a-mere.yaml": mere, "crake.yaml": crake}, holding(words))
    assert [(one.file, one.verdict) for one in picked.maps] == [
        ("crake.yaml", Verdict.FITS), ("a-mere.yaml", Verdict.MAY_FIT)
    ]  # fmt: skip
    assert picked.maps[1].speaks_against == (
        'the meter calls itself "Crake W9" (its model register), which is the name in crake.yaml',
    )


def test_the_name_by_function_43(bench) -> None:
    """A regular identification with maker, product code, version and product name (AP V1.1b3, 6.21)."""
    objects = {0: b"Hollow Mere", 1: b"X-1", 2: b"1.0", 4: b"MERE-5 VANE METER"}
    body = b"".join(bytes((number, len(text))) + text for number, text in objects.items())

    def replies(frame: bytes) -> bytes | None:
        if frame[1] == 43:
            return with_crc(bytes((frame[0], 43, 14, frame[3], 2, 0, 0, len(objects))) + body)
        return refusal(frame, 1) if frame[1] == 17 else holding(WORDS)(frame)

    one = only(bench.pick({"mere.yaml": WHOLE}, replies))
    assert one.speaks_for[0] == (
        'the meter calls itself "MERE-5 VANE METER" (function 43/14), as the map does'
    )


def test_a_meter_that_is_silent_on_what_it_does_not_know_is_judged_all_the_same(bench) -> None:
    def replies(frame: bytes) -> bytes | None:
        reply = holding(WORDS)(frame)
        return None if reply is None or reply[1] & 0x80 else reply

    one = only(bench.pick({"mere.yaml": WHOLE}, replies))
    assert one.verdict is Verdict.FITS


def test_silence_on_a_read_leaves_the_map_open(bench) -> None:
    elsewhere = WHOLE + "  humidity: {input: 90, type: float32, unit: '%'}\n"

    def replies(frame: bytes) -> bytes | None:
        return None if frame[2:4] == b"\0\x5a" else anonymous(holding(WORDS))(frame)

    one = only(bench.pick({"mere.yaml": elsewhere}, replies))
    assert one.verdict is Verdict.MAY_FIT
    assert one.speaks_against[0].startswith("humidity: without a reply that can be trusted (")


def test_damage_is_never_taken_for_a_value(bench) -> None:
    def replies(frame: bytes) -> bytes | None:
        reply = holding(WORDS)(frame)
        return None if reply is None else reply[:-1] + bytes((reply[-1] ^ 1,))

    picked = bench.pick({"mere.yaml": WHOLE}, replies)
    assert only(picked).evidence.telling == 0
    assert only(picked).verdict is Verdict.MAY_FIT


def test_what_met_damage_or_silence_once_is_asked_once_more(bench) -> None:
    met: list[bytes] = []

    def replies(frame: bytes) -> bytes | None:
        reply = anonymous(holding(WORDS | {90: 7}))(frame)
        met.append(frame)
        first = met.count(frame) == 1 and frame[1] == 4
        if not first or reply is None:
            return reply
        return None if frame[2:4] == b"\0\x5a" else reply[:-1] + bytes((reply[-1] ^ 1,))

    text = WHOLE + "  count: {input: 90, type: uint16, unit: 1}\n"
    one = only(bench.pick({"mere.yaml": text}, replies))
    assert one.verdict is Verdict.FITS
    assert sorted(frame[2:4].hex() for frame in bench.sent if frame[1] == 4) == [
        "0000",
        "0000",
        "005a",
        "005a",
    ]


def test_a_meter_silent_on_much_is_not_asked_for_all_of_it_again(bench) -> None:
    """Every silence costs the whole waiting: four registers that nobody answers are asked for once.

    Between them the line puts reads of two registers, lest a late reply be taken for theirs.
    """
    far = "".join(f"  far_{n}: {{input: {100 * n}, type: uint16, unit: 1}}\n" for n in range(1, 5))

    def replies(frame: bytes) -> bytes | None:
        return None if frame[1] == 4 and frame[2:4] != b"\0\0" else anonymous(holding(WORDS))(frame)

    only(bench.pick({"mere.yaml": WHOLE + far}, replies))
    asked = [frame[2:4] for frame in bench.sent if frame[1] == 4 and frame[4:6] == b"\0\1"]
    assert asked == [(100 * n).to_bytes(2, "big") for n in range(1, 5)]


def test_a_window_that_reading_moves_on_is_not_read_for_another_map(bench) -> None:
    """Records of 4 registers, 2 at once, from holding 402 on: 402 to 409 are left alone."""
    window = f"""{WHOLE}log_memory:
  capacity: 100
  count: {{input: 4}}
  record:
    registers: 4
    fields: {{number: {{at: 0, type: uint32}}, flow: {{at: 2, type: float32, unit: kg/h}}}}
  reached_by:
    window: {{pointer: {{holding: 82}}, data: {{holding: 402}}, records: 2, advance: by read}}
"""
    other = f"{HEAD}readings:\n  flow: {{holding: 408, type: float32, unit: kg/h}}\n"
    picked = bench.pick({"other.yaml": other, "window.yaml": window}, holding(WORDS | {4: 3}))
    assert not [frame for frame in bench.sent if frame[1] == 3]
    (one,) = (each for each in picked.maps if each.file == "other.yaml")
    assert one.speaks_against[0] == (
        "flow: without a reply that can be trusted (not asked: reading there would move the log memory of "
        "window.yaml on)"
    )


def test_two_bytes_behind_an_address_are_no_four(bench) -> None:
    """The map says 32 bits behind each address; the meter sends 16: whole replies, of another length."""
    wide = (
        f"{HEAD}wire: {{bytes_per_register: 4}}\nreadings:\n  flow: {{input: 0, type: float32, unit: kg/h}}\n"
    )
    one = only(bench.pick({"wide.yaml": wide}, holding(WORDS)))
    assert one.verdict is Verdict.DOES_NOT_FIT
    assert one.speaks_against == ("flow: not given by the meter (fewer registers in its reply)",)


def test_settings_steps_and_the_memorys_own_count(bench) -> None:
    text = f"""{WHOLE}settings:
  damping: {{holding: 0, type: uint16, unit: s, steps: [1, 5]}}
log_memory:
  capacity: 1000
  count: {{input: 4}}
  record:
    registers: 2
    fields: {{flow: {{at: 0, type: float32, unit: kg/h}}}}
  reached_by: {{registers: {{input: 1000}}}}
"""

    def replies(frame: bytes) -> bytes | None:
        if frame[1] == 3:
            return with_crc(bytes((frame[0], 3, 2, 0, 7)))
        return holding(WORDS | {4: 1001})(frame)

    one = only(bench.pick({"mere.yaml": text}, replies))
    assert one.speaks_against == (
        "damping reads 7 s: none of its steps",
        "its log memory tells 1001 records, the map says at most 1000",
    )


@pytest.mark.parametrize(
    ("oldest", "following", "said"),
    [
        (300, 1300, ""),
        (65000, 464, ""),  # 464 + 65536 - 65000 = 1000: the number has started again at 0
        (300, 1301, "tells 300 as the oldest record and 1301 as the next: 1001 records"),
        (1300, 300, "tells 1300 as the oldest record and 300 as the next: 64536 records"),
    ],
)
def test_oldest_and_next_of_a_ring_are_held_against_its_capacity(oldest, following, said, bench) -> None:
    text = f"""{WHOLE}log_memory:
  capacity: 1000
  when_full: overwrite oldest
  oldest: {{input: 4}}
  next: {{input: 5}}
  record:
    registers: 2
    fields: {{flow: {{at: 0, type: float32, unit: kg/h}}}}
  reached_by: {{registers: {{input: 1000}}}}
"""
    one = only(bench.pick({"mere.yaml": text}, holding(WORDS | {4: oldest, 5: following})))
    assert one.speaks_against == ((f"its log memory {said}, the map says at most 1000",) if said else ())
    assert one.evidence.telling == 3 + (0 if said else 2), "1300 is 0514, 464 is 01D0, 65000 is FDE8"


@pytest.mark.parametrize(
    ("told", "meter", "same"),
    [
        ("MERE-20", "Mere 20 insertion meter", True),
        ("Mere 20 insertion meter v1.2", "Mere 20 insertion meter", True),
        ("MERE-21", "Mere 20 insertion meter", False),
        ("Mere", "Mere 20 insertion meter", False),  # letters alone, and few: the maker's name as well
        ("insertion meter", "Mere 20 insertion meter", True),
        ("", "Mere 20 insertion meter", False),
        ("20", "Mere 20 insertion meter", False),
    ],
)
def test_names_are_compared_without_signs_and_spaces(told: str, meter: str, same: bool) -> None:
    assert same_name(told, meter) is same


def test_a_hull_of_parts_is_one_request(bench) -> None:
    """A total in two parts with a gap between, which `bridge` lets one read span."""
    text = (
        f"{HEAD}wire: {{bridge: 2}}\nreadings:\n  total: {{input: 0, type: uint32, unit: kg, "
        "plus: [{input: 3, type: uint16, scale: 0.001}]}\n"
    )
    (one,) = made({"total.yaml": text})
    assert [(block.start, block.count) for block in one.blocks] == [(0, 4)]

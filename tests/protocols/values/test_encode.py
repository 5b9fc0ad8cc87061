"""Words for a quantity: what a simulated meter sends and what a setting is written with."""

from datetime import UTC, datetime
from decimal import Decimal, localcontext
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from protocols.errors import RequestError
from protocols.register_map.model import Kind, NotAvailable, Order, ToldUnit, Value
from protocols.values.decode import decode
from protocols.values.encode import encode, encode_exactly

# Each kind's span, written out from the widths and codings themselves.
SPANS = {
    Kind.INT16: (-32768, 32767), Kind.UINT16: (0, 65535), Kind.INT32: (-(2**31), 2**31 - 1),
    Kind.UINT32: (0, 2**32 - 1), Kind.INT48: (-(2**47), 2**47 - 1), Kind.UINT48: (0, 2**48 - 1),
    Kind.INT64: (-(2**63), 2**63 - 1), Kind.UINT64: (0, 2**64 - 1), Kind.BCD16: (0, 9999),
    Kind.BCD32: (0, 99999999), Kind.SIGN16: (-32767, 32767),
}  # fmt: skip
ORDER = st.sampled_from(list(Order))
SCALES = st.sampled_from([Decimal(s) for s in ("1", "0.1", "0.001", "10", "0.25", "1e-7", "3", "-0.5")])
OFFSETS = st.sampled_from([Decimal(s) for s in ("0", "-40", "273.15")])


@settings(max_examples=400)
@given(data=st.data(), kind=st.sampled_from(sorted(SPANS)), orders=st.tuples(ORDER, ORDER))
def test_every_number_a_register_can_hold_comes_back_exact(
    make: Any, data: st.DataObject, kind: Kind, orders: tuple[Order, Order]
) -> None:
    """The quantity is the exact decimal; what comes back is that integer, or the double nearest to it."""
    raw = data.draw(st.integers(*SPANS[kind]) | st.sampled_from(SPANS[kind]))
    scale, offset = data.draw(SCALES), data.draw(OFFSETS)
    declared = data.draw(st.integers(*SPANS[kind]).filter(lambda number: number != raw))
    value = make.value(
        kind, str(scale), str(offset), word_order=orders[0], byte_order=orders[1],
        not_available=NotAvailable((Decimal(declared),)),
    )  # fmt: skip
    with localcontext() as context:
        context.prec = 60  # the decimal module's usual 28 digits are too few for 64 bits
        exact = raw * scale + offset
    told, flag = make.told(decode(value, make.row(encode(value, exact))))
    assert flag is None
    assert told == (raw if scale == 1 and offset == 0 else float(exact))
    none = decode(value, make.row(encode(value, None)))
    assert make.told(none) == (None, "not available")


@given(
    number=st.floats(width=32, allow_nan=False, allow_infinity=False),
    orders=st.tuples(ORDER, ORDER),
    kind=st.sampled_from([Kind.FLOAT32, Kind.FLOAT64]),
)
def test_a_plain_float_comes_back_the_same_and_none_is_nan(
    make: Any, number: float, orders: tuple[Order, Order], kind: Kind
) -> None:
    value = make.value(kind, word_order=orders[0], byte_order=orders[1])
    assert make.told(decode(value, make.row(encode(value, number)))) == (number, None)
    assert make.told(decode(value, make.row(encode(value, None)))) == (None, "not a number")


@given(number=st.floats(-1e6, 1e6), scale=st.sampled_from(["0.1", "0.001", "3600"]))
def test_a_scaled_float_comes_back_within_one_step_of_float32(make: Any, number: float, scale: str) -> None:
    value = make.value(Kind.FLOAT32, scale)
    told, _ = make.told(decode(value, make.row(encode(value, number))))
    assert told == pytest.approx(number, rel=2**-24, abs=1e-40)


@given(thousandths=st.integers(0, (2**32 - 1) * 1000 + 999))
def test_a_total_of_whole_and_thousandths_comes_back_exact(make: Any, thousandths: int) -> None:
    value = make.value(Kind.UINT32, plus=(make.number(Kind.UINT16, 2, "0.001"),))
    words = encode(value, Decimal(thousandths).scaleb(-3))
    high, low, fraction = words.values()
    assert (high << 16 | low, fraction) == divmod(thousandths, 1000)
    assert make.told(decode(value, make.row(words)))[0] == thousandths / 1000


@given(mantissa=st.integers(-32768, 32767), power=st.integers(-10, 10))
def test_a_power_of_ten_is_chosen_that_loses_nothing(make: Any, mantissa: int, power: int) -> None:
    value = make.value(Kind.INT16, times_ten_to=make.number(Kind.INT16, 1))
    exact = Decimal(mantissa).scaleb(power)
    assert make.told(decode(value, make.row(encode(value, exact))))[0] == float(exact)
    if abs(mantissa) <= 3276:
        same = encode(value, exact, exponent=power)
        assert list(same.values()) == [mantissa & 0xFFFF, power & 0xFFFF]


def test_groups_and_a_fraction_as_float_are_split_as_meters_do(make: Any) -> None:
    number = make.number
    groups = make.value(Kind.UINT16, plus=(number(Kind.UINT16, 1, "1000"), number(Kind.UINT16, 2, "1000000")))
    assert list(encode(groups, 111015500).values()) == [500, 15, 111]
    half = make.value(Kind.UINT32, plus=(number(Kind.FLOAT32, 2),))
    assert list(encode(half, 16777217.5).values()) == [0x0100, 1, 0x3F00, 0]
    rounded = make.value(Kind.UINT32, plus=(number(Kind.UINT16, 2, "0.001"),))
    assert list(encode(rounded, 0.9996).values()) == [0, 1, 0], "rounding up carries into the whole part"


def test_a_sensor_rounds_to_its_resolution_and_a_setting_refuses_to(make: Any) -> None:
    value = make.value(Kind.UINT16, "0.1", unit="s")
    assert list(encode(value, 1.26).values()) == [13]
    assert list(encode_exactly(value, 1.3).values()) == [13]
    with pytest.raises(RequestError, match=r"flow = 1\.26 s would be rounded to 1\.3 by input 0"):
        encode_exactly(value, 1.26)
    assert encode_exactly(make.value(Kind.FLOAT32), 53.1), "the next float is near enough"


def test_words_names_coils_and_numpy_numbers_are_taken(make: Any) -> None:
    state = make.value(Kind.UINT16, codes={0: "idle", 1: "recording"})
    assert list(encode(state, "recording").values()) == [1]
    assert list(encode(make.value(Kind.BIT), True).values()) == [1]
    assert list(encode(make.value(Kind.UINT16), np.uint16(7)).values()) == [7]
    assert list(encode(make.value(Kind.FLOAT32), np.float32(25.5)).values()) == [0x41CC, 0]


def test_the_units_register_is_set_only_when_asked(make: Any) -> None:
    told = ToldUnit(make.number(Kind.UINT16, 1), {5: "m3", 2: "L"})
    value = make.value(Kind.UINT16, told_unit=told)
    assert list(encode(value, 1234).values()) == [1234]
    assert list(encode(value, 1234, unit="L").values()) == [1234, 2]
    with pytest.raises(RequestError, match="cannot be told in gal: its units are m3, L"):
        encode(value, 1234, unit="gal")


def test_no_reading_takes_the_first_form_declared_else_the_kinds_own(make: Any) -> None:
    words = NotAvailable(words=((0x7F7F, 0xFFFF), (0, 0)))
    assert list(encode(make.value(Kind.FLOAT32, not_available=words), None).values()) == [0x7F7F, 0xFFFF]
    both = NotAvailable((Decimal(-32768),), ((0,),))
    assert list(encode(make.value(Kind.INT16, not_available=both), None).values()) == [0x8000]
    swapped = make.value(Kind.FLOAT32, word_order=Order.LOW_FIRST)
    assert list(encode(swapped, None).values()) == [0, 0x7FC0]
    assert list(encode(make.value(Kind.TEXT, words=2), None).values()) == [0xFFFF, 0xFFFF]


@given(text=st.text(st.characters(min_codepoint=0x20, max_codepoint=0xFF), max_size=8), order=ORDER)
def test_text_comes_back_without_its_blanks(make: Any, text: str, order: Order) -> None:
    value = make.value(Kind.TEXT, words=4, byte_order=order)
    assume(text != "ÿ" * 8)  # all FF: means no text
    told, _ = make.told(decode(value, make.row(encode(value, text))))
    shown = "".join(f"\\x{ord(c):02X}" if 0x7F <= ord(c) < 0xA0 else c for c in text)
    assert told == shown.strip(" ")


FM = NotAvailable((Decimal(65535),))
REFUSED: list[tuple[Any, Any, str]] = [
    ({"kind": Kind.UINT16, "scale": "0.001"}, 70, r"input 0 \(uint16 × 0\.001\), which holds 0 to 65\.535"),
    ({"kind": Kind.UINT16}, -1, "which holds 0 to 65535"),
    ({"kind": Kind.BCD16}, 10000, "which holds 0 to 9999"),
    ({"kind": Kind.FLOAT32}, 1e39, "cannot be told by input 0"),
    ({"kind": Kind.UINT16, "not_available": FM}, 65535, "words that mean no reading"),
    ({"kind": Kind.UINT16}, float("nan"), "nan is not a number"),
    ({"kind": Kind.UINT16}, Decimal("Infinity"), "not a number"),
    ({"kind": Kind.UINT16}, datetime(2026, 1, 1, tzinfo=UTC), "not a number"),
    ({"kind": Kind.UINT16}, None, "has no form for no reading"),
    ({"kind": Kind.UINT16, "codes": {0: "idle"}}, "asleep", "its words are idle"),
    ({"kind": Kind.TEXT, "words": 2}, "HM-300", "too long for input 0 .*4 characters"),
    ({"kind": Kind.TEXT, "words": 2}, "€", "Latin-1 lacks: '€'"),
    ({"kind": Kind.TEXT, "words": 2}, "ÿÿÿÿ", "means no text"),
    ({"kind": Kind.UNIX_TIME}, 1700000000, "no moment"),
    ({"kind": Kind.UNIX_TIME}, datetime(2026, 1, 1), "with its zone"),  # no zone
    ({"kind": Kind.UNIX_TIME}, datetime(2106, 2, 8, tzinfo=UTC), "1970 to February 2106"),
    ({"kind": Kind.CALENDAR, "words": 1, "layout": (("year", "month"),)}, datetime(1999, 1, 1, tzinfo=UTC),
     "2000 to 2099"),
]  # fmt: skip


@pytest.mark.parametrize(("form", "quantity", "sentence"), REFUSED)
def test_what_no_words_can_tell_is_refused_with_a_sentence(
    make: Any, form: Any, quantity: Any, sentence: str
) -> None:
    with pytest.raises(RequestError, match=sentence):
        encode(make.value(**form), quantity)


def test_a_power_of_ten_the_register_cannot_hold_is_refused(make: Any) -> None:
    value: Value = make.value(Kind.UINT16, times_ten_to=make.number(Kind.UINT16, 1))
    assert list(encode(value, 5, exponent=0).values()) == [5, 0]
    for power in (-1, 11):
        with pytest.raises(RequestError, match=rf"cannot stand at 10\^{power}"):
            encode(value, 5, exponent=power)

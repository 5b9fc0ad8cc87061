"""Columns are decided by the map alone: their type, and whether a flag column stands beside."""

from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from protocols.register_map.model import (
    WORDS,
    Column,
    Kind,
    NotAvailable,
    Number,
    Order,
    Span,
    ToldUnit,
    Value,
)
from protocols.values.decode import Words, decode
from protocols.values.flags import FLAG_WORDS, Flag, can_be_flagged
from protocols.values.types import ColumnType, output_type

# The archive's contract, "Types", kind by kind.
PLAIN = {
    Kind.BIT: "bool", Kind.INT16: "int16", Kind.UINT16: "uint16", Kind.INT32: "int32", Kind.UINT32: "uint32",
    Kind.INT48: "int64", Kind.UINT48: "uint64", Kind.INT64: "int64", Kind.UINT64: "uint64",
    Kind.FLOAT32: "float32", Kind.FLOAT64: "float64", Kind.BCD16: "uint16", Kind.BCD32: "uint32",
    Kind.SIGN16: "int16", Kind.TEXT: "string", Kind.UNIX_TIME: "timestamp", Kind.CALENDAR: "timestamp",
    Kind.CRC16: "uint16",
}  # fmt: skip
LAYOUT = (("minute", "second"), ("day", "hour"), ("year", "month"))


def of_kind(make: Any, kind: Kind, **more: Any) -> Value:
    words = {Kind.TEXT: 3, Kind.CALENDAR: 3}.get(kind)
    value: Value = make.value(kind, words=words, layout=LAYOUT if kind is Kind.CALENDAR else (), **more)
    return value


@pytest.mark.parametrize("kind", list(Kind))
def test_a_plain_register_keeps_its_exact_type_and_the_data_have_it(make: Any, kind: Kind) -> None:
    value = of_kind(make, kind)
    assert output_type(value).value == PLAIN[kind]
    assert decode(value, make.rows([[1, 2, 3, 4]])).data.dtype == output_type(value).dtype


def test_what_is_scaled_or_combined_is_float64(make: Any) -> None:
    for kind in (Kind.UINT16, Kind.INT32, Kind.FLOAT32, Kind.BCD16, Kind.UINT64):
        for value in (
            make.value(kind, "0.1"),
            make.value(kind, "10"),
            make.value(kind, offset="-40"),
            make.value(kind, plus=(make.number(Kind.UINT16, 4, "1000"),)),
            make.value(kind, times_ten_to=make.number(Kind.INT16, 4)),
        ):
            assert output_type(value) is ColumnType.FLOAT64
            assert decode(value, make.rows([[0, 0, 0, 0, 0]])).data.dtype == np.float64


def test_bits_and_codes_are_the_integer(make: Any) -> None:
    assert output_type(make.value(Kind.UINT32, bits={0: "fault"})) is ColumnType.UINT32
    assert output_type(make.value(Kind.UINT16, codes={0: "idle"})) is ColumnType.UINT16


def test_flag_words_are_those_of_the_archive() -> None:
    assert set(FLAG_WORDS.values()) == {
        "not available", "not a number", "below range", "above range", "unknown code", "unknown unit",
        "invalid time", "unsteady",
    }  # fmt: skip
    assert Flag.NONE not in FLAG_WORDS


@st.composite
def values(draw: st.DrawFn) -> Value:
    """Values with any of what can make them doubtful, or with none of it; parts at 0, 4, 8 and 9."""
    kind = draw(st.sampled_from(list(Kind)))
    words = WORDS.get(kind, 3)
    scale = draw(st.sampled_from(["1", "0.1"]))
    whole = kind not in (Kind.FLOAT32, Kind.FLOAT64, Kind.BIT, Kind.TEXT, Kind.CALENDAR)
    further = draw(st.sampled_from([Kind.UINT16, Kind.FLOAT32, Kind.BCD16]))
    part = Number(None, 4, further, WORDS[further], WORDS[further])
    own = Number(None, 0, kind, words, words, draw(st.sampled_from(list(Order))), scale=Decimal(scale))
    return Value(
        "flow",
        own,
        plus=draw(st.sampled_from([(), (part,)])),
        times_ten_to=draw(st.sampled_from([None, Number(None, 8, Kind.INT16, 1, 1)])),
        told_unit=draw(st.sampled_from([None, ToldUnit(Number(None, 9, Kind.UINT16, 1, 1), {1: "m3"})])),
        codes=draw(st.sampled_from([{}, {0: "idle"}])) if whole else {},
        range=draw(st.sampled_from([None, Span(Decimal(-1), Decimal(5))])),
        not_available=draw(
            st.sampled_from(
                [NotAvailable(), NotAvailable(words=((0,) * words,)), NotAvailable((Decimal(1),))]
            )
        ),
        layout=LAYOUT if kind is Kind.CALENDAR else (),
    )


EDGES = st.sampled_from([0, 1, 0x7F80, 0x7FC0, 0x8000, 0xFFFF, 0x9999]) | st.integers(0, 0xFFFF)


@settings(max_examples=300)
@given(value=values(), words=st.lists(EDGES, min_size=10, max_size=10))
def test_no_words_bring_a_flag_a_nan_or_an_error_that_the_map_does_not_announce(
    value: Value, words: list[int]
) -> None:
    there = np.ones(1, np.bool_)
    row = {Column(None, i): Words(np.array([word], np.uint16), there) for i, word in enumerate(words)}
    decoded = decode(value, row)
    assert decoded.data.dtype == output_type(value).dtype
    assert decoded.flag[0] == Flag.NONE or can_be_flagged(value)
    assert decoded.available[0] or decoded.flag[0] != Flag.NONE
    if decoded.data.dtype.kind == "f":
        assert np.isfinite(decoded.data[0])
    if decoded.available[0]:
        assert decoded.flag[0] not in (
            Flag.NOT_AVAILABLE,
            Flag.NOT_A_NUMBER,
            Flag.INVALID_TIME,
            Flag.UNSTEADY,
        )


@pytest.mark.parametrize("kind", [Kind.UINT16, Kind.INT64, Kind.UNIX_TIME, Kind.BIT, Kind.CRC16])
def test_what_can_never_be_doubtful_has_no_flag_column(make: Any, kind: Kind) -> None:
    assert not can_be_flagged(make.value(kind))


def test_one_thing_that_makes_it_doubtful_is_enough(make: Any) -> None:
    assert can_be_flagged(make.value(Kind.UINT16, apart=True))
    assert can_be_flagged(make.value(Kind.FLOAT32))
    assert can_be_flagged(make.value(Kind.UINT16, plus=(make.number(Kind.FLOAT32, 1),)))
    assert can_be_flagged(make.value(Kind.UINT16, codes={0: "idle"}))

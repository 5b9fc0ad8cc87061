"""Durations and shares as people write them."""

import pytest

from readout.cli.options import duration_words, milliseconds, share_of_percent
from readout.errors import WrongUse


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("100ms", 100),
        ("1s", 1000),
        ("1 s", 1000),
        (" 1s ", 1000),
        ("1.5s", 1500),
        ("0.1s", 100),
        ("1.001s", 1001),  # 1.001 * 1000 is 1000.9999999999999 in doubles
        ("15min", 900_000),
        ("1h30min", 5_400_000),
        ("1 h 30 min", 5_400_000),
        ("9d", 777_600_000),
    ],
)
def test_a_duration_is_whole_milliseconds(text: str, ms: int) -> None:
    assert milliseconds(text, "--every") == ms


@pytest.mark.parametrize(
    "text",
    ["", "1", "s", "1x", "-1s", "0s", "0.1ms", "1,5s", "1s later", "soon 1s", "1e3s", "١s", "nan s", "1m"],
)
def test_anything_else_is_refused_with_the_option_and_the_text(text: str) -> None:
    """`1m` too: a minute or a millisecond, a metre even."""
    with pytest.raises(WrongUse) as refused:
        milliseconds(text, "--every")
    assert f"--every {text}" in str(refused.value)


@pytest.mark.parametrize(
    ("ms", "words"),
    [
        (100, "100 ms"),
        (1500, "1500 ms"),
        (1000, "1 s"),
        (60_000, "1 min"),
        (5_400_000, "1 h 30 min"),
        (90_061_000, "1 d 1 h 1 min 1 s"),
    ],
)
def test_a_duration_is_told_in_words_that_can_be_typed_again(ms: int, words: str) -> None:
    assert duration_words(ms) == words
    assert milliseconds(words, "--every") == ms


@pytest.mark.parametrize(
    ("text", "share"), [("95", 0.95), ("50%", 0.5), ("99.5 %", 0.995), ("0", 0.0), ("100", 1.0)]
)
def test_a_share_is_told_in_percent_with_or_without_its_sign(text: str, share: float) -> None:
    assert share_of_percent(text, "--least") == share


@pytest.mark.parametrize("text", ["", "%", "101", "100.1", "-1", "half", "nan", "95 %%", "1e2", "٩٥"])
def test_what_is_no_share_is_refused_in_a_sentence(text: str) -> None:
    with pytest.raises(WrongUse, match=r"--least .*a share in percent is wanted, 0 to 100"):
        share_of_percent(text, "--least")

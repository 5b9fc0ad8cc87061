"""Fault plans as text: what is played, in which order, and what is said of a plan that is wrong."""

import itertools
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.errors import WrongFaults
from simulators.faults import ALPHABET, Fault, RandomPlan, letters, parse_plan, read_plan
from simulators.faults.choose import read_faults
from simulators.faults.plan import GOOD


def first(text: str, count: int) -> str:
    return letters(parse_plan(text), count)


@pytest.mark.parametrize(
    ("plan", "played"),
    [
        ("", "........"),
        ("....x..s", "....x..s"),
        ("x", "x......."),
        ("(..x)*", "..x..x.."),
        ("(.x)*2 s", ".x.xs..."),
        ("x*3", "xxx....."),
        ("s*", "ssssssss"),
        ("((.x)*2s)*", ".x.xs.x."),
        ("(xs)b", "xsb....."),
        ("l480*2 !06 !0b z1,40", "l480l480!06!0Bz1,40..."),
        ("[zy].[ s e ]", "[zy].[se]....."),
        ("[.]x", ".x......"),
        ("seed=7: ..x", "..x....."),
        ("rest=100,unit=2:x", "x......."),
        (". # good\n x # bad", ".x......"),
    ],
)
def test_a_plan_is_played_once_and_a_star_repeats(plan: str, played: str):
    assert first(plan, 8) == played


def _faults() -> st.SearchStrategy[Fault]:
    def one(letter: str) -> st.SearchStrategy[Fault]:
        limits = ALPHABET[letter].numbers
        spans = [st.integers(limit.low, limit.high) for limit in limits]
        least = 1 if ALPHABET[letter].hexadecimal else 0
        return st.integers(least, len(spans)).flatmap(
            lambda count: st.tuples(*spans[:count]).map(lambda numbers: Fault(letter, numbers))
        )

    return st.sampled_from([letter for letter in ALPHABET if letter != "."]).flatmap(one)


def _steps() -> st.SearchStrategy[tuple[Fault, ...]]:
    return st.lists(_faults(), max_size=3).map(tuple)


@given(st.lists(st.tuples(_steps(), st.integers(1, 4)), max_size=12))
def test_whatever_is_written_is_what_is_played(written: list[tuple[tuple[Fault, ...], int]]):
    text, wanted = "", []
    for step, times in written:
        one = "".join(map(str, step))
        text += f"[{one}]*{times} "
        wanted += [step] * times
    played = list(itertools.islice(parse_plan(text).steps(), len(wanted) + 2))
    assert played == [*wanted, GOOD, GOOD]
    assert list(itertools.islice(parse_plan(first(text, len(wanted))).steps(), len(wanted))) == wanted


def refusal(act: Callable[[], object]) -> str | None:
    """What `act` is refused with; None where it is not."""
    try:
        act()
    except WrongFaults as error:
        return str(error)
    return None


@given(st.text(max_size=40))
def test_any_text_is_a_plan_or_a_sentence(text: str):
    said = refusal(lambda: parse_plan(text))
    assert said is None or said.startswith("Fault plan, character ")


@given(st.text(alphabet=".xbz!06()[]*,0123456789=: restchange", max_size=30))
def test_anything_near_a_plan_is_a_plan_or_a_sentence(text: str):
    said = refusal(lambda: letters(parse_plan(text), 20))
    assert said is None or said.startswith("Fault plan, character ")


WRONG = [
    ("..Q", "character 3: 'Q' is no fault; there are . x b"),
    ("b17", "character 2: 'b' takes 2 to 16 bits, not 17"),
    ("s3", "character 2: 's' (silent) takes no number"),
    ("x1,2", "character 3: 'x' (bit) takes a number of bit, and nothing more"),
    ("!6.", "character 2: '!' is followed by two hexadecimal digits"),
    ("!00", "character 2: '!' is followed by two hexadecimal digits"),
    ("(..x", "character 1: The group that '(' opens here is never closed"),
    ("..x)", "character 4: ')' closes nothing"),
    ("[zy", "character 1: '[' is never closed"),
    ("()*3", "character 1: An empty group"),
    ("x*0", "character 3: '*' takes 1 to 1000000 times"),
    ("x*..", "character 3: '*' without a number repeats for ever"),
    ("(x*)*", "character 2: '*' without a number repeats for ever, which a group cannot do inside"),
    ("*3", "character 1: '*' is no fault"),
    ("(" * 21 + "x" + ")" * 21, "character 21: Groups lie at most 20 deep"),
    ("rest=fast:.", "character 6: rest is a whole number from 0 to 60000, not 'fast'"),
    ("paws=1:.", "character 1: 'paws' is none of seed, unit, rest, change"),
    ("unit=248:.", "character 6: unit is a whole number from 1 to 247, not '248'"),
    ("rest=100", "character 9: Conditions end with ':'"),
    ("random:", "character 8: The seed is a whole number"),
    ("random:1:share=2", "character 16: share is a number from 0 to 1, not '2'"),
    ("random:1:share=nan", "character 16: share is a number from 0 to 1, not 'nan'"),
    ("random:1:faults=", "character 17: faults wants letters"),
    ("random:1:faults=xQ", "character 18: 'Q' is no fault"),
    ("random:1:speed=2", "character 10: 'speed' is none of seed, unit, rest, change, share, faults, exch"),
]


@pytest.mark.parametrize(("plan", "sentence"), WRONG, ids=[plan[:12] for plan, _ in WRONG])
def test_a_wrong_plan_is_told_with_its_place_and_what_is_allowed(plan: str, sentence: str):
    with pytest.raises(WrongFaults) as error:
        parse_plan(plan)
    assert f"Fault plan, {sentence}" in str(error.value)


def test_a_plan_in_a_file_is_told_by_line_and_column(tmp_path: Path):
    file = tmp_path / "hall.plan"
    file.write_text("# a bad afternoon\n....x\n  ..Q\n")
    with pytest.raises(WrongFaults, match=r"hall\.plan:3:5: 'Q' is no fault"):
        read_plan(file)
    file.write_text("# a bad afternoon\n....x   # the compressor starts\n..s\n")
    assert letters(read_plan(file), 9) == "....x..s."


def test_the_text_of_the_option_may_be_a_plan_or_the_name_of_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    (tmp_path / "hall").write_text("..s")
    monkeypatch.chdir(tmp_path)
    for text in ("hall", "./hall", str(tmp_path / "hall"), "..s"):
        plan = read_faults(text)
        assert letters(plan, 4) == "..s."  # type: ignore[arg-type]  # a plan, as the line before shows
    with pytest.raises(WrongFaults, match=r"plans/none: This file cannot be read \(No such file"):
        read_faults("plans/none")
    with pytest.raises(WrongFaults, match="This file cannot be read"):
        read_faults("trace:none")


def test_the_same_seed_plays_the_same_faults_and_another_one_others():
    once, again, other = (first(f"random:{seed}:share=0.3", 400) for seed in (7, 7, 8))
    assert once == again
    assert once != other
    assert first(once, 400) == once  # what is printed can be played on its own


def test_about_the_share_asked_for_goes_wrong_and_only_by_the_faults_named():
    played = first("random:1:share=0.2,faults=xxs", 5000)
    assert set(played) == {".", "x", "s"}
    assert 0.17 < 1 - played.count(".") / 5000 < 0.23
    assert 1.6 < played.count("x") / played.count("s") < 2.5  # x is listed twice


def test_a_random_plan_may_end():
    played = first("random:1:share=1,faults=s,exchanges=5", 8)
    assert played == "sssss..."


def test_a_random_plan_takes_conditions_and_numbers_too():
    plan = parse_plan("random:9:unit=3,faults=z1,40l480,share=0.5,rest=20")
    assert isinstance(plan, RandomPlan)
    assert (plan.conditions.seed, plan.conditions.unit, plan.conditions.rest) == (9, 3, 20)
    assert plan.faults == (Fault("z", (1, 40)), Fault("l", (480,)))

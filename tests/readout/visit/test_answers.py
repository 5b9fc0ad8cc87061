"""Answers from a file and from options: what is one, what is none, and where."""

import pytest

from readout.errors import WrongUse
from readout.visit.answers import Key, Visit, answers_of, is_yes, lacking

CHECKS = ("settings", "room")


def test_options_win_over_the_file_and_comments_are_left_out() -> None:
    text = "# rehearsal\ncautions: yes\n\nreturn: 2026-11-28T14:00\naccept.room: they come back early\n"
    found = answers_of(Visit.START, ["return=2026-12-01T08:00"], text, "a.txt", CHECKS)
    assert found.one(Key.CAUTIONS) == "yes"
    assert found.one(Key.RETURN) == "2026-12-01T08:00"
    assert found.accepted == {"room": "they come back early"}
    assert found.one(Key.NOTE) is None


def test_photographs_may_stand_several_times() -> None:
    found = answers_of(Visit.START, ["photo=a.jpg", "photo=b.jpg"], None, "", CHECKS)
    assert found.given[Key.PHOTO] == ("a.jpg", "b.jpg")


@pytest.mark.parametrize(
    ("option", "text", "said"),
    [
        ("retrun=x", None, "'retrun' is no answer of visit start; it has cautions, return"),
        ("removal=yes", None, "'removal' is no answer of visit start"),
        ("accept.roof=x", None, "there is no check 'roof'; there are"),
        ("cautions", None, "write the answer behind its key"),
        ("cautions=", None, "write the answer behind its key"),
        (None, "cautions: yes\nstart: yes\nstart: no\n", "a.txt:3: start is answered twice"),
        (None, "\n\nstart yes\n", "a.txt:3: write the answer behind its key"),
    ],
)
def test_what_is_no_answer_is_told_with_its_place(option: str | None, text: str | None, said: str) -> None:
    with pytest.raises(WrongUse) as told:
        answers_of(Visit.START, [option] if option else [], text, "a.txt", CHECKS)
    assert said in str(told.value)


def test_a_lacking_answer_is_told_with_how_to_give_it() -> None:
    found = answers_of(Visit.START, ["cautions=yes"], None, "", CHECKS)
    (sentence,) = lacking(found, [Key.CAUTIONS, Key.RETURN])
    assert sentence.startswith("the answer return lacks: Planned return (site time)?")
    assert "--answer 'return=2026-05-13T14:00'" in sentence


@pytest.mark.parametrize(("text", "yes"), [("yes", True), ("Y", True), (" no ", False), ("N", False)])
def test_yes_and_no(text: str, *, yes: bool) -> None:
    assert is_yes(text) is yes


def test_neither_yes_nor_no_is_refused() -> None:
    with pytest.raises(WrongUse, match="neither yes nor no"):
        is_yes("perhaps")

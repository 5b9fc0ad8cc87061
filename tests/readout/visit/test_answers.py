"""Answers from a file and from options: what is one, what is none, and where."""

import pytest

from readout.errors import WrongUse
from readout.visit.answers import Key, Visit, answers_of, is_yes, lacking

CHECKS = {Visit.START: ("settings", "room"), Visit.END: ("settings", "archive")}


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
        (None, "retrun: x\n", "a.txt:1: 'retrun' is no answer of visit start"),
        (None, "end.start: yes\n", "a.txt:1: 'start' is no answer of visit end"),
        (None, "end.accept.room: x\n", "a.txt:1: there is no check 'room'; there are"),
        ("end.display=x", None, "'end.display' is no answer of visit start"),
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


def test_one_file_serves_both_visits() -> None:
    """What only the other visit has is passed over; a prefix keeps apart what both have."""
    text = (
        "cautions: yes\nreturn: 2026-11-28T14:00\nremoval: yes\nstart.display: flow 250 m3/h\n"
        "end.display: flow 240 m3/h\naccept.room: they come back early\nend.accept.settings: as agreed\n"
    )
    start = answers_of(Visit.START, [], text, "a.txt", CHECKS)
    assert start.one(Key.DISPLAY) == "flow 250 m3/h"
    assert (start.one(Key.REMOVAL), start.accepted) == (None, {"room": "they come back early"})
    end = answers_of(Visit.END, [], text, "a.txt", CHECKS)
    assert end.one(Key.DISPLAY) == "flow 240 m3/h"
    assert (end.one(Key.CAUTIONS), end.one(Key.REMOVAL), end.one(Key.RETURN)) == ("yes", "yes", None)
    assert end.accepted == {"settings": "as agreed"}

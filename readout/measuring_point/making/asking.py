"""The questions of a new point, one after the other, and back again."""

from collections.abc import Sequence
from shlex import quote

from readout.measuring_point.amendment.amend import Change
from readout.measuring_point.making.questions import QUESTIONS, Question, wrong_answer

#: What goes back to the question before. Quotes around it make it an answer.
BACK = ("back", "<")


class Asking:
    """What is answered so far, and which question is next."""

    def __init__(self, given: Sequence[Change]) -> None:
        self._answers = {change.name: change for change in given}
        self._asked: list[Question] = []

    @property
    def answers(self) -> list[Change]:
        """What was given and answered, in this order."""
        return list(self._answers.values())

    @property
    def needed(self) -> list[str]:
        """The keys without which there is no point file, and that have no answer."""
        return [one.key for one in QUESTIONS if one.required and one.is_due(self._answers)]

    @property
    def question(self) -> Question | None:
        """What is asked next; None when all is asked."""
        return next((one for one in QUESTIONS if one not in self._asked and one.is_due(self._answers)), None)

    def take(self, question: Question, text: str) -> str:
        """What was typed at a question; what is wrong with it, or nothing where the next one may be asked."""
        if text in BACK:
            return self._back()
        if not text and question.required:
            return "this is needed"
        wrong = wrong_answer(question, text) if text else ""
        if not wrong:
            self._asked.append(question)
            if text:
                self._answers[question.key] = Change(question.path, text)
        return wrong

    def _back(self) -> str:
        if not self._asked:
            return "this is the first question"
        self._answers.pop(self._asked.pop().key, None)
        return ""

    @property
    def options(self) -> str:
        """The answers as options of `point new`, for a shell."""
        return " ".join(f"--set {quote(f'{change.name}={change.value}')}" for change in self.answers)

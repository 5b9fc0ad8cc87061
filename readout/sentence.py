"""A sentence that keeps its template and its values, so that it can be said again in another language.

It is its English text and is used as such, in JSON and at a terminal; the page looks the template up in its
language and writes the values as that language does.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Self


class Sentence(str):
    """`Sentence("{n:g} rows", n=3)` is `3 rows`; a value may be a number, a quantity, a text or a sentence.

    Raises ValueError or KeyError where template and values do not fit together.
    """

    __slots__ = ("template", "values")
    template: str
    values: Mapping[str, object]

    def __new__(cls, template: str, /, **values: object) -> Self:
        """The English text, with what it was made from."""
        made = super().__new__(cls, template.format(**values))
        made.template, made.values = template, values
        return made

    def __getnewargs_ex__(self) -> "tuple[tuple[str], dict[str, Any]]":
        """What a copy is made from."""
        return (self.template,), dict(self.values)


def joined(separator: str, parts: Iterable[str]) -> Sentence:
    """Several in one; the separator is punctuation, which is the same in every language."""
    values = {f"part{n}": part for n, part in enumerate(parts)}
    return Sentence(separator.join(f"{{{name}}}" for name in values), **values)


def told_by(error: Exception) -> str:
    """What an error says: the sentence itself where it was made with one, which `str(error)` is not."""
    first = error.args[0] if error.args else ""
    return first if isinstance(first, Sentence) else str(error)


def word(text: str) -> Sentence:
    """A word of a closed list, as a file's grammar or the archive has it."""
    return Sentence(text.replace("{", "{{").replace("}", "}}"))

"""A language of the page: its sentences, how it writes numbers, spans, dates and moments.

Text from outside (names, notes, a meter's strings) goes through `plain` first: what could turn the line
around or hide is shown as its code point.
"""

import re
import unicodedata
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import Enum, StrEnum
from string import Formatter
from zoneinfo import ZoneInfo

from protocols.units import Quantity, printed, quantity_of
from readout.report.language.german import GERMAN
from readout.report.language.german_place import JOINTS
from readout.report.language.german_review import NAMES
from readout.sentence import Sentence

_BLANK = re.compile(r"\{[^}]*\}")
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_PRICE = re.compile(r"[0-9]+\.[0-9]+ [A-Z]{3}/[A-Za-z]+")
_LONG = re.compile("|".join(JOINTS))


class Language(StrEnum):
    """Languages of the page."""

    ENGLISH = "en"
    GERMAN = "de"


def plain(text: object) -> str:
    """Outside text with control and direction characters as `⟨U+202E⟩`; line ends become spaces."""
    joined = " ".join(str(text).split())
    return "".join(
        f"⟨U+{ord(one):04X}⟩" if unicodedata.category(one) in ("Cc", "Cf", "Cs", "Co") else one
        for one in joined
    )


@dataclass(frozen=True, slots=True)
class Words:
    """`words("{n} rows", n=3)` is the sentence in the language; what has no translation stays English.

    Of a `Sentence` the template is looked up and its values are written anew: numbers and quantities as the
    language writes them, texts as outside text. Fields that are given here stand as they are.
    """

    language: Language = Language.ENGLISH

    def __call__(self, english: str, /, **fields: object) -> str:
        if isinstance(english, Sentence):
            return _Blanks(self, outside=True).vformat(self.template(english.template), (), english.values)
        told = self.template(english)
        return _Blanks(self, outside=False).vformat(told, (), fields) if fields else told

    def template(self, english: str) -> str:
        """A sentence with its blanks in the language; one without letters is the same in all of them."""
        if self.language is Language.ENGLISH or not any(map(str.isalpha, _BLANK.sub("", english))):
            return english
        return self.german(english)

    def german(self, english: str) -> str:
        """Its German; itself where the dictionary lacks it. No line ends between a number and its unit."""
        told = GERMAN.get(english, english)
        for blank in (" {unit}", " {currency}", " %"):
            told = told.replace(blank, f"\u00a0{blank[1:]}")
        return told

    def number(self, value: float | None, digits: int = 4) -> str:
        """`digits` significant ones, no exponent below a thousand million; an en dash for None."""
        if value is None or value != value:
            return "–"
        text = f"{value:.{digits}g}"
        if "e" in text:
            text = f"{value:.0f}" if 1 <= abs(value) < 1e12 else text
        return self._signs(text)

    def fixed(self, value: float, places: int) -> str:
        """With that many places after the point, thousands set apart."""
        return self._signs(f"{value:.{places}f}")

    def exact(self, value: Decimal) -> str:
        """With the digits that it has."""
        return self._signs(f"{value:f}")

    def percent(self, share: float | None, places: int = 1) -> str:
        """A share 0 to 1; what is not quite everything is never rounded to 100 %."""
        if share is None:
            return "–"
        while 0.5 < share < 1 and round(share * 100, places) >= 100 and places < 6:
            places += 1
        return f"{self.fixed(share * 100, places)}{self._apart}%"

    def span(self, seconds: float) -> str:
        """A length of time in its largest sensible unit."""
        for unit, size in (("d", 86400), ("h", 3600), ("min", 60)):
            if seconds >= 2 * size:
                return f"{self.number(seconds / size, 4)}{self._apart}{unit}"
        return f"{self.number(seconds, 4)}{self._apart}s"

    @property
    def _apart(self) -> str:
        """Between a number and its unit; in German no line ends there."""
        return "\u00a0" if self.language is Language.GERMAN else " "

    def moment(self, ms: int | None, zone: ZoneInfo) -> str:
        """ms since 1970 UTC on the site's clock, with its offset."""
        if ms is None:
            return "–"
        when = datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone)
        return f"{self.date(when)} {when:%H:%M} (UTC{when:%z})"

    def date(self, day: date) -> str:
        """`2026-05-04`, and `04.05.2026` in German."""
        return f"{day:%d.%m.%Y}" if self.language is Language.GERMAN else f"{day:%Y-%m-%d}"

    def unit(self, word: str | None, absent: str = "–") -> str:
        """A unit as it is printed; `absent` for a number without one."""
        return printed(plain(word)) if word else absent

    def outside(self, text: object) -> str:
        """Outside text as it is; where all of it is numbers with units, as the language writes those."""
        if isinstance(text, Sentence):
            return self(text)
        told = plain(text)
        if self.language is Language.GERMAN and _PRICE.fullmatch(told):
            return told.replace(".", ",")
        found = [quantity_of(part) for part in told.split(", ")]
        numbers = [self.value(one) for one in found if isinstance(one, Quantity)]
        return ", ".join(numbers) if len(numbers) == len(found) else told

    def name(self, given: str) -> str:
        """A name that maps commonly give a reading or a setting, by its word; any other as it is."""
        return NAMES.get(given, plain(given)) if self.language is Language.GERMAN else plain(given)

    def soft(self, told: str) -> str:
        """For a narrow cell: long words may part at their joints, which browsers seldom know in German."""
        if self.language is Language.ENGLISH:
            return told
        return _LONG.sub(lambda found: JOINTS[found[0]], told)

    def value(self, value: object, spec: str = "") -> str:
        """What stands in a blank of a sentence."""
        match value:
            case Sentence():
                return self(value)
            case Enum():
                return self(str(value))
            case Quantity():
                side = "" if value.gauge is None else "(g)" if value.gauge else "(a)"
                return f"{self.value(value.number)} {self.unit(value.unit.word)}{side}"
            case date():
                return self.date(value)
            case int() | float() | Decimal():
                return self._in_sentence(value, format(value, spec))
            case _:
                return self.outside(value)

    def _in_sentence(self, value: float | Decimal, written: str) -> str:
        """A number that was written in English."""
        if self.language is Language.ENGLISH:
            return written
        if "e" in written:
            return self.number(float(value))
        return written.replace(".", ",").replace("-", "−").replace("%", "\u00a0%")

    def _signs(self, text: str) -> str:
        digits, _, power = text.partition("e")
        whole, dot, rest = digits.partition(".")
        sign, whole = ("−", whole[1:]) if whole.startswith("-") else ("", whole)
        if whole.isdigit() and len(whole) > 4:
            whole = f"{int(whole):,}".replace(",", "\u202f")
        mark = "," if self.language is Language.GERMAN else "."
        raised = f" × 10{str(int(power)).translate(_RAISED)}" if power else ""
        return f"{sign}{whole}{mark if dot else ''}{rest}{raised}"


class _Blanks(Formatter):
    """Fills the blanks of a sentence; texts from `outside` are made plain, others are the page's own."""

    def __init__(self, words: Words, *, outside: bool) -> None:
        self._words, self._outside = words, outside

    def format_field(self, value: object, format_spec: str) -> str:
        """One blank."""
        own = not self._outside and type(value) is str
        return str(value) if own else self._words.value(value, format_spec)

"""A language of the page: its sentences, how it writes numbers, spans and moments.

Text from outside (names, notes, a meter's strings) goes through `plain` first: what could turn the line
around or hide is shown as its code point.
"""

import unicodedata
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from readout.report.language.german import GERMAN


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
    """`words("{n} rows", n=3)` is the sentence in the language; what has no translation stays English."""

    language: Language = Language.ENGLISH

    def __call__(self, english: str, /, **fields: object) -> str:
        told = GERMAN.get(english, english) if self.language is Language.GERMAN else english
        return told.format(**fields) if fields else told

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

    def percent(self, share: float | None, places: int = 1) -> str:
        """A share 0 to 1; what is not quite everything is never rounded to 100 %."""
        if share is None:
            return "–"
        while 0.5 < share < 1 and round(share * 100, places) >= 100 and places < 6:
            places += 1
        return f"{self.fixed(share * 100, places)} %"

    def span(self, seconds: float) -> str:
        """A length of time in its largest sensible unit."""
        for unit, size in (("d", 86400), ("h", 3600), ("min", 60)):
            if seconds >= 2 * size:
                return f"{self.number(seconds / size, 4)} {unit}"
        return f"{self.number(seconds, 4)} s"

    def moment(self, ms: int | None, zone: ZoneInfo) -> str:
        """ms since 1970 UTC on the site's clock, with its offset."""
        if ms is None:
            return "–"
        when = datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone)
        form = "%d.%m.%Y %H:%M" if self.language is Language.GERMAN else "%Y-%m-%d %H:%M"
        return f"{when:{form}} (UTC{when:%z})"

    def _signs(self, text: str) -> str:
        whole, dot, rest = text.partition(".")
        sign, whole = ("−", whole[1:]) if whole.startswith("-") else ("", whole)
        if whole.isdigit() and len(whole) > 4:
            whole = f"{int(whole):,}".replace(",", "\u202f")
        mark = "," if self.language is Language.GERMAN else "."
        return f"{sign}{whole}{mark if dot else ''}{rest}"

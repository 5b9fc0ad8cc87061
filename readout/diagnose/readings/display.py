"""What a person read off the meter's display: a number to its last digit, or a text."""

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import IntEnum
from fractions import Fraction
from math import log10

from protocols.register_map.model import Kind, Value
from protocols.units import Quantity, unit_of
from readout.errors import WrongUse

#: A flow moves between the glance and the reading: within this part of it, it may be the same.
NEAR = Fraction(5, 100)
#: A number of fewer digits than this fits too much to tell a scale by.
DIGITS_FOR_A_SCALE = 3
#: Manuals misstate a scale by at most this power of ten.
LARGEST_POWER = 6
_NUMBER = re.compile(
    r"(?P<number>[-+]?[0-9]{1,20}(?:\.[0-9]{0,12})?)(?P<thousands> *[x×*] *1000\b)?"
    r" *(?P<unit>[^0-9.,\s].*)?\Z"
)

#: A comma that may stand for the decimal point, and one that may as well part thousands.
_COMMA = re.compile(r"\A([-+]?[0-9]+),([0-9]+)(?![0-9.,])")
_EITHER = re.compile(r"[-+]?[1-9][0-9]{0,2},[0-9]{3}(?![0-9.,])")


class Fit(IntEnum):
    """How far a reading is what the display shows, best first; without a display whether it makes sense."""

    FITS = 0  # the digits shown
    SCALED = 1  # the digits shown, with the decimal point elsewhere
    NEAR = 2  # within `NEAR` of what was shown
    PLAUSIBLE = 3  # nothing was read off the display, and nothing speaks against it
    ODD = 4
    NOTHING = 5  # no number at all in this reading, or the form that means "no reading"


@dataclass(frozen=True, slots=True)
class Display:
    """A number shown, in the value's unit: `number` ± less than `last`, one step of its last digit.

    Displays round or cut off, so both neighbours of the last digit fit. `digits`: those from the first that
    is not 0. `text` is the text shown, where the value is one.
    """

    shown: str
    number: Fraction = Fraction(0)
    last: Fraction = Fraction(0)
    digits: int = 0
    text: str | None = None

    def fit(self, found: int | float | str) -> Fit:
        """How far a reading is what is shown."""
        if self.text is not None or isinstance(found, str):
            return Fit.FITS if found == self.text else Fit.ODD
        if self._is_far(float(found)):
            return Fit.ODD
        number = Fraction(found)
        if abs(number - self.number) < self.last:
            tiny = self.number == 0 and number != 0 and abs(number) < self.last / 10**6
            return Fit.ODD if tiny else Fit.FITS  # 0 shown, 1e-39 read: words that are no number of this kind
        return Fit.NEAR if abs(number - self.number) <= NEAR * abs(self.number) else Fit.ODD

    def _is_far(self, found: float) -> bool:
        """Whether no exact comparison is needed: most readings of a value are nowhere near what is shown."""
        shown = float(self.number)
        return abs(found - shown) > 2 * float(NEAR) * abs(shown) + 2 * float(self.last)

    def power(self, found: int | float) -> int | None:
        """The power of ten that turns a reading into what is shown; None where none does."""
        if self.text is not None or self.digits < DIGITS_FOR_A_SCALE or not found or not self.number:
            return None
        power = round(log10(abs(self.number)) - log10(abs(found)))
        if not 0 < abs(power) <= LARGEST_POWER or self._is_far(float(found) * 10.0**power):
            return None
        number = Fraction(found)
        return power if abs(number * Fraction(10) ** power - self.number) < self.last else None

    def near_power(self, found: int | float) -> int | None:
        """The power of ten that brings a reading within `NEAR` of what is shown; None where none does."""
        if self.text is not None or self.digits < DIGITS_FOR_A_SCALE or not found or not self.number:
            return None
        power = round(log10(abs(self.number)) - log10(abs(found)))
        apart = abs(float(found) * 10.0**power - float(self.number))
        near = 0 < abs(power) <= LARGEST_POWER and apart <= float(NEAR) * abs(float(self.number))
        return power if near else None


def read_off(value: Value, shown: str) -> Display:
    """What `shown`, as typed by a person, says of a value: `123.4`, `7.91 l/s`, `1329.7 x1000 m3`.

    Raises:
        WrongUse: it is no number, a moment, or its unit measures something else.
    """
    shown = shown.strip()
    if value.number.kind in (Kind.CALENDAR, Kind.UNIX_TIME):
        raise WrongUse(
            f"--display {value.name}={shown}: leave it out; a clock is held against the computer's"
        )
    if value.number.kind is Kind.TEXT:
        return Display(shown, text=shown)
    codes = {word: code for code, word in value.codes.items()}
    if shown in codes:
        return Display(shown, Fraction(codes[shown]), Fraction(1), len(str(codes[shown])))
    if _EITHER.match(shown):
        raise WrongUse(
            f"--display {value.name}={shown}: a decimal comma, or thousands? Write a point, or no comma"
        )
    found = _NUMBER.match(_COMMA.sub(r"\1.\2", shown))
    if found is None:
        raise WrongUse(f"--display {value.name}={shown}: write the number as shown, such as 123.4")
    text = found["number"]
    places = len(text.partition(".")[2])
    number, last = Decimal(text), Decimal(1).scaleb(-places)
    if found["thousands"]:
        number, last = 1000 * number, 1000 * last
    if found["unit"]:
        number, last = _converted(value, shown, (number, last), found["unit"].strip())
    return Display(shown, Fraction(number), Fraction(last), len(text.lstrip("+-0.").replace(".", "")))


def _converted(
    value: Value, shown: str, numbers: tuple[Decimal, Decimal], word: str
) -> tuple[Decimal, Decimal]:
    """Number and last digit in the value's unit."""
    from readout.measuring_point.conversion import converted

    own = unit_of((value.unit or "").removesuffix("(g)").removesuffix("(a)"))
    theirs = unit_of(word.removesuffix("(g)").removesuffix("(a)"))
    where = f"--display {value.name}={shown}"
    if theirs is None or own is None:
        why = f"'{word}' is no unit known here"
        if theirs is not None:
            told = value.told_unit is not None
            why = "the meter tells its unit itself" if told else "the map states no unit for it"
        raise WrongUse(f"{where}: {why}; write the number alone")
    try:
        number, above = (
            converted(Quantity(each, theirs), own) for each in (numbers[0], numbers[0] + numbers[1])
        )
    except WrongUse as error:
        raise WrongUse(f"{where}: {error}") from error
    return number, above - number

"""How long a meter that was silent is listened for, so that it costs the others no round.

A dead meter costs its line the whole of `reply_within` and `late_within` each time it is asked. It is asked
behind the others, and only for as long as the line is free: what it answers later than that is a reply of
another unit to whoever is asked then, and laid aside by its address.
"""

from dataclasses import replace
from functools import lru_cache

from readout.bus.exchange import Manners

#: It is listened for at least this long [s]: a meter that answers at all mostly begins within 50 ms
#: (common practice, no source).
LEAST_S = 0.1
#: Left over of the free time [s]: for the request itself, and the rest after an earlier silence.
MARGIN_S = 0.25

#: How much slower than usual it may answer; and what a slower answer weighs with each round after it, so
#: that one late reply is soon forgotten.
SLOWER, FORGETTING = 1.2, 0.9


def usual(before_s: float, took_s: float) -> float:
    """What a meter usually takes to answer [s], now that it took `took_s`."""
    return max(took_s, FORGETTING * before_s)


def fits(free_s: float) -> bool:
    """Whether a silent meter can be asked while the line is free for so long [s]."""
    return free_s >= LEAST_S


def brief(manners: Manners, free_s: float, usual_s: float = 0.0) -> Manners:
    """Asked once, and listened for while the line is free for `free_s` seconds, at most as the map says.

    At least as long as it usually takes to answer, `usual_s`: a slow meter is not to be lost for one silence.
    """
    return replace(manners.within(_left_s(free_s, usual_s)), repeats=0)


def _left_s(free_s: float, usual_s: float) -> float:
    return max(LEAST_S, usual_s * SLOWER, free_s - MARGIN_S)


def after_silence(manners: Manners, usual_s: float, spare_s: float, reads: int) -> tuple[Manners, Manners]:
    """How to ask now, and what is left of the round of `reads` reads once one of them has met silence.

    Asked as the map says. What comes behind a first silence, the repeat with a spacer ahead of it and further
    reads, is listened for as long as `spare_s` seconds allow until the line is wanted for another round; at
    least as long as the meter usually takes, `usual_s`: enough for a request that was lost. So where rounds
    are a minute apart even a late reply to a repeat is heard, and where they are a second apart none waits.
    """
    whole_s = manners.reply_within + manners.late_within
    each_s = min(_left_s((spare_s - whole_s) / (2 * reads), usual_s), whole_s)
    return _asked(manners, each_s if usual_s and manners.repeats else manners.repeat_within, each_s)


@lru_cache(maxsize=256)  # a line asks the same few meters in the same few ways
def _asked(manners: Manners, repeat_s: float | None, rest_s: float) -> tuple[Manners, Manners]:
    return replace(manners, repeat_within=repeat_s), replace(manners.within(rest_s), repeats=0)


@lru_cache(maxsize=256)
def busy_for(manners: Manners, round_s: float) -> Manners:
    """One that stays busy must not keep the others waiting longer than a round lasts."""
    return replace(manners, busy_within=round_s)

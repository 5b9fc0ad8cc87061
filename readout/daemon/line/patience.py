"""How long a meter that was silent is listened for, so that it costs the others no round.

A dead meter costs its line the whole of `reply_within` and `late_within` each time it is asked. It is asked
behind the others, and only for as long as the line is free: what it answers later than that is a reply of
another unit to whoever is asked then, and laid aside by its address.
"""

from dataclasses import replace

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
    left = max(LEAST_S, usual_s * SLOWER, free_s - MARGIN_S)
    reply_within = min(manners.reply_within, left)
    late_within = min(manners.late_within, left - reply_within)
    return replace(manners, reply_within=reply_within, late_within=late_within, repeats=0)


def first_silence(manners: Manners, usual_s: float) -> Manners:
    """As the map says, but asked again only briefly: enough for a request that was lost.

    For one whose usual time [s] is known.
    """
    return replace(manners, repeat_within=brief(manners, 0.0, usual_s).reply_within)

"""Recording in the meter: started, stopped and erased through the map's `recording` register."""

import numpy as np

from protocols.register_map.memory_model import LogMemory
from protocols.register_map.model import Column, Value
from protocols.values.decode import Words, decode
from protocols.values.encode import encode_exactly
from readout.bus.outcome import Outcome, Status
from readout.clock import Clock
from readout.errors import WrongUse
from readout.meter.asking import Meter, trusted

#: Words of the codes of `recording`; the third is there only where the meter can be told to erase.
IDLE, RECORDING, ERASE = "idle", "recording", "erase"
#: Seconds a meter has to begin or end recording, and how often it is looked at.
PATIENCE_S, PAUSE_S = 5.0, 0.25


def recording_register(memory: LogMemory, word: str) -> Value:
    """The register that takes commands; WrongUse where the map names none, or none that takes this word."""
    found = memory.recording
    if found is None:
        raise WrongUse(
            "the map names no register that starts and stops recording (recording); do it at the meter."
        )
    if not found.writable:
        raise WrongUse(
            f"recording is not to be written: the map lacks write: allowed for it (line {found.line}). "
            "Do it at the meter, or add the key if the meter's manual says that it can be written."
        )
    if word not in found.codes.values():
        known = ", ".join(found.codes.values())
        raise WrongUse(
            f"the map knows no command for '{word}': the codes of recording are {known}. If the meter's "
            f"manual tells the number that does it, add it there as the word {word}."
        )
    return found


def state_word(meter: Meter, recording: Value) -> str | None:
    """`idle`, `recording`, another word of the map, or None for a number that it does not list."""
    sent = meter.words_of(recording)
    here = np.ones(1, np.bool_)
    words: dict[Column, Words] = {
        column: Words(np.array([word], np.uint16), here) for column, word in sent.items()
    }
    return recording.codes.get(int(decode(recording, words).data[0]))


def command(meter: Meter, recording: Value, word: str) -> Outcome:
    """Write the word's code once.

    A reply that was not there is no failure yet: the register may have taken the command and gone on, so
    what the meter does afterwards decides. Refusals raise as `asking.trusted` does.
    """
    outcome = meter.write(encode_exactly(recording, word))
    if outcome.status not in (Status.OK, Status.NO_REPLY, Status.DAMAGED_REPLY):
        trusted(outcome)
    return outcome


def became(meter: Meter, recording: Value, word: str, clock: Clock) -> str | None:
    """What the meter says once it says `word`, or after `PATIENCE_S`."""
    until = clock.monotonic() + PATIENCE_S
    while (found := state_word(meter, recording)) != word and clock.monotonic() < until:
        clock.sleep_until(clock.monotonic() + PAUSE_S)
    return found

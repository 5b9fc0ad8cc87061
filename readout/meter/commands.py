"""Recording in the meter: started, stopped and erased through the registers that the map names."""

import numpy as np

from protocols.register_map.memory_model import LogMemory
from protocols.register_map.model import Column, Value
from protocols.values.decode import Words, decode
from protocols.values.encode import encode_exactly
from readout.bus.outcome import Outcome, Status
from readout.clock import Clock
from readout.errors import FellShort, WrongUse
from readout.meter.asking import Meter, refusal

#: Words of the codes; the third is there only where the meter can be told to erase.
IDLE, RECORDING, ERASE = "idle", "recording", "erase"
#: Seconds a meter has to begin or end recording, and how often it is looked at.
PATIENCE_S, PAUSE_S = 5.0, 0.25


def command_register(memory: LogMemory, word: str) -> Value:
    """The register that takes a command; WrongUse where the map names none, or none that takes this word.

    `command` where the map has one that takes the word, else `recording`.
    """
    named = [one for one in (memory.command, memory.recording) if one is not None]
    if not named:
        raise WrongUse(
            "the map names no register that starts and stops recording (log_memory: recording); do it at the "
            "meter."
        )
    taking = [one for one in named if word in one.codes.values()]
    if not taking:
        known = ", ".join(dict.fromkeys(code for one in named for code in one.codes.values()))
        raise WrongUse(
            f"the map knows no command for '{word}': the codes of {named[0].name} are {known}. If the "
            f"meter's manual tells the number that does it, add it there as the word {word}."
        )
    found = taking[0]
    if not found.writable:
        raise WrongUse(
            f"{found.name} is not to be written: the map lacks write: allowed for it (line {found.line}). Do "
            "it at the meter, or add the key if the meter's manual says that it can be written."
        )
    return found


def state_register(memory: LogMemory) -> Value:
    """The register that tells whether the meter records; WrongUse where the map names none."""
    if memory.recording is None:
        raise WrongUse(
            "the map names no register that tells whether the meter records (log_memory: recording), so "
            "nobody would know what became of it; do it at the meter."
        )
    return memory.recording


def state_word(meter: Meter, recording: Value) -> str | None:
    """`idle`, `recording`, another word of the map, or None for a number that it does not list."""
    sent = meter.words_of(recording)
    here = np.ones(1, np.bool_)
    words: dict[Column, Words] = {
        column: Words(np.array([word], np.uint16), here) for column, word in sent.items()
    }
    return recording.codes.get(int(decode(recording, words).data[0]))


def command(meter: Meter, register: Value, word: str) -> Outcome:
    """Write the word's code once; FellShort where the meter refuses.

    A reply that did not come, or could not be trusted, is no failure yet: the register may have taken the
    command and gone on, so what the meter does afterwards decides.
    """
    outcome = meter.write(encode_exactly(register, word))
    if outcome.status is Status.EXCEPTION:
        raise FellShort(refusal(outcome))
    return outcome


def became(meter: Meter, recording: Value, word: str, clock: Clock) -> str | None:
    """What the meter says once it says `word`, or after `PATIENCE_S`."""
    until = clock.monotonic() + PATIENCE_S
    while (found := state_word(meter, recording)) != word and clock.monotonic() < until:
        clock.sleep_until(clock.monotonic() + PAUSE_S)
    return found

"""What a technician is told of a reply that gave no value: the likeliest cause, the bytes, what to try."""

from protocols.modbus.timing import SerialFormat


def explained(
    request: bytes, received: bytes, fmt: SerialFormat, found: str, history: tuple[int, int], *, echo: bool
) -> str:
    """At most three lines: cause with the bytes in hex, then up to two things to try.

    `found` is what the line itself found wrong; it stands where the bytes tell no more. `history` counts the
    requests of this line so far and the damaged replies among them, this one included; `echo`: this adapter
    is known to hear itself.
    """
    # Only here, so that a line without a fault never loads it.
    from protocols.modbus.symptoms.classify import History, classify
    from protocols.modbus.symptoms.kinds import Kind

    symptom = classify(request, received, fmt, History(*history, echo))
    # A reply that fits in itself, or bytes that tell nothing: what the line found is the better sentence.
    sentence = found if symptom.kind in (Kind.ANSWER, Kind.GARBAGE) else symptom.sentence
    head = f"{sentence} Received: {symptom.hex}" if received else sentence
    return "\n".join((head, *(f"Try: {advice}" for advice in symptom.advice)))


def overheard(data: bytes, fmt: SerialFormat) -> str:
    """Who sent bytes that nobody asked for, and what to try, where the bytes tell it; else empty."""
    from protocols.modbus.requests import ReadRequest
    from protocols.modbus.symptoms.classify import classify
    from protocols.modbus.symptoms.kinds import Kind
    from protocols.modbus.tables import Table

    telling = (Kind.TELNET, Kind.TEXT, Kind.MODEM_PROBE, Kind.STUCK, Kind.OTHER_MASTER)
    symptom = classify(ReadRequest(Table.HOLDING, 0, 1).frame(1), data, fmt)
    return f"{symptom.sentence} Try: {'; or '.join(symptom.advice)}." if symptom.kind in telling else ""

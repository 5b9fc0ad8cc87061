"""The kinds of fault a line shows, and what a technician is told about each."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

#: Bytes shown of what came; the rest is counted.
SHOWN = 32


class Kind(StrEnum):
    """What came back, by its cause. The values are the words of the JSON forms."""

    ANSWER = "answer"
    SILENCE = "silence"
    ECHO_ONLY = "echo only"
    NOISE_AROUND = "noise around the reply"
    BAD_CHECKSUM = "bad checksum"
    BAD_NOW_AND_THEN = "bad checksum now and then"
    INCOMPLETE = "incomplete"
    START_CUT = "start cut off"
    HEAD_TAKEN = "head taken"
    HOST_FASTER = "computer faster than meter"
    HOST_SLOWER = "computer slower than meter"
    SWAPPED = "A and B swapped"
    PARITY = "parity or stop bits"
    DATA_BITS = "data bits"
    ASCII_MODE = "ASCII mode"
    TEXT = "text"
    STUCK = "line stuck"
    MODEM_PROBE = "modem software"
    OTHER_MASTER = "another master"
    TWO_DEVICES = "two devices answer"
    MODBUS_TCP = "Modbus TCP"
    TELNET = "telnet"
    EXCEPTION_WITHOUT_CRC = "exception without checksum"
    TWO_BYTE_COUNT = "two-byte byte count"
    FOUR_BYTES = "four bytes a register"
    OTHER_UNIT = "other unit"
    MISFIT = "valid frame, other question"
    GARBAGE = "garbage"

    @property
    def came(self) -> bool:
        """Whether anything came that did not come from this side itself."""
        return self not in (Kind.SILENCE, Kind.ECHO_ONLY)


@dataclass(frozen=True, slots=True)
class Symptom:
    """What came of one request. `advice`: the likeliest things to try, two at most; `received` all that came.

    `baud_rate` [bit/s] is the one to try where the kind is about speed.
    """

    kind: Kind
    sentence: str
    advice: tuple[str, ...]
    received: bytes
    baud_rate: int | None = None

    @property
    def hex(self) -> str:
        """The bytes as `01 83 02`; behind the first 32 only how many more."""
        text = self.received[:SHOWN].hex(" ").upper()
        more = len(self.received) - SHOWN
        return f"{text} … and {more} more" if more > 0 else text

    @property
    def lines(self) -> tuple[str, ...]:
        """At most three lines: what it is with its bytes, and what to try."""
        head = f"{self.sentence} Received: {self.hex}" if self.received else self.sentence
        return (head, *(f"Try: {advice}" for advice in self.advice))


class Words(NamedTuple):
    """The sentence of a kind, with {places} for what differs, and what to try."""

    sentence: str
    advice: tuple[str, ...] = ()


WORDS: Mapping[Kind, Words] = {
    Kind.ANSWER: Words("The reply fits the request."),
    Kind.SILENCE: Words(
        "Nothing came back.",
        (
            "the unit address and the baud rate",
            "the meter's supply, and A and B at both ends of the cable",
        ),
    ),
    Kind.ECHO_ONLY: Words(
        "The adapter hears its own request, and the meter is silent.",
        (
            "the unit address, the baud rate, and A and B: the adapter itself works",
            "the switch or jumper of the adapter that turns its echo off",
        ),
    ),
    Kind.NOISE_AROUND: Words(
        "The reply fits; stray bytes around it: {count}. The idle line floats.",
        (
            "bias resistors (mostly 680 Ω) at one end of the line, and a common ground",
            "120 Ω termination at both ends, and nowhere else",
        ),
    ),
    Kind.BAD_CHECKSUM: Words(
        "A reply of the right length whose checksum does not fit.",
        (
            "parity and stop bits, if every reply is like this",
            "termination, shield and ground of the cable, away from motor cables",
        ),
    ),
    Kind.BAD_NOW_AND_THEN: Words(
        "The checksum fails now and then ({damaged} of {asked} replies): the line is disturbed.",
        (
            "the cable: termination, shield and ground, away from motor cables",
            "an isolated adapter, or the laptop without its charger",
        ),
    ),
    Kind.INCOMPLETE: Words(
        "The reply broke off: {came} of {length} bytes came.",
        (
            "another program that reads from the same port (`ports` names it)",
            "the connector and the adapter's cable; an adapter that switches direction by itself",
        ),
    ),
    Kind.START_CUT: Words(
        "The reply starts late, without its first {bytes}; all others fit.",
        (
            "a longer response delay in the meter, 10 ms or more",
            "an adapter that switches direction by itself",
        ),
    ),
    Kind.HEAD_TAKEN: Words(
        "The end of the reply came, its first {count} bytes did not.",
        (
            "another program that reads from the same port (`ports` names it)",
            "the connector and the adapter's cable; an adapter that switches direction by itself",
        ),
    ),
    Kind.HOST_FASTER: Words(
        "Too many bytes, each bit of the meter seen {factor} times: the meter is slower than {baud} Bd.",
        ("{other} Bd", "the meter's own setting of its baud rate"),
    ),
    Kind.HOST_SLOWER: Words(
        "Too few bytes, and they look like a faster reply: the meter is faster than {baud} Bd.",
        ("{other} Bd", "the meter's own setting of its baud rate"),
    ),
    Kind.SWAPPED: Words(
        "The levels are mirrored: A and B are swapped.",
        ("swapping A and B at one end of the cable", "the labels: some makers call A what others call B"),
    ),
    Kind.PARITY: Words(
        "Zeros stand where a parity bit was low: parity or stop bits differ between computer and meter.",
        ("{settings}", "the meter's own setting of its parity"),
    ),
    Kind.DATA_BITS: Words(
        "The top bit of every byte is gone: this side takes 7 data bits, the meter sends 8.",
        ("8 data bits", "the adapter's or device server's own settings"),
    ),
    Kind.ASCII_MODE: Words(
        "The meter speaks Modbus ASCII, not RTU.",
        ("setting the meter to RTU (its menu or a switch)", "its manual: the mode may need a restart"),
    ),
    Kind.TEXT: Words(
        "Text came, not Modbus: “{text}”. A console or a terminal program owns this port.",
        (
            "taking the console off the port (`console=` in the boot settings, the getty of this port)",
            "the right port: `ports` lists them",
        ),
    ),
    Kind.STUCK: Words(
        "Zeros without an end: the line is stuck low.",
        (
            "bias resistors and a common ground",
            "A and B: swapped, shorted, or a device that holds the line",
        ),
    ),
    Kind.MODEM_PROBE: Words(
        "An AT command came: modem software on this or another computer probes the port.",
        (
            "stopping ModemManager (`systemctl disable --now ModemManager`)",
            'a udev rule for the adapter: ENV{{ID_MM_DEVICE_IGNORE}}="1"',
        ),
    ),
    Kind.OTHER_MASTER: Words(
        "A request to unit {unit} came that this computer did not send: another master is on the line.",
        (
            "stopping the other master, or reading through it",
            "a time at which the other master rests",
        ),
    ),
    Kind.TWO_DEVICES: Words(
        "Two devices answer as unit {unit}.",
        (
            "another unit address for one of them, with the other disconnected",
            "whether a repeater or gateway sends each reply twice",
        ),
    ),
    Kind.MODBUS_TCP: Words(
        "The device server speaks Modbus TCP, not RTU over TCP.",
        (
            "the device server's mode: raw, transparent or serial tunnel, without protocol conversion",
            "another TCP port of the device server: 502 is usually the converting one",
        ),
    ),
    Kind.TELNET: Words(
        "Telnet commands came: the device server is in telnet mode.",
        (
            "the device server's mode: raw TCP",
            "rfc2217:// instead of socket://, if the server speaks RFC 2217",
        ),
    ),
    Kind.EXCEPTION_WITHOUT_CRC: Words(
        "{what}",
        ("`tolerate: [exception without checksum]` in the map, if this meter always answers so",),
    ),
    Kind.TWO_BYTE_COUNT: Words(
        "{what}",
        ("`tolerate: [two-byte byte count]` in the map, if this meter always answers so",),
    ),
    Kind.FOUR_BYTES: Words(
        "{what}",
        ("`bytes_per_register: 4` in the map", "the meter's manual: how wide its registers are"),
    ),
    Kind.OTHER_UNIT: Words(
        "Only unit {unit} was heard; unit {asked} was asked.",
        ("the unit address in the point file", "whether another master is asking that unit"),
    ),
    Kind.MISFIT: Words(
        "{what}",
        (
            "a longer `reply_within` in the map, if the reply is one to an earlier request",
            "whether another master is asking the same unit",
        ),
    ),
    Kind.GARBAGE: Words(
        "Bytes came that fit no reply and no known fault.",
        ("other baud rates and parities", "cable, ground and termination"),
    ),
}

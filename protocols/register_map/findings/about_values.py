"""Findings on what a value means: type and codes, parts, units, reference conditions, moments."""

from protocols.register_map.findings.finding import Finding

FINDINGS = (
    Finding(
        "scale 0", "fault",
        "Every raw number times 0 is 0: the reading would be 0 for ever, and look like a plant at rest.",
        "total: {input: 22, type: uint32, scale: 0.1, unit: kg}",
        "total: {input: 22, type: uint32, scale: 0, unit: kg}",
    ),
    Finding(
        "type cannot hold it", "fault",
        "The register can never hold this number, so it would never be met: spikes of 6553.5 would stay "
        "readings.",
        "temperature: {input: 21, type: int16, scale: 0.1, unit: degC, not_available: [-32768]}",
        "temperature: {input: 21, type: int16, scale: 0.1, unit: degC, not_available: [32768]}",
    ),
    Finding(
        "words of another width", "fault",
        "Words in hexadecimal are compared as they are sent, so there must be as many as the value has "
        "registers.",
        "velocity: {input: 18, type: float32, unit: m/s, not_available: [7F7F FFFF]}",
        "velocity: {input: 18, type: float32, unit: m/s, not_available: [FFFF]}",
    ),
    Finding(
        "no raw form", "fault",
        '"No reading" is compared with what is in the registers, before any scale: a raw number or '
        "register words.",
        "pressure: {input: 20, type: uint16, scale: 0.001, unit: bar, not_available: [65535]}",
        "pressure: {input: 20, type: uint16, scale: 0.001, unit: bar, not_available: [overrange]}",
    ),
    Finding(
        "range upside down", "fault",
        "Nothing lies between the two, so every reading would be flagged.",
        "temperature: {input: 21, type: int16, scale: 0.1, unit: degC, range: [-20, 60]}",
        "temperature: {input: 21, type: int16, scale: 0.1, unit: degC, range: [60, -20]}",
    ),
    Finding(
        "part of the wrong type", "fault",
        "An exponent and a code are whole numbers; read as a float, a text or a moment they are rubbish "
        "of any size.",
        "total: {input: 22, type: uint32, unit: kg, times_ten_to: {input: 24, type: int16}}",
        "total: {input: 22, type: uint32, unit: kg, times_ten_to: {input: 24, type: float32}}",
    ),
    Finding(
        "codes and bits", "fault",
        "Codes take the number as a whole, bits take it apart: the same register cannot be both.",
        "state: {input: 24, type: uint16, bits: {0: sensor fault, 1: supply low}}",
        "state: {input: 24, type: uint16, bits: {0: sensor fault}, codes: {0: idle}}",
    ),
    Finding(
        "codes of a float", "fault",
        "A code is compared exactly, and a float is rarely exact; most probably the type is wrong.",
        "state: {input: 24, type: uint16, codes: {0: idle, 1: recording}}",
        "state: {input: 24, type: float32, codes: {0: idle, 1: recording}}",
    ),
    Finding(
        "bit outside the type", "fault",
        "Bits count from 0, the lowest. A manual that lists bits 1 to 16 counts from 1: take one off each.",
        "state: {input: 24, type: uint16, bits: {0: sensor fault, 15: memory full}}",
        "state: {input: 24, type: uint16, bits: {1: sensor fault, 16: memory full}}",
    ),
    Finding(
        "step cannot be written", "fault",
        "The register holds whole numbers of the scale; the meter would be told another value than was "
        "chosen.",
        "settings:\n  damping: {holding: 36, type: uint16, scale: 0.1, unit: s, steps: [0.5, 1], write: "
        "allowed}",
        "settings:\n  damping: {holding: 36, type: uint16, scale: 0.1, unit: s, steps: [0.25, 1], write: "
        "allowed}",
    ),
    Finding(
        "unit of another quantity", "fault",
        "A pressure in m/s cannot be converted, totalled or compared; unit or quantity was taken from "
        "another row.",
        "pressure: {input: 20, type: float32, unit: bar, quantity: pressure}",
        "pressure: {input: 20, type: float32, unit: bar, quantity: velocity}",
    ),
    Finding(
        "gauge and absolute", "fault",
        "Gauge and absolute pressure differ by about 1 bar: 7 bar(g) is about 8 bar(a), and what a leak "
        "loses goes with the absolute one.",
        "pressure: {input: 20, type: float32, unit: bar(a)}",
        "pressure: {input: 20, type: float32, unit: bar(a), gauge: true}",
    ),
    Finding(
        "unknown unit", "warning",
        "The word is kept and shown, but nothing can be converted, totalled or compared in it.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: 16, type: float32, unit: kgph}",
    ),
    Finding(
        "hidden reference conditions", "fault",
        'Each trade has its own "normal" and "standard"; the same air differs between them by nearly 9 %, '
        "more than a good meter's error.",
        "flow: {input: 16, type: float32, unit: Nm3/h, reference: {temperature: 0 degC, pressure: 1.01325 "
        "bar}}",
        "flow: {input: 16, type: float32, unit: Nm3/h}",
    ),
    Finding(
        "condition not understood", "fault",
        "A reference condition is a temperature, or an absolute pressure, with its unit; nothing else "
        "says how much air a volume is.",
        "flow: {input: 16, type: float32, unit: m3/h, reference: {temperature: 20 degC, pressure: 1 bar}}",
        "flow: {input: 16, type: float32, unit: m3/h, reference: {temperature: 20, pressure: 1 bar}}",
    ),
    Finding(
        "reference to nothing", "fault",
        "`as NAME` takes the conditions of another reading; where that has none, the volume still has none.",
        "flow: {input: 16, type: float32, unit: m3/h, reference: {temperature: 20 degC, pressure: 1 bar}}\n"
        "total: {input: 22, type: uint32, unit: m3, reference: as flow}",
        "total: {input: 22, type: uint32, unit: m3, reference: as flwo}",
    ),
    Finding(
        "calendar unclear", "fault",
        "The same registers are another day in another order or coding: 24 10 is October 2024 in decimal "
        "digits, and no month at all as plain numbers.",
        "meter_clock: {holding: 34, type: calendar, coding: bcd, layout: [minute/second, day/hour, "
        "year/month]}",
        "meter_clock: {holding: 34, type: calendar, coding: bcd, layout: [minute/second, hour/none]}",
    ),
    Finding(
        "checksum misplaced", "fault",
        "A crc16 proves that a record came through whole. It needs the record's words before it, and its "
        "name tells the reader to compare it.",
        "log_memory:\n  capacity: 100\n  count: {input: 50}\n  record:\n    registers: 4\n    fields:\n"
        "      time: {at: 0, type: unix time}\n      flow: {at: 2, type: uint16, unit: kg/h}\n"
        "      check: {at: 3, type: crc16}\n  reached_by: {registers: {input: 1000}}",
        "flow: {input: 16, type: crc16}",
    ),
)  # fmt: skip

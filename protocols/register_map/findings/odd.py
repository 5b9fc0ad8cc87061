"""Findings on what is allowed, but probably not meant."""

from protocols.register_map.findings.finding import Finding

FINDINGS = (
    Finding(
        "unsigned below zero", "warning",
        "An unsigned register has no negative numbers: -10.0 would be read as 6543.6, and only in winter, "
        "or when air flows back.",
        "temperature: {input: 21, type: int16, scale: 0.1, unit: degC, range: [-20, 60]}",
        "temperature: {input: 21, type: uint16, scale: 0.1, unit: degC, range: [-20, 60]}",
    ),
    Finding(
        "absolute pressure below zero", "warning",
        "Nothing is below a vacuum. Taken for absolute, a gauge pressure is about 1 bar too low in every "
        "calculation.",
        "pressure: {input: 20, type: int16, scale: 0.001, unit: bar, gauge: true, range: [-1, 16]}",
        "pressure: {input: 20, type: int16, scale: 0.001, unit: bar, range: [-1, 16]}",
    ),
    Finding(
        "temperature below absolute zero", "warning",
        "A range that no temperature can reach belongs to another unit or to raw numbers, and flags "
        "nothing that is wrong.",
        "temperature: {input: 21, type: uint16, scale: 0.01, unit: K, range: [233, 353]}",
        "temperature: {input: 21, type: int16, scale: 0.01, unit: K, range: [-40, 80]}",
    ),
    Finding(
        "roll-over out of reach", "warning",
        "Its registers begin again long before: the number is one of raw counts, or the type is not the "
        "meter's, and then every value is wrong.",
        "total: {input: 22, type: uint16, scale: 0.1, unit: kg, totaliser: {rolls_over_at: 6553.6}}",
        "total: {input: 22, type: uint16, scale: 0.1, unit: kg, totaliser: {rolls_over_at: 65536}}",
    ),
    Finding(
        "total of a rate", "warning",
        "Differences of a total are amounts; in a unit of flow they would be reported as flows, and a "
        "rate that is taken for a total seems to run backwards.",
        "total: {input: 22, type: uint32, unit: kg, totaliser: true}",
        "total: {input: 22, type: uint32, unit: kg/h, totaliser: true}",
    ),
    Finding(
        "range beyond the type", "warning",
        "The register cannot reach this span, so the scale or the type is likely to be wrong: by a factor "
        "of ten, or one register short.",
        "pressure: {input: 20, type: uint16, scale: 0.001, unit: bar, range: [0, 16]}",
        "pressure: {input: 20, type: uint16, scale: 0.0001, unit: bar, range: [0, 16]}",
    ),
    Finding(
        "no reading within the range", "warning",
        "True readings of just this number would be stored as missing. Meters choose what cannot be "
        "measured, such as 65535.",
        "pressure: {input: 20, type: uint16, scale: 0.001, unit: bar, range: [0, 16], not_available: "
        "[65535]}",
        "pressure: {input: 20, type: uint16, scale: 0.001, unit: bar, range: [0, 16], not_available: [9999]}",
    ),
    Finding(
        "float32 total", "warning",
        "A float32 has 24 bits: above 16,777,216 it steps by 2, above 33,554,432 by 4. A total that has "
        "grown so far stands still between its steps, and differences of it are wrong.",
        "total: {input: 22, type: uint32, scale: 0.1, unit: kg, totaliser: true}",
        "total: {input: 22, type: float32, unit: kg, totaliser: true}",
    ),
    Finding(
        "roll-over by one", "warning",
        "The step over the roll-over would be one count too small, in every sum that crosses it.",
        "total: {input: 22, type: uint32, unit: kg, totaliser: {rolls_over_at: 100000000}}",
        "total: {input: 22, type: uint32, unit: kg, totaliser: {rolls_over_at: 99999999}}",
    ),
    Finding(
        "factor of a part", "warning",
        "A total in parts grows by the factor between them: one that does not fit makes it jump, or "
        "counts the small part a thousand times too much.",
        "total: {input: 10, type: uint32, unit: kg, totaliser: true, "
        "plus: [{input: 12, type: uint16, scale: 0.001}]}",
        "total: {input: 10, type: uint32, unit: kg, totaliser: true, plus: [{input: 12, type: uint16}]}",
    ),
    Finding(
        "unit missing", "warning",
        "A number without its unit cannot be converted, compared or believed. Plain numbers say `unit: 1`.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: 16, type: float32}",
    ),
    Finding(
        "reference conditions missing", "warning",
        "A cubic metre of air is another amount in each trade's conditions, by nearly 9 %; in the pipe, "
        "at 7 bar(g), it is about eight times as much air.",
        "flow: {input: 16, type: float32, unit: m3/h, reference: {temperature: 20 degC, pressure: 1 bar}}",
        "flow: {input: 16, type: float32, unit: m3/h}",
    ),
    Finding(
        "unusual reference conditions", "warning",
        "1013 bar for 1013 mbar makes every corrected flow wrong by a thousand, and nobody looks at the "
        "reference again.",
        "flow: {input: 16, type: float32, unit: m3/h, reference: {temperature: 20 degC, pressure: 1013 "
        "mbar}}",
        "flow: {input: 16, type: float32, unit: m3/h, reference: {temperature: 20 degC, pressure: 1013 bar}}",
    ),
    Finding(
        "codes with a gap", "warning",
        "A row lost in copying shows up as an unknown code, months later, in the very state nobody had "
        "seen before.",
        "state: {input: 24, type: uint16, codes: {0: off, 1: warming up, 2: measuring, 3: fault, 4: locked}}",
        "state: {input: 24, type: uint16, codes: {0: off, 1: warming up, 2: measuring, 3: fault, 5: locked}}",
    ),
    Finding(
        "codes that look like bits", "warning",
        "With two faults at once the number is a sum, such as 5, which is no code: both faults would be "
        "missed.",
        "state: {input: 24, type: uint16, bits: {0: sensor fault, 1: supply low, 2: memory full}}",
        "state: {input: 24, type: uint16, codes: {1: sensor fault, 2: supply low, 4: memory full}}",
    ),
    Finding(
        "words alike", "warning",
        "In a table or a filter the two words are taken for one state.",
        "state: {input: 24, type: uint16, codes: {0: idle, 1: idle by error}}",
        "state: {input: 24, type: uint16, codes: {0: idle, 1: Idle}}",
    ),
    Finding(
        "names alike", "warning",
        "Both become columns, and sooner or later the wrong one is put into a calculation.",
        "flow_in: {input: 16, type: float32, unit: kg/h}\nflow_out: {input: 18, type: float32, unit: kg/h}",
        "flow_1: {input: 16, type: float32, unit: kg/h}\nflow1: {input: 18, type: float32, unit: kg/h}",
    ),
    Finding(
        "long text", "warning",
        "Two characters lie in a register. Twice as many registers bring the next values along as "
        "letters, or are refused.",
        "identity: {model: {holding: 60, type: text, registers: 20}}",
        "identity: {model: {holding: 60, type: text, registers: 40}}",
    ),
    Finding(
        "writable without limits", "warning",
        "Whatever is typed would be sent, a diameter of 6000 mm as well; some meters take it and measure "
        "with it.",
        "settings:\n  inside_diameter: {holding: 30, type: float32, unit: mm, range: [12, 900], write: "
        "allowed}",
        "settings:\n  inside_diameter: {holding: 30, type: float32, unit: mm, write: allowed}",
    ),
    Finding(
        "cannot be written", "warning",
        "Modbus writes holding registers and coils only. The setting can be read, and will fail on the "
        "day it is to be changed.",
        "settings:\n  damping: {holding: 36, type: uint16, unit: s, range: [0, 60], write: allowed}",
        "settings:\n  damping: {input: 36, type: uint16, unit: s, range: [0, 60], write: allowed}",
    ),
    Finding(
        "written in pieces", "warning",
        "Between the two requests the meter has half of the old number and half of the new one, and may "
        "measure with it, or refuse it.",
        "wire: {write_with: 16}\nsettings:\n"
        "  inside_diameter: {holding: 30, type: float32, unit: mm, range: [12, 900], write: allowed}",
        "wire: {write_with: 6}\nsettings:\n"
        "  inside_diameter: {holding: 30, type: float32, unit: mm, range: [12, 900], write: allowed}",
    ),
    Finding(
        "another name for it", "warning",
        "What the meter tells of itself is compared with the point file by name. Under another name a "
        "meter set to the wrong diameter is recorded without a word.",
        "settings: {inside_diameter: {holding: 30, type: float32, unit: mm}}",
        "settings: {pipe_inner_diameter: {holding: 30, type: float32, unit: mm}}",
    ),
    Finding(
        "unusual line settings", "warning",
        "With one setting off nothing is understood in either direction, and the meter seems dead.",
        "serial: {baud_rate: 19200, parity: even, stop_bits: 1}",
        "serial: {baud_rate: 19800, parity: even, stop_bits: 1}",
    ),
    Finding(
        "reply time too short", "warning",
        "The reply is on its way when waiting ends: readings are missed, and each late reply has to be "
        "sorted out.",
        "wire: {reply_within: 300 ms}",
        "wire: {reply_within: 3 ms}",
    ),
    Finding(
        "bridge wider than a read", "warning",
        "A longer read is never sent, so the number promises what cannot happen; perhaps the two were "
        "exchanged.",
        "wire: {registers_per_read: 32, bridge: 6}",
        "wire: {registers_per_read: 6, bridge: 32}",
    ),
)  # fmt: skip

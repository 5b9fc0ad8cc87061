"""Findings on numbers as they are written, and on where a register lies."""

from protocols.register_map.findings.finding import Finding

FINDINGS = (
    Finding(
        "leading zeros", "fault",
        "To some programs 0100 is 64 (octal), to others 100: one map would read two registers.",
        "flow: {input: 100, type: float32, unit: kg/h}",
        "flow: {input: 0100, type: float32, unit: kg/h}",
    ),
    Finding(
        "decimal comma", "fault",
        "A comma parts the entries of a list: 0,1 would be two numbers, or a text.",
        "total: {input: 22, type: uint32, scale: 0.1, unit: kg}",
        "total: {input: 22, type: uint32, scale: 0,1, unit: kg}",
    ),
    Finding(
        "number written oddly", "fault",
        "40_001, 12:30 and 1e3 are numbers to some readers of YAML, and each reads another one.",
        "flow: {input: 1000, type: float32, unit: kg/h}",
        "flow: {input: 1e3, type: float32, unit: kg/h}",
    ),
    Finding(
        "number in quotes", "fault",
        "Quotes make it a text; whoever put them there may have meant something else than the number.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: '16', type: float32, unit: kg/h}",
    ),
    Finding(
        "no number", "fault",
        "A number is wanted here, and only plain digits (or 0x and hexadecimal ones) mean the same to "
        "everybody.",
        "flow: {input: 0x0010, type: float32, unit: kg/h}",
        "flow: {input: sixteen, type: float32, unit: kg/h}",
    ),
    Finding(
        "number out of bounds", "fault",
        "Modbus, or what the key is for, has no such number: it would be refused on the line, or cut to "
        "another one.",
        "serial: {unit_address: 12}",
        "serial: {unit_address: 300}",
    ),
    Finding(
        "two meanings of a number", "fault",
        "On the wire an address counts from 0. 40001 in a manual is nearly always the first holding "
        "register, address 0, but some meters truly have an address 40001. The wrong one reads another "
        "value, or none.",
        "wire: {numbering: table digit}\nreadings: {flow: {holding: 40017, type: float32, unit: kg/h}}",
        "flow: {holding: 40017, type: float32, unit: kg/h}",
    ),
    Finding(
        "register 0 counted from 1", "fault",
        "If the manual has a register 0, it counts from 0, and then every address of this map is one too "
        "low.",
        "wire: {numbering: from 0}\nreadings: {flow: {input: 0, type: float32, unit: kg/h}}",
        "wire: {numbering: from 1}\nreadings: {flow: {input: 0, type: float32, unit: kg/h}}",
    ),
    Finding(
        "digit of another table", "fault",
        "4 before a number says holding, 3 says input: read in the other table the same number is another "
        "register.",
        "wire: {numbering: table digit}\nreadings: {flow: {holding: 40017, type: float32, unit: kg/h}}",
        "wire: {numbering: table digit}\nreadings: {flow: {input: 40017, type: float32, unit: kg/h}}",
    ),
    Finding(
        "no table digit", "fault",
        "In a manual with table digits a number without one is a slip, or counted in another way; either "
        "way another register may be meant.",
        "wire: {numbering: table digit}\nreadings: {flow: {input: 30017, type: float32, unit: kg/h}}",
        "wire: {numbering: table digit}\nreadings: {flow: {input: 17, type: float32, unit: kg/h}}",
    ),
    Finding(
        "table digit under from 1", "warning",
        "Under `numbering: from 1` the printed digit counts as part of the number: 40017 would be asked "
        "for as address 40016, which hardly any meter has.",
        "wire: {numbering: table digit}\nreadings: {flow: {holding: 40017, type: float32, unit: kg/h}}",
        "wire: {numbering: from 1}\nreadings: {flow: {holding: 40017, type: float32, unit: kg/h}}",
    ),
    Finding(
        "beyond the last address", "fault",
        "Each table of a meter has 65,536 addresses; what lies behind them cannot be asked for.",
        "flow: {input: 65534, type: float32, unit: kg/h}",
        "flow: {input: 65535, type: float32, unit: kg/h}",
    ),
    Finding(
        "type missing", "fault",
        "A register is 16 bits; whether they are a signed number, half a float or two letters only the "
        "map can say. A guessed type gives numbers that look right for a while.",
        "flow: {input: 16, type: float32, unit: kg/h}",
        "flow: {input: 16, unit: kg/h}",
    ),
    Finding(
        "odd width behind four bytes", "fault",
        "Where each address holds 32 bits, a value of 16 or 48 bits would end in the middle of one.",
        "wire: {bytes_per_register: 4}\nreadings: {flow: {holding: 7006, type: float32, unit: kg/h}}",
        "wire: {bytes_per_register: 4}\nreadings: {flow: {holding: 7006, type: uint16, unit: kg/h}}",
    ),
    Finding(
        "text without length", "fault",
        "How many registers a text takes is nowhere in the reply; too few cut it, too many bring the next "
        "value.",
        "identity: {serial_number: {holding: 60, type: text, registers: 6}}",
        "identity: {serial_number: {holding: 60, type: text}}",
    ),
    Finding(
        "length disagrees with type", "fault",
        "Manuals that give a float four registers often mean a float64; one of the two is wrong, and the "
        "number would be rubbish.",
        "flow: {input: 16, type: float64, unit: kg/h}",
        "flow: {input: 16, type: float32, registers: 4, unit: kg/h}",
    ),
    Finding(
        "overlap", "fault",
        "One register cannot be the end of one value and the start of another: an address, a type, or the "
        "manual's row is wrong.",
        "total: {input: 22, type: uint32, unit: kg}\nstate: {input: 24, type: uint16, codes: {0: idle, 1: "
        "busy}}",
        "total: {input: 22, type: uint32, unit: kg}\nstate: {input: 23, type: uint16, codes: {0: idle, 1: "
        "busy}}",
    ),
    Finding(
        "same registers twice", "warning",
        "Two names for one register are usually a row copied and not changed: then one reading never "
        "moves on its own, and the one that was meant is missing.",
        "flow: {input: 16, type: float32, unit: kg/h}\nvelocity: {input: 18, type: float32, unit: m/s}",
        "flow: {input: 16, type: float32, unit: kg/h}\nvelocity: {input: 16, type: float32, unit: m/s}",
    ),
    Finding(
        "read as two types", "warning",
        "The meter keeps one thing in a register; read as signed here and unsigned there, one of the two "
        "is wrong as soon as it is negative.",
        "flow: {input: 16, type: uint16, unit: kg/h, times_ten_to: {input: 17, type: int16}}\n"
        "total: {input: 18, type: uint16, unit: kg, times_ten_to: {input: 17, type: int16}}",
        "flow: {input: 16, type: uint16, unit: kg/h, times_ten_to: {input: 17, type: int16}}\n"
        "total: {input: 18, type: uint16, unit: kg, times_ten_to: {input: 17, type: uint16}}",
    ),
    Finding(
        "wider than a read", "fault",
        "No single read holds it, and a value put together from two reads is torn when the meter counts "
        "on between them. Beyond its limit a meter answers exception 03, or nothing.",
        "wire: {registers_per_read: 8}\n"
        "identity: {serial_number: {holding: 60, type: text, registers: 8}}",
        "wire: {registers_per_read: 8}\n"
        "identity: {serial_number: {holding: 60, type: text, registers: 12}}",
    ),
    Finding(
        "parts of several reads", "fault",
        "Between two reads a meter counts on: the high part of one moment and the low part of the next "
        "make a total that never was, now and then, with every checksum right.",
        "wire: {bridge: 2}\nreadings:\n  total: {input: 10, type: uint32, unit: kg, "
        "plus: [{input: 14, type: uint16, scale: 0.001}]}",
        "total: {input: 10, type: uint32, unit: kg, plus: [{input: 14, type: uint16, scale: 0.001}]}",
    ),
    Finding(
        "parts apart of one", "fault",
        "`parts: apart` reads the first part again and again to see whether it moved; with one part that "
        "only costs time.",
        "total: {input: 10, type: uint32, unit: kg}",
        "total: {input: 10, type: uint32, unit: kg, parts: apart}",
    ),
)  # fmt: skip

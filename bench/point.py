"""A register map and a measuring point for the meter of `meter.py`, and the command under measurement."""

import sys
from pathlib import Path

#: The command as installed beside the running interpreter.
PIPELEDGER = str(Path(sys.executable).with_name("pipeledger"))

_MAP = """\
register_map: 1
meter: Bench meter
serial: {{baud_rate: {baud}, parity: even, stop_bits: 1, unit_address: 1}}
wire: {{word_order: high first, registers_per_read: 48}}
readings:
  flow:        {{input: 16, type: uint32, unit: m3/h}}
  pressure:    {{input: 18, type: uint16, scale: 0.001, unit: bar}}
  temperature: {{input: 19, type: int16, scale: 0.1, unit: degC}}
  total:       {{input: 20, type: uint32, unit: m3}}
"""

_POINT = """\
measuring_point: 1
name: {name}
site: {{name: Hollow Mere bottling hall, time_zone: Europe/Dublin}}
meter: {{map: map.yaml, unit_address: {unit}}}
line: {{port: {port}}}
"""


def write_point(folder: Path, port: str, baud: int, *, name: str = "bench", unit: int = 1) -> Path:
    """Write both files into the folder; the point's. One round of it is one request."""
    (folder / "map.yaml").write_text(_MAP.format(baud=baud), encoding="utf-8")
    point = folder / f"{name}.yaml"
    point.write_text(_POINT.format(port=port, name=name, unit=unit), encoding="utf-8")
    return point

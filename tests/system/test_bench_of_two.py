"""The manual's program for a bench: two simulated meters on one line. Two processes, so a second or two."""

import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType

MANUAL = Path(__file__).parents[2] / "docs" / "simulated-meters.md"
MAP = """\
register_map: 1
meter: bench meter {unit}
serial: {{unit_address: {unit}}}
readings: {{temperature: {{input: {unit}, type: int16, scale: 0.1, unit: degC}}}}
"""


def test_the_manuals_program_offers_both_meters(command: ModuleType, tmp_path: Path) -> None:
    """Each answers by the address of its own map."""
    (program,) = re.findall(r"```python\n(import sys\n.*?)```", MANUAL.read_text(encoding="utf-8"), re.S)
    (tmp_path / "bench.py").write_text(program)
    for unit in (5, 7):
        (tmp_path / f"map-{unit}.yaml").write_text(MAP.format(unit=unit))
        (tmp_path / f"point-{unit}.yaml").write_text(
            f"measuring_point: 1\nname: point-{unit}\nmeter: {{map: map-{unit}.yaml}}\n"
            "site: {name: Hollow Mere bottling hall, time_zone: UTC}\nline: {port: ./bench-port}\n"
        )
    words = [sys.executable, "bench.py", "./bench-port", "map-5.yaml", "map-7.yaml"]
    with subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.PIPE) as bench:
        try:
            assert bench.stdout is not None
            assert bench.stdout.readline()
            done = command.run("read", "point-5.yaml", "point-7.yaml", "--json", cwd=tmp_path)
        finally:
            bench.kill()
    assert done.status == 0, done
    assert [one["status"] for one in done.json()] == ["ok", "ok"]

"""Several simulated meters on one line, as the command offers them. Two processes, so a second or two."""

from pathlib import Path
from types import ModuleType

MAP = """\
register_map: 1
meter: bench meter {register}
serial: {{unit_address: 5}}
readings: {{temperature: {{input: {register}, type: int16, scale: 0.1, unit: degC}}}}
"""


def test_each_map_is_a_meter_at_its_own_address(command: ModuleType, tmp_path: Path) -> None:
    """By hand: 21.5 and -3.2 stand in the two tables; both maps have address 5, and get 7 and 8."""
    for register, shown in ((5, "21.5"), (6, "-3.2")):
        (tmp_path / f"map-{register}.yaml").write_text(MAP.format(register=register))
        (tmp_path / f"values-{register}.csv").write_text(f"temperature\n{shown}\n")
        (tmp_path / f"point-{register}.yaml").write_text(
            f"measuring_point: 1\nname: point-{register}\n"
            f"meter: {{map: map-{register}.yaml, unit_address: {register + 2}}}\n"
            "site: {name: Hollow Mere bottling hall, time_zone: UTC}\nline: {port: ./bench-port}\n"
        )
    units = ["--unit-address", "7", "--unit-address", "8"]
    tables = ["--values", "values-5.csv", "--values", "values-6.csv"]
    words = ["simulate", "map-5.yaml", "map-6.yaml", *units, *tables, "--link", "bench-port"]
    with command.running(*words, cwd=tmp_path):
        command.until((tmp_path / "bench-port").exists, what="the port")
        done = command.run("read", "point-5.yaml", "point-6.yaml", "--json", cwd=tmp_path)
    assert done.status == 0, done
    assert [one["readings"]["temperature"]["value"] for one in done.json()] == [21.5, -3.2]


def test_addresses_for_some_of_the_maps_only_are_refused(command: ModuleType, tmp_path: Path) -> None:
    (tmp_path / "map.yaml").write_text(MAP.format(register=5))
    done = command.run("simulate", "map.yaml", "map.yaml", "--unit-address", "7", cwd=tmp_path)
    assert done.status == 2
    assert "--unit-address is given 1 time for 2 maps; give it once for each, in their order" in done.err
    done = command.run("simulate", "map.yaml", "map.yaml", cwd=tmp_path)
    assert done.status == 2
    assert "Two meters have unit address 5" in done.err

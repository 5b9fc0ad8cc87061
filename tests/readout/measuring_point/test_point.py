"""A technician's point file and its job become one measuring point, or are told what is wrong with them."""

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from protocols.modbus.timing import SerialFormat
from protocols.register_map.faults import Fault
from readout.measuring_point.load import LoadedPoint, load_point
from readout.measuring_point.model import MeasuringPoint, Owner
from readout.measuring_point.point import parse_point

DEMO = Path(__file__).parents[3] / "demo_data/bottling_hall"
POINT = "measuring_point: 1\nname: header-1\nmeter: {map: m.yaml}\nline: {port: /dev/ttyUSB0}\n"
SITE = "site: {name: Hollow Mere bottling hall, time_zone: Europe/Dublin}\n"
MAP = "register_map: 1\nmeter: m\nserial: {unit_address: 5, baud_rate: 9600, parity: none}\n"
READINGS = "readings: {a: {input: 1, type: int16, unit: s}}\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "m.yaml").write_text(MAP + READINGS)
    return tmp_path


def told(folder: Path, point: str, job: str | None = None) -> tuple[MeasuringPoint | None, list[Fault]]:
    (folder / "p.yaml").write_text(point, encoding="utf-8")
    if job is not None:
        (folder / "job.yaml").write_text(job, encoding="utf-8")
    parsed = parse_point(folder / "p.yaml")
    return parsed.point, list(parsed.faults)


def point_of(folder: Path, point: str, job: str | None = None) -> MeasuringPoint:
    found, faults = told(folder, point, job)
    assert found is not None, "\n".join(map(str, faults))
    assert faults == []
    return found


def loaded(folder: Path, point: str) -> LoadedPoint:
    (folder / "p.yaml").write_text(point)
    found = load_point(folder / "p.yaml")
    assert found.point is not None, "\n".join(map(str, found.faults))
    return found.point


def test_the_point_of_the_demonstration_says_what_its_files_say() -> None:
    found = load_point(DEMO / "bottling-hall-header.yaml")
    assert found.faults == ()
    assert found.point is not None
    assert (found.point.unit_address, found.point.serial_format) == (20, SerialFormat(19200, "even", 8, 1))
    point = found.point.point
    assert (point.name, point.site.time_zone, point.role) == (
        "bottling-hall-header",
        "Europe/Dublin",
        "header flow",
    )
    assert (point.meter.serial_number, point.meter.owner, point.record_every) == ("EX-0050", Owner.OURS, 1)
    assert point.pipe is not None
    assert str(point.pipe.diameter_set_in_meter) == "53.1 mm"
    assert point.pipe.inlet_run is not None
    assert (str(point.pipe.inlet_run.length), point.pipe.inlet_run.after) == ("1.8 m", "single elbow")
    assert point.conditions is not None
    assert point.conditions.expected_flow is not None
    assert str(point.conditions.expected_flow.high) == "420 m3/h"
    assert str(point.conditions.pressure) == "7 bar(g)"
    assert point.energy is not None
    assert point.energy.price is not None
    assert (point.energy.price.amount, point.energy.price.currency) == (Decimal("0.21"), "EUR")
    assert point.calendar is not None
    assert point.calendar.production == (0, 1, 2, 3, 4)
    assert point.calendar.shifts["late"].until == 22 * 60
    assert point.text == (DEMO / "bottling-hall-header.yaml").read_text(encoding="utf-8")
    assert point.job_text == (DEMO / "job.yaml").read_text(encoding="utf-8")


def test_a_point_needs_only_name_site_map_and_port(folder: Path) -> None:
    found = point_of(folder, POINT + SITE)
    assert (found.name, found.line.port, found.pipe, found.record_every) == (
        "header-1",
        "/dev/ttyUSB0",
        None,
        None,
    )


def test_a_key_in_the_point_wins_over_the_same_key_in_the_job(folder: Path) -> None:
    job = "job: 1\nsite: {name: From the job, time_zone: UTC}\nrecord: {every: 10 s}\ncustomer: Hall\n"
    found = point_of(folder, POINT + "job: job.yaml\nrecord: {every: 1s}\n", job)
    assert (found.site.name, found.record_every, found.customer) == ("From the job", 1, "Hall")
    own = point_of(folder, POINT + "job: job.yaml\n" + SITE, job)
    assert (own.site.name, own.record_every) == ("Hollow Mere bottling hall", 10)


def test_the_line_of_a_job_serves_all_its_points(folder: Path) -> None:
    text = "measuring_point: 1\nname: a\njob: job.yaml\nmeter: {map: m.yaml}\n" + SITE
    assert point_of(folder, text, "job: 1\nline: {port: COM7}\n").line.port == "COM7"


def test_a_port_that_begins_with_a_dot_and_a_slash_lies_beside_the_point_file(folder: Path) -> None:
    assert loaded(folder, POINT.replace("/dev/ttyUSB0", "./meter-port") + SITE).port == str(
        folder / "meter-port"
    )
    assert loaded(folder, POINT + SITE).port == "/dev/ttyUSB0"
    assert loaded(folder, POINT.replace("/dev/ttyUSB0", "socket://h:502") + SITE).port == "socket://h:502"


def test_line_settings_are_the_points_else_the_maps_else_the_standards(folder: Path) -> None:
    """MODBUS over Serial Line V1.02, 2.5.1, p. 12: even parity is the default; 3.2, p. 20: 19200 bit/s."""
    assert loaded(folder, POINT + SITE).serial_format == SerialFormat(9600, "none", 8, 1)
    own = POINT.replace("ttyUSB0", "ttyUSB0, baud_rate: 38400, stop_bits: 2")
    assert loaded(folder, own + SITE).serial_format == SerialFormat(38400, "none", 8, 2)
    (folder / "m.yaml").write_text(MAP.replace(", baud_rate: 9600, parity: none", "") + READINGS)
    assert loaded(folder, POINT + SITE).serial_format == SerialFormat(19200, "even", 8, 1)
    assert "19200 is taken" in load_point(folder / "p.yaml").faults[0].fault


def test_line_settings_that_no_meter_has_are_doubted_in_the_point_as_in_the_map(folder: Path) -> None:
    """Usual baud rates: common practice, no source. A character has 11 bits: V1.02, 2.5.1, p. 12."""
    (folder / "p.yaml").write_text(POINT.replace("USB0", "USB0, baud_rate: 9700") + SITE)
    (fault,) = load_point(folder / "p.yaml").faults
    assert (Path(fault.file).name, fault.line, fault.severity) == ("p.yaml", 4, "warning")
    assert "9700 is no usual baud rate; is it 9600?" in fault.fault
    (folder / "p.yaml").write_text(POINT.replace("USB0", "USB0, parity: odd, stop_bits: 2") + SITE)
    (fault,) = load_point(folder / "p.yaml").faults
    assert "a character of 12 bits" in fault.fault


def test_the_unit_address_is_the_points_else_the_maps(folder: Path) -> None:
    assert loaded(folder, POINT + SITE).unit_address == 5
    assert loaded(folder, POINT.replace("m.yaml", "m.yaml, unit_address: 9") + SITE).unit_address == 9
    (folder / "m.yaml").write_text(MAP.replace("unit_address: 5, ", "") + READINGS)
    (folder / "p.yaml").write_text(POINT + SITE)
    found = load_point(folder / "p.yaml")
    assert found.point is None
    assert [(f.line, f.column) for f in found.faults] == [(3, 8)]
    assert "neither the map nor the point says the unit_address" in found.faults[0].fault


def test_faults_of_point_job_and_map_are_told_in_one_run(folder: Path) -> None:
    (folder / "m.yaml").write_text(MAP + READINGS.replace("int16", "int17"))
    (folder / "job.yaml").write_text("job: 1\nsite: {name: Hall, time_zone: Europe/Dubling}\n")
    (folder / "p.yaml").write_text(POINT + "job: job.yaml\nrole: haeder flow\n")
    found = load_point(folder / "p.yaml")
    assert found.point is None
    assert [(Path(f.file).name, f.line, f.column) for f in found.faults] == [
        ("p.yaml", 6, 7),
        ("job.yaml", 2, 31),
        ("m.yaml", 4, 32),
    ]


def test_days_off_are_dates(folder: Path) -> None:
    found = point_of(folder, POINT + SITE + "calendar: {closed: [2026-05-04], production: Sun-Thu}\n")
    assert found.calendar is not None
    assert found.calendar.closed == (date(2026, 5, 4),)
    assert found.calendar.production == (0, 1, 2, 3, 6)


def test_uncertainties_are_half_widths_with_their_coverage(folder: Path) -> None:
    text = "uncertainty: {inside_diameter: {half_width: 0.5 mm, k: 1}, pressure: 0.05 bar, velocity: 2 %}\n"
    found = point_of(folder, POINT + SITE + text).uncertainty
    assert (str(found["inside_diameter"].half_width), found["inside_diameter"].k) == ("0.5 mm", 1)
    assert (str(found["pressure"].half_width), found["pressure"].k) == ("0.05 bar", None)
    assert set(found) == {"inside_diameter", "pressure", "velocity"}

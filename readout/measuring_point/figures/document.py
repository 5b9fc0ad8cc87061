"""The figures of a place as one JSON document: numbers with their unit in the name, None where not known."""

from decimal import Decimal
from typing import Any

from readout.measuring_point.checks.plain import millimetres
from readout.measuring_point.conditions.states import State
from readout.measuring_point.figures.figures import Expected, Figures
from readout.measuring_point.figures.place import Place
from readout.measuring_point.installation.cautions import cautions_for
from readout.measuring_point.installation.insertion import Insertion
from readout.measuring_point.installation.runs import Run
from readout.measuring_point.pipe.bore import Bore, other_sizes
from readout.measuring_point.pipe.standards import flow_error_percent

INCH_MM = Decimal("25.4")


def document(figures: Figures) -> dict[str, Any]:
    """The document that `point show --json` prints, without its budget of uncertainty."""
    place = figures.place
    force = figures.force
    return {
        "point": place.point.name,
        "site": place.point.site.name,
        "fluid": place.fluid,
        "pipe": None if place.bore is None else _pipe(place, place.bore),
        "insertion": None if place.insertion is None else _insertion(place.insertion),
        "inlet_run": None if place.inlet is None else _run(place.inlet),
        "outlet_run": None if place.outlet is None else _run(place.outlet),
        "atmospheric_pressure_pa": _rounded(figures.atmosphere_pa),
        "atmospheric_pressure_from": figures.atmosphere_from,
        "line": None if figures.stream is None else _state(figures.stream.line),
        "reference": None if figures.stream is None else _state(figures.stream.reference),
        "expected": [_expected(one) for one in figures.expected],
        "stem_force_n": None if force is None else _rounded(force.newton),
        "stem_force_kg": None if force is None else _rounded(force.kilograms),
        "missing": list(figures.missing),
        "cautions": [{"when": one.when, "text": one.text} for one in cautions_for(place.fluid)],
    }


def _pipe(place: Place, bore: Bore) -> dict[str, Any]:
    pipe = place.point.pipe
    told = None if pipe is None else pipe.diameter_set_in_meter
    in_meter = None if told is None else millimetres(told)
    return {
        "inside_diameter_mm": _rounded(bore.inside_mm),
        "known": bore.known,
        "expanded_uncertainty_mm": _rounded(bore.expanded_mm),
        "coverage_factor": 2,
        "uncertainty_from": bore.uncertain,
        "flow_contribution_percent": _rounded(bore.flow_percent),
        "outside_diameter_mm": _rounded(bore.outside_mm),
        "wall_mm": _rounded(bore.wall_mm),
        "area_mm2": _rounded(bore.area_m2 * 1e6),
        "set_in_meter_mm": _rounded(in_meter),
        "set_in_meter_flow_percent": (
            None if in_meter is None else _rounded(flow_error_percent(in_meter, bore.inside_mm))
        ),
        "same_nominal_size": [
            {"pipe": str(size), "inside_diameter_mm": float(size.bore_mm), "flow_percent": _rounded(percent)}
            for size, percent in other_sizes(bore)
        ],
    }


def _insertion(found: Insertion) -> dict[str, Any]:
    return {
        "position": found.position.value,
        "calibrated_for": found.calibrated_for.value,
        "why": found.why,
        "depth_mm": _rounded(found.depth_mm),
        "mark_mm": _rounded(found.mark_mm),
        "mark_in": None if found.mark_mm is None else _rounded(found.mark_mm / INCH_MM),
        "draw_back_mm": _rounded(found.draw_back_mm),
        "draw_back_in": None if found.draw_back_mm is None else _rounded(found.draw_back_mm / INCH_MM),
        "tip_to_far_wall_mm": _rounded(found.tip_to_far_wall_mm),
        "blocked_to_sensor_percent": None if found.blocked_to_sensor is None
        else _rounded(100 * found.blocked_to_sensor),
        "blocked_percent": None if found.blocked is None else _rounded(100 * found.blocked),
        "problems": list(found.problems),
    }  # fmt: skip


def _run(run: Run) -> dict[str, Any]:
    return {
        "after": run.after or None,
        "diameters": _rounded(run.diameters),
        "asked_diameters": run.asked,
        "asked_by": run.basis.value,
        "enough": run.is_enough,
        "missing_mm": _rounded(run.missing_mm),
    }


def _state(state: State) -> dict[str, Any]:
    return {
        "temperature_k": _rounded(state.temperature_k),
        "pressure_pa": _rounded(state.pressure_pa),
        "words": str(state),
    }


def _expected(one: Expected) -> dict[str, Any]:
    case = one.case
    return {
        "said": str(one.said),
        "velocity_actual_m_per_s": _rounded(case.velocity_m_per_s),
        "velocity_reference_m_per_s": _rounded(case.velocity_reference_m_per_s),
        "velocity_at_sensor_m_per_s": _rounded(case.velocity_at_sensor_m_per_s),
        "reynolds": _rounded(case.reynolds),
        "mach": _rounded(case.mach),
        "profile_exponent": _rounded(case.profile.exponent),
        "profile_factor": _rounded(case.profile_factor),
        "correction": _rounded(one.correction),
        "millimetre_percent": _rounded(one.millimetre_percent),
        "line_m3_per_h": _rounded(case.line_flow.amount * 3600),
        "reference_m3_per_h": _rounded(case.reference_flow.amount * 3600),
        "mass_kg_per_h": _rounded(case.mass_flow_kg_per_s * 3600),
        "volumes": [
            {"name": reference.name, "at": str(reference.state), "m3_per_h": _rounded(volume.amount * 3600)}
            for reference, volume in one.volumes
        ],
        "range_fit": None if one.fit is None else one.fit.fit.value,
        "range_says": None if one.fit is None else one.fit.says,
        "remarks": list(case.remarks),
    }


def _rounded(number: Decimal | float | None) -> float | None:
    """To 7 significant digits: what a sum of measured lengths leaves behind them says nothing."""
    return None if number is None else float(f"{float(number):.7g}")

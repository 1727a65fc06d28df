"""What holds for every function of the physics that takes numbers: arrays agree with numbers, NaN never slips in.

A new public function fails here until it stands in `EXAMPLES`, or in `NO_NUMBERS` with the reason.
"""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import math
import pkgutil
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pytest

import estimates.physics
from estimates.house import Fuel
from estimates.physics import (
    airtightness,
    assembly,
    attic,
    bills,
    combustion,
    conduction,
    drying,
    energy,
    finance,
    framing,
    least_squares,
    materials,
    moisture,
    uncertainty,
    units,
    validity,
    vapour,
    ventilation,
)
from estimates.physics.conduction import Boundary, FaceLayer, Side, Strip, StripKind
from estimates.physics.moisture import MonthClimate, VapourLayer
from estimates.physics.units import UnitError
from estimates.physics.validity import OutOfRange

Arguments = dict[str, Any]


@dataclass(frozen=True)
class Example:
    """Arguments of a function that takes numbers.

    cases : arguments that differ from element to element; one case alone for a function of single numbers or rows.
    fixed : arguments that are the same in every case.
    infinite_means : arguments whose infinity has a meaning of its own.
    written_in_code : numbers that are never anybody's input, such as the limits given to a check.
    """

    function: Callable[..., Any]
    cases: Sequence[Arguments]
    fixed: Arguments = field(default_factory=dict)
    infinite_means: tuple[str, ...] = ()
    written_in_code: tuple[str, ...] = ()

    @property
    def elementwise(self) -> bool:
        return len(self.cases) > 1


def each(function: Callable[..., Any], names: str, *rows: Sequence[Any], **fixed: Any) -> Example:
    """A function that answers an array element by element: one row of values for each element."""
    return Example(function, [dict(zip(names.split(), row, strict=True)) for row in rows], fixed)


def single(
    function: Callable[..., Any],
    *,
    infinite_means: tuple[str, ...] = (),
    written_in_code: tuple[str, ...] = (),
    **case: Any,
) -> Example:
    """A function of single numbers, or of whole rows of them."""
    return Example(function, [case], infinite_means=infinite_means, written_in_code=written_in_code)


COLD = [20.0] * 30 + [35.0] * 30 + [50.0] * 30 + [70.0] * 30
FIT = bills.fit_bills([131, 84, 41, 10], [30] * 4, COLD, bills.Pattern.HEATING, heating_base_f=60)
AFTER = bills.fit_bills([98, 65, 31, 10], [30] * 4, COLD, bills.Pattern.HEATING, heating_base_f=60)
LAYERS = [VapourLayer("board", 0.2, 0.5), VapourLayer("fill", 1.5, 1.0)]
FIELD = conduction.solve(
    [0, 1], [0, 1, 2], [[1.0], [1.0]], (Boundary(Side.LOW, 0.0, 0.5), Boundary(Side.HIGH, 10.0, 0.5))
)
CURVE = airtightness.fit_power_law([60, 50, 40, 30, 20], [2141, 1900, 1644, 1362, 1048])
GYPSUM = materials.material("gypsum")


def _lines(*rows: tuple[float, float]) -> list[SimpleNamespace]:
    return [SimpleNamespace(r=r, settled_in=settled) for r, settled in rows]


EXAMPLES: Mapping[str, Example] = {
    # --- air -----------------------------------------------------------------------------------------------------
    "airtightness.air_density": each(airtightness.air_density, "temperature_f altitude_ft", (68, 0), (-10, 7000)),
    "airtightness.fit_power_law": single(
        airtightness.fit_power_law,
        pressure_pa=[60.0, 50, 40, 30, 20],
        flow_cfm=[2141.0, 1900, 1644, 1362, 1048],
        baseline_pa=[1.0, 2.0],
        indoor_f=70.0,
        outdoor_f=20.0,
        altitude_ft=500.0,
    ),
    "airtightness.PowerLaw.flow_cfm": each(CURVE.flow_cfm, "pressure_pa", (4,), (50,)),
    "airtightness.cfm50_single_point": each(
        airtightness.cfm50_single_point,
        *("flow_cfm pressure_pa", (1500.0, 40.0), (900.0, 50.0), (700.0, 62.0)),
        exponent=0.64,
        exponent_range=(0.55, 0.75),
    ),
    "airtightness.ela_in2": each(
        airtightness.ela_in2,
        *("cfm50 exponent", (1000.0, 0.65), (0.0, 0.5), (2400.0, 0.72)),
        reference_pa=4.0,
        discharge=0.9,
        density=1.2,
    ),
    "airtightness.ach50": each(airtightness.ach50, "cfm50 volume_ft3", (2000.0, 12e3), (750.0, 9e3)),
    "airtightness.infiltration_cfm": each(
        airtightness.infiltration_cfm,
        *("ela stories delta_f wind_mph", (77.0, 2, 72.0, 15.0), (120.0, 1.5, 30.0, 0.0), (0.0, 3, 0.0, 7.0)),
        shelter=3,
    ),
    "airtightness.natural_cfm": each(airtightness.natural_cfm, "cfm50 n_factor", (2000.0, 20.0), (900.0, 14.0)),
    "airtightness.leakage_after": each(
        airtightness.leakage_after,
        "before_cfm50 shares treated effects",
        (
            2000.0,
            {"walls": 0.4, "rest": 0.6},
            {"walls": {"fill": 0.75, "rim": 1.0}},
            {"walls": {"fill": 0.5, "rim": 0.2}},
        ),
        (
            1200.0,
            {"walls": 0.3, "rest": 0.3},
            {"walls": {"fill": 1.0, "rim": 0.5}},
            {"walls": {"fill": 0.6, "rim": 0.1}},
        ),
    ),
    "ventilation.whole_house_rate": each(
        ventilation.whole_house_rate, "floor_ft2 bedrooms", (2400.0, 3), (900.0, 0), (1800.0, 1)
    ),
    "ventilation.table_rate": each(ventilation.table_rate, "floor_ft2 bedrooms", (2400.0, 3), (500.0, 0), (501.0, 2)),
    "ventilation.effective_infiltration": each(
        ventilation.effective_infiltration, "ela height_ft weather_factor", (100.0, 16.4, 0.6), (0.0, 8.0, 0.4)
    ),
    "ventilation.infiltration_credit": each(
        ventilation.infiltration_credit,
        "total_cfm infiltration_cfm floor_ft2",
        *((100.0, 60.0, 2000.0), (80.0, 120.0, 1500.0), (90.0, 0.0, 1000.0)),
    ),
    "ventilation.local_shortfall": single(
        ventilation.local_shortfall,
        rooms=(ventilation.LocalExhaust(ventilation.LocalRoom.KITCHEN, 40.0, True),),
    ),
    "ventilation.required_fan": single(
        ventilation.required_fan,
        floor_ft2=1800.0,
        bedrooms=3,
        infiltration_cfm=55.0,
        rooms=(ventilation.LocalExhaust(ventilation.LocalRoom.BATH, 20.0, False),),
    ),
    "combustion.combustion_findings": single(
        combustion.combustion_findings,
        readings=combustion.CombustionReadings(
            gas_leak_found=False,
            ambient_co_ppm=3.0,
            appliances=(
                combustion.ApplianceReading("boiler", combustion.Vent.NATURAL_HEATING, 20.0, -1.0, 45.0, True),
            ),
        ),
    ),
    # --- heat ----------------------------------------------------------------------------------------------------
    "assembly.u_parallel": each(
        assembly.u_parallel, "fractions r_paths", ([0.75, 0.25], [16.43, 7.81]), ([0.8, 0.2], [14.0, 6.0])
    ),
    "assembly.r_isothermal": each(
        assembly.r_isothermal,
        "fractions layers",
        ([0.75, 0.25], [0.17, 0.81, [13.0, 4.38], 0.68]),
        ([0.8, 0.2], [0.25, 0.0, [11.0, 4.1], 0.61]),
    ),
    "assembly.r_iso6946": each(
        assembly.r_iso6946,
        "fractions layers",
        ([0.75, 0.25], [0.17, 0.81, [13.0, 4.38], 0.68]),
        ([0.8, 0.2], [0.25, 0.0, [11.0, 4.1], 0.61]),
    ),
    "assembly.with_voids": each(
        assembly.with_voids, "u_filled u_empty void_fraction", (0.0645, 0.3745, 0.05), (0.07, 0.3, 0.0)
    ),
    "assembly.shrinkage_void_fraction": each(
        assembly.shrinkage_void_fraction, "shrinkage width_in height_in", (0.01, 14.5, 92.625), (0.03, 22.5, 40.0)
    ),
    "assembly.covered_u": each(
        assembly.covered_u,
        "covered_share covered_r open_r series_r",
        *((0.5, 13.0, 10.0, 3.0), (0.0, 12.0, 9.0, 2.5), (1.0, 12.0, 9.0, 2.5)),
    ),
    "assembly.wall_u": each(
        assembly.wall_u,
        "series_r cavity_r framing_r framing_fraction undetected_framing covered_share covered_r void_fraction "
        "unfilled_fraction empty_r",
        (2.95, 13.7, 4.375, 0.18, 0.04, 0.0, 0.91, 0.02, 0.0, 0.91),
        (2.5, 0.91, 4.375, 0.29, 0.08, 0.5, 12.0, 0.0, 0.1, 0.8),
        (3.1, 12.0, 4.4, 0.35, 0.0, 1.0, 11.0, 0.1, 0.65, 1.01),
    ),
    "conduction.grid_lines": single(conduction.grid_lines, stops=[0.0, 1.0, 3.0], step=1.0),
    "conduction.solve": single(
        conduction.solve,
        x=[0.0, 1.0],
        y=[0.0, 1.0, 2.0],
        k=[[1.0], [2.0]],
        boundaries=(Boundary(Side.LOW, 0.0, 0.5, 0.0, 1.0), Boundary(Side.HIGH, 10.0, 0.5, 0.0, 1.0)),
    ),
    "conduction.Field.at": single(FIELD.at, x=0.5, y=1.0),
    "conduction.infrared": single(
        conduction.infrared,
        strips=[Strip(0.0, 7.25, StripKind.FILLED), Strip(7.25, 1.5, StripKind.STUD)],
        depth_in=3.5,
        outside=[FaceLayer(0.5, 0.45)],
        inside=[FaceLayer(0.5, 0.45)],
        cavity_r={StripKind.FILLED: 13.7},
        t_in_f=70.0,
        t_out_f=20.0,
        outside_film_r=0.17,
        inside_film_r=0.68,
        step_in=0.5,
    ),
    "materials.squeezed_batt_r": each(
        materials.squeezed_batt_r, "label_r label_in thickness_in", (19, 6.25, 5.5), (30, 10.0, 2.0), (13, 3.5, 9.0)
    ),
    "materials.framing_r": each(materials.framing_r, "depth_in", (3.5,), (5.5,)),
    "materials.Material.resistance": single(materials.material("softwood").resistance, thickness_in=0.75),
    "materials.Material.permeance": single(GYPSUM.permeance, thickness_in=0.5),
    # --- attic ---------------------------------------------------------------------------------------------------
    "attic.coverage_row": single(attic.coverage_row, table=_lines((30, 8.4), (38, 10.6)), settled_in=9.0),
    "attic.coverage_row_for_r": single(attic.coverage_row_for_r, table=_lines((30, 8.4), (38, 10.6)), r=31.0),
    "attic.bags": each(attic.bags, "area_ft2 bags_per_1000_ft2", (1000.0, 72.6), (1500.0, 40.0), (0.0, 50.0)),
    "attic.settled_thickness_in": each(attic.settled_thickness_in, "r r_per_in", (49.0, 3.6), (30.0, 2.5)),
    "attic.initial_thickness_in": each(attic.initial_thickness_in, "settled_in settlement", (13.61, 0.13), (8.0, 0.0)),
    "attic.weight_lb_ft2": each(attic.weight_lb_ft2, "settled_in settled_lb_ft3", (13.61, 1.6), (8.0, 0.7)),
    "attic.bags_per_1000_ft2": each(attic.bags_per_1000_ft2, "lb_ft2 bag_lb", (1.815, 25.0), (0.9, 30.0)),
    "attic.net_free_area_in2": each(attic.net_free_area_in2, "area_ft2", (1500.0,), (0.0,), ratio=300),
    "attic.area_weighted_u": each(
        attic.area_weighted_u, "areas_ft2 rs", ([990.0, 10.0], [49.0, 2.0]), ([0.0, 80.0], [30.0, 12.0])
    ),
    "attic.uneven_u": single(attic.uneven_u, depths_in=[2.0, 10.0], r_per_in=3.0, other_r=1.6),
    # --- energy and money ----------------------------------------------------------------------------------------
    "energy.degree_days": each(energy.degree_days, "base_f", (65.0,), (50.0,), temperature_f=[30.0, 50.0, 80.0]),
    "energy.air_heat_factor": each(energy.air_heat_factor, "altitude_ft", (0.0,), (3000.0,)),
    "energy.loss_rate": each(
        energy.loss_rate, "ua leak_cfm altitude_ft", (400.0, 100.0, 0.0), (0.0, 55.0, 2000.0), (300.0, 0.0, -100.0)
    ),
    "energy.load_change": each(
        energy.load_change,
        "heating_degree_days delta_ua delta_cfm efficiency altitude_ft",
        *((3875.76, 240.0, 30.0, 0.8, 0.0), (5200.0, -20.0, 0.0, 2.9, 1500.0)),
    ),
    "energy.heating_savings": each(
        energy.heating_savings,
        "before after heating_degree_days efficiency price_per_unit billed_units",
        (energy.Envelope(500.0, 100.0), energy.Envelope(350.0, 80.0), 4000.0, 0.8, 1.5, 600.0),
        (energy.Envelope(620.0, 140.0), energy.Envelope(350.0, 90.0), 5200.0, 0.95, 1.1, 700.0),
        fuel=Fuel.NATURAL_GAS,
        altitude_ft=300.0,
        co2_kg_per_unit=5.3,
    ),
    "energy.cooling_savings": each(
        energy.cooling_savings,
        "before after cooling_degree_days seasonal_btu_per_wh price_per_kwh billed_kwh",
        (energy.Envelope(500.0, 100.0), energy.Envelope(350.0, 80.0), 1000.0, 12.0, 0.2, 900.0),
        (energy.Envelope(620.0, 140.0), energy.Envelope(350.0, 90.0), 800.0, 14.0, 0.15, 1100.0),
        altitude_ft=300.0,
        co2_kg_per_kwh=0.3,
    ),
    "bills.cv_rmse": single(bills.cv_rmse, observed=[1.0, 3, 4, 1, 6], predicted=[2.0, 3, 3, 2, 4], parameters=2),
    "bills.nmbe": single(bills.nmbe, observed=[1.0, 3, 4, 1, 6], predicted=[2.0, 3, 3, 2, 4], parameters=2),
    "bills.fit_bills": single(
        bills.fit_bills,
        use=[131.0, 84, 41, 10],
        days=[30] * 4,
        daily_f=COLD,
        pattern=bills.Pattern.HEATING,
        heating_base_f=60.0,
    ),
    "bills.normalised_use": single(bills.normalised_use, fit=FIT, typical_daily_f=[40.0] * 3),
    "bills.measured_savings": single(
        bills.measured_savings, before=FIT, after=AFTER, typical_daily_f=[40.0] * 3, level=0.8
    ),
    "finance.spv": each(finance.spv, "rate years", (0.03, 15.0), (0.0, 20.0)),
    "finance.upv": each(finance.upv, "rate years", (0.03, 15.0), (0.0, 20.0)),
    "finance.upv_star": each(
        finance.upv_star, "rate growth years", (0.03, 0.02, 15.0), (0.04, 0.04, 20.0), (0.0, -0.02, 7.0)
    ),
    "finance.npv": each(finance.npv, "rate", (0.08,), (0.0,), (-0.1,), flows=[-40000.0, 5000, 8000, 12000, 30000]),
    "finance.irr": single(finance.irr, flows=[-100.0, 39, 59, 55, 20]),
    "finance.payment": each(
        finance.payment, "principal rate periods", (200_000.0, 0.00625, 180.0), (900.0, 0.0, 12.0), (0.0, 0.01, 1.0)
    ),
    "finance.payback_years": each(finance.payback_years, "cost yearly_saving", (6000.0, 400.0), (0.0, 20.0)),
    # --- moisture ------------------------------------------------------------------------------------------------
    "vapour.saturation_pressure_pa": each(vapour.saturation_pressure_pa, "temp_c", (-20.0,), (0.0,), (25.0,)),
    "vapour.saturation_pressure_psia": each(vapour.saturation_pressure_psia, "temp_f", (-4.0,), (32.0,), (77.0,)),
    "vapour.dew_point_f": each(vapour.dew_point_f, "temp_f rh", (70.0, 0.4), (20.0, 1.0), (-20.0, 0.5)),
    "vapour.iso_saturation_pa": each(vapour.iso_saturation_pa, "temp_c", (-20.0,), (0.0,), (25.0,)),
    "vapour.iso_dew_point_c": each(vapour.iso_dew_point_c, "pressure_pa", (1606.65,), (300.0,)),
    "vapour.perm_to_si": each(vapour.perm_to_si, "perm", (1.0,), (37.5,)),
    "vapour.perm_from_si": each(vapour.perm_from_si, "permeance", (57.2,), (2860.0,)),
    "vapour.sd_from_perm": each(vapour.sd_from_perm, "perm", (1.0,), (0.06,)),
    "vapour.retarder_class": single(vapour.retarder_class, perm=1.0),
    "vapour.class_iii_allowed": single(
        vapour.class_iii_allowed,
        zone="6",
        sheathing="osb",
        vented_cladding=True,
        continuous_r=5.0,
        framing_depth_in=3.5,
    ),
    "moisture.layer_from_si": single(moisture.layer_from_si, name="brick", thickness_m=0.11, mu=10, conductivity=0.69),
    "moisture.layer_from_us": single(moisture.layer_from_us, name="board", r=0.45, perm=37.5),
    "moisture.glaser": single(
        moisture.glaser, layers=LAYERS, t_out_c=-10.0, rh_out=0.8, t_in_c=20.0, rh_in=0.5, r_out=0.04, r_in=0.13
    ),
    "moisture.moisture_year": single(
        moisture.moisture_year, layers=LAYERS, months=[MonthClimate(-5.0, 0.8, 20.0, 0.5, 30.0)], r_out=0.04, r_in=0.25
    ),
    "moisture.temperature_factor": each(
        moisture.temperature_factor, "layers_r r_out r_in", (1.08, 0.04, 0.25), (0.0, 0.04, 0.13)
    ),
    "moisture.least_temperature_factor": each(
        moisture.least_temperature_factor,
        "t_out_c t_in_c rh_in",
        (10.7, 20.0, 0.55),
        (-15.0, 21.0, 0.4),
        critical_rh=0.8,
    ),
    "moisture.surface_humidity": each(
        moisture.surface_humidity, "t_out_c t_in_c rh_in factor", (-10.0, 20.0, 0.5, 0.818), (5.0, 22.0, 0.0, 1.0)
    ),
    "drying.foam_water_lb_ft2": each(
        drying.foam_water_lb_ft2, "depth_in wet_lb_ft3 dry_lb_ft3", (3.5, 5.0, 2.07), (5.5, 4.0, 4.0)
    ),
    "drying.foam_drying": each(
        drying.foam_drying,
        "water_lb_ft2 wall_f out_perm out_f out_rh in_perm in_f in_rh",
        *((0.855, 55.0, 5.0, 45.0, 0.7, 8.0, 68.0, 0.4), (0.4, 70.0, 0.0, 75.0, 0.6, 3.0, 72.0, 0.5)),
    ),
    # --- ranges and fits -----------------------------------------------------------------------------------------
    "uncertainty.RangeInput.quantile": each(
        uncertainty.RangeInput("share", 0.1, 0.4, 1.0).quantile, "probability", (0.0,), (0.3,), (0.9,)
    ),
    "uncertainty.percentiles": single(uncertainty.percentiles, draws=[3.0, 1.0, 2.0]),
    "uncertainty.influences": single(
        uncertainty.influences,
        result=[1.0, 2, 3, 4],
        inputs={"r": [4.0, 3, 2, 1], "hours": [1.0, 3, 2, 4]},
        most=2,
        written_in_code=("most",),
    ),
    "uncertainty.learn_rate": single(
        uncertainty.learn_rate,
        prior_mean=800.0,
        prior_sd=150.0,
        observed=[650.0, 700.0],
        job_sd=120.0,
        job_sd_weight=8.0,
        level=0.8,
        infinite_means=("job_sd_weight",),
    ),
    "uncertainty.learn_share": single(
        uncertainty.learn_share, prior_share=0.1, prior_weight=20.0, part=[3.0, 1], whole=[40.0, 40], level=0.8
    ),
    "least_squares.fit_linear": single(
        least_squares.fit_linear,
        design=[[1.0, 0.0], [1.0, 1.0], [1.0, 2.0]],
        observed=[0.0, 1.0, 1.0],
        weights=[1.0, 2.0, 1.0],
    ),
    "least_squares.t_quantile": single(least_squares.t_quantile, probability=0.975, dof=8.0),
    "validity.finite": each(validity.finite, "value", (1.0,), (-2.0,), name="value"),
    "validity.positive": each(validity.positive, "value", (1.0,), (2.0,), name="value"),
    "validity.not_negative": each(validity.not_negative, "value", (1.0,), (0.0,), name="value"),
    "validity.within": replace(
        each(validity.within, "value", (1.0,), (0.0,), name="value", low=0.0, high=2.0),
        written_in_code=("low", "high"),
    ),
    # --- text ----------------------------------------------------------------------------------------------------
    "units.format_length_ft": single(units.format_length_ft, value_ft=12.5, parts=16),
    "units.format_quantity": single(units.format_quantity, value=12.5, unit="ft2", digits=1),
    "units.to_si": each(units.to_si, "value", (13.0,), (0.0,), unit="R"),
    # --- framing -------------------------------------------------------------------------------------------------
    "framing.quick_cavity_ft3": single(framing.quick_cavity_ft3, net_ft2=700.0, framing_fraction=0.25, depth_in=3.5),
}

TOLD_AS: Mapping[tuple[str, str], str] = {
    ("airtightness.fit_power_law", "indoor_f"): "temperature_f",
    ("airtightness.fit_power_law", "outdoor_f"): "temperature_f",
    ("energy.cooling_savings", "price_per_kwh"): "price_per_unit",
    ("energy.cooling_savings", "billed_kwh"): "billed_units",
    ("energy.cooling_savings", "co2_kg_per_kwh"): "co2_kg_per_unit",
}
"""Arguments whose refusal speaks of the argument of the function that they are handed on to."""

_PART = "takes parts of a wall that the layout made itself"
_CHECKED = "takes numbers that `validity` has checked at the door of the formula it stands in"
_RECORD = "takes a measured record, whose reader refuses what is no finite number (tests/estimates/test_house.py)"

NO_NUMBERS: Mapping[str, str] = {
    "asfound.as_found": _RECORD,
    "asfound.found_record": _RECORD,
    "assembly.wall_layers": "takes names of materials",
    "combustion.LimitTable.limit": "takes a name",
    "combustion.blower_door_allowed": "takes answers",
    "condensation.Section.after": "takes a section and states that `moisture` made and checked",
    "condensation.Section.saturation": "takes a state that `moisture` made and checked",
    "condensation.Section.string": "takes a section and states that `moisture` made and checked",
    "condensation.Section.temperature": "takes a section and states that `moisture` made and checked",
    "conduction.Field.surface": "takes a side",
    "elementwise.any_over": _CHECKED,
    "elementwise.greater": _CHECKED,
    "elementwise.left_out": _CHECKED,
    "elementwise.lesser": _CHECKED,
    "elementwise.plain": _CHECKED,
    "elementwise.root": _CHECKED,
    "framing.WallLayout.holes_by_row": "takes nothing",
    "framing.lay_out": _RECORD,
    "framing.quick_layout": _RECORD,
    "materials.air_film": "takes a name",
    "materials.material": "takes a name",
    "members.face_polygon": _RECORD,
    "members.face_shapes": _RECORD,
    "members.stud_centres": _RECORD,
    "pieces.outline": _PART,
    "pieces.touching": _PART,
    "pockets.find_pockets": _PART,
    "pockets.hole_heights": _PART,
    "pockets.make_bays": _PART,
    "sweep.clip_below": _PART,
    "sweep.cut": _PART,
    "sweep.polygon_area": _PART,
    "sweep.rectangle": _PART,
    "uncertainty.Sampler.draw": "takes a range, which is checked when it is made",
    "uncertainty.Sampler.draw_all": "takes ranges, which are checked when they are made",
    "uncertainty.Sampler.uniform": "takes a name",
    "units.parse_quantity": "takes text; tests/estimates/physics/test_units.py feeds it nonsense",
    "units.registry": "takes nothing",
    "units.unit_row": "takes a name",
    "units.use_cache_folder": "takes a folder",
    "ventilation.edition_named": "takes a name",
}


def _modules() -> Iterator[tuple[str, ModuleType]]:
    for found in pkgutil.iter_modules(estimates.physics.__path__):
        yield found.name, importlib.import_module(f"estimates.physics.{found.name}")


def _public() -> Iterator[str]:
    """Names of all public functions, and of the public methods of all public classes."""
    for module_name, module in _modules():
        for name, thing in vars(module).items():
            if name.startswith("_") or getattr(thing, "__module__", None) != module.__name__:
                continue
            if inspect.isclass(thing):
                methods = (n for n, m in vars(thing).items() if not n.startswith("_") and inspect.isfunction(m))
                yield from (f"{module_name}.{name}.{method}" for method in methods)
            elif inspect.isroutine(thing) or hasattr(thing, "__wrapped__"):
                yield f"{module_name}.{name}"


def test_every_public_function_has_an_example_or_a_reason_for_none() -> None:
    assert sorted(_public()) == sorted([*EXAMPLES, *NO_NUMBERS])


# --- numbers and arrays ----------------------------------------------------------------------------------------------


def _stacked(values: Sequence[Any]) -> Any:
    """The same arguments as arrays, one element for each case; lists, mappings and records keep their form."""
    first = values[0]
    if isinstance(first, int | float):
        return np.array(values, dtype=np.float64)
    if isinstance(first, Mapping):
        return {key: _stacked([value[key] for value in values]) for key in first}
    if isinstance(first, list):
        return [_stacked(column) for column in zip(*values, strict=True)]
    return replace(first, **{f.name: _stacked([getattr(v, f.name) for v in values]) for f in dataclasses.fields(first)})


def _numbers(answer: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every number or array of numbers in an answer, with where it stands."""
    if dataclasses.is_dataclass(answer):
        for part in dataclasses.fields(answer):
            yield from _numbers(getattr(answer, part.name), f"{path}.{part.name}")
    elif hasattr(answer, "_asdict"):
        for name, value in answer._asdict().items():
            yield from _numbers(value, f"{path}.{name}")
    elif isinstance(answer, Mapping):
        for key, value in answer.items():
            yield from _numbers(value, f"{path}[{key}]")
    elif isinstance(answer, bool | str | tuple) or answer is None:
        return
    else:
        assert isinstance(answer, int | float | np.ndarray | np.floating), f"{path}: {answer!r}"
        yield path, answer


ELEMENTWISE = {name: example for name, example in EXAMPLES.items() if example.elementwise}


@pytest.mark.parametrize("name", ELEMENTWISE)
def test_an_array_gives_the_same_as_its_numbers_one_by_one(name: str) -> None:
    example = ELEMENTWISE[name]
    alone = [dict(_numbers(example.function(**case, **example.fixed))) for case in example.cases]
    together = example.function(
        **{key: _stacked([case[key] for case in example.cases]) for key in example.cases[0]}, **example.fixed
    )
    differs = 0
    for path, values in _numbers(together):
        for i in range(len(alone)):
            element = values[i] if np.ndim(values) else values
            assert element == pytest.approx(alone[i][path], rel=1e-12, abs=1e-300), f"{path}, case {i}"
        differs += alone[0][path] != alone[1][path]
    assert differs, "the cases do not differ in anything the function answers"


@pytest.mark.parametrize("name", ELEMENTWISE)
def test_a_number_gives_a_plain_number(name: str) -> None:
    example = ELEMENTWISE[name]
    for path, value in _numbers(example.function(**example.cases[0], **example.fixed)):
        assert np.ndim(value) == 0, f"{path} is an array"


# --- NaN and infinity ------------------------------------------------------------------------------------------------


def _places(value: Any) -> Iterator[tuple[Any, ...]]:
    """Where numbers stand in an argument, as keys to follow."""
    if isinstance(value, bool | str) or value is None or isinstance(value, SimpleNamespace):
        return
    if isinstance(value, int | float):
        yield ()
    elif isinstance(value, Mapping):
        for key, part in value.items():
            yield from ((key, *rest) for rest in _places(part))
    elif isinstance(value, list | tuple):
        # of a long row its ends stand for the rest
        for index in sorted({0, 1, len(value) - 1} & set(range(len(value)))):
            yield from ((index, *rest) for rest in _places(value[index]))
    elif dataclasses.is_dataclass(value) and not isinstance(value, bills.BillFit):
        for part in dataclasses.fields(value):
            yield from ((part.name, *rest) for rest in _places(getattr(value, part.name)))


def _spoiled(value: Any, place: tuple[Any, ...], bad: Any) -> Any:
    """The argument with one number replaced."""
    if not place:
        return bad
    key, rest = place[0], place[1:]
    if isinstance(value, Mapping):
        return {**value, key: _spoiled(value[key], rest, bad)}
    if isinstance(value, list | tuple):
        parts = [_spoiled(part, rest, bad) if index == key else part for index, part in enumerate(value)]
        return type(value)(parts)
    return replace(value, **{key: _spoiled(getattr(value, key), rest, bad)})


def _speaks_of(sentence: str, name: str, argument: str, place: tuple[Any, ...]) -> bool:
    """Whether a refusal names the argument, or the field of the record in which the number stands."""
    names = [TOLD_AS.get((name, argument), argument), *(part for part in place if isinstance(part, str))]
    return any(re.search(rf"\b{re.escape(part)}\b", sentence) for part in names)


BAD_NUMBERS = [
    pytest.param(name, argument, place, id="-".join([name, argument, *map(str, place)]))
    for name, example in EXAMPLES.items()
    for argument, value in {**example.cases[0], **example.fixed}.items()
    if argument not in example.written_in_code
    for place in _places(value)
]


@pytest.mark.parametrize(("name", "argument", "place"), BAD_NUMBERS)
def test_nan_and_infinity_are_refused_by_name(name: str, argument: str, place: tuple[Any, ...]) -> None:
    example = EXAMPLES[name]
    given = {**example.cases[0], **example.fixed}
    for bad in (math.nan, math.inf, -math.inf):
        if bad == math.inf and argument in example.infinite_means:
            continue
        with pytest.raises((OutOfRange, UnitError)) as caught:
            example.function(**{**given, argument: _spoiled(given[argument], place, bad)})
        assert _speaks_of(str(caught.value), name, argument, place), f"{bad}: {caught.value}"


BAD_ELEMENTS = [
    pytest.param(name, argument, place, id="-".join([name, argument, *map(str, place)]))
    for name, example in ELEMENTWISE.items()
    for argument, value in example.cases[0].items()
    for place in _places(value)
]


@pytest.mark.parametrize(("name", "argument", "place"), BAD_ELEMENTS)
def test_a_bad_element_of_an_array_is_refused_with_its_index(name: str, argument: str, place: tuple[Any, ...]) -> None:
    example = ELEMENTWISE[name]
    given = {key: _stacked([case[key] for case in example.cases]) for key in example.cases[0]}
    for bad in (math.nan, math.inf):
        spoiled = np.full(len(example.cases), np.nan)
        spoiled[0] = _at(example.cases[0][argument], place)
        spoiled[1:] = bad
        with pytest.raises(OutOfRange) as caught:
            example.function(**{**given, argument: _spoiled(given[argument], place, spoiled)}, **example.fixed)
        assert _speaks_of(str(caught.value), name, argument, place), str(caught.value)
        assert "[1]" in str(caught.value)


def _at(value: Any, place: tuple[Any, ...]) -> Any:
    for key in place:
        value = getattr(value, key) if dataclasses.is_dataclass(value) else value[key]
    return value

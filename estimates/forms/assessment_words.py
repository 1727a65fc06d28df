"""How the fields of a measured house are called and grouped on a form; a field without a row here still appears."""

from __future__ import annotations

import re

from estimates import house as records
from estimates.forms.plain import UNIT_WORDS
from estimates.records import Spec, specs
from estimates.templatetags.figures import spoken

PERCENT = frozenset({"efficiency", "target_margin"})
"""Shares that people say in per cent although their name does not end in `_share`."""

SUFFIXES = ("_ft2", "_ft3", "_in2", "_ft", "_in", "_cfm", "_pa", "_ppm", "_mph", "_f", "_s", "_share", "_days")

LABELS: dict[tuple[str, str], str] = {
    ("WallRecord", "kind"): "Kind of surface",
    ("WallRecord", "construction"): "Structure",
    ("WallRecord", "spacing_in"): "Stud spacing",
    ("WallRecord", "depth_in"): "Stud depth",
    ("WallRecord", "stud_in"): "Stud thickness",
    ("WallRecord", "plate_in"): "Plate thickness",
    ("WallRecord", "right_height_ft"): "Height at the right end",
    ("WallRecord", "peak_height_ft"): "Height of the peak",
    ("WallRecord", "peak_at_ft"): "Place of the peak",
    ("WallRecord", "fill_to_ft"): "Ceiling line",
    ("WallRecord", "left_end"): "Left corner",
    ("WallRecord", "right_end"): "Right corner",
    ("WallRecord", "left_post"): "Studs at the left corner",
    ("WallRecord", "right_post"): "Studs at the right corner",
    ("WallRecord", "through_depth_in"): "Depth of the wall it butts against",
    ("WallRecord", "jacks"): "Jack studs at an opening",
    ("WallRecord", "studs_found_in"): "Studs found on site",
    ("WallRecord", "no_fill"): "Parts that must not be filled",
    ("WallRecord", "tees"): "Partitions that meet the wall",
    ("WallRecord", "sill"): "Sill",
    ("WallRecord", "top"): "Top of the cavity",
    ("WallRecord", "cladding_exposure_in"): "Height of one course",
    ("WallRecord", "inside"): "Inside finish",
    ("WallRecord", "access"): "Way to the cavity",
    ("WallRecord", "base_height_ft"): "Bottom of the wall above the ground",
    ("WallRecord", "steep_grade"): "Steep ground before it",
    ("WallRecord", "room"): "Room drilled from inside",
    ("WallRecord", "painted"): "Painted where we drill or lift",
    ("QuickWallRecord", "perimeter_ft"): "Perimeter",
    ("QuickWallRecord", "spacing_in"): "Stud spacing",
    ("QuickWallRecord", "depth_in"): "Stud depth",
    ("QuickWallRecord", "inside"): "Inside finish",
    ("QuickWallRecord", "access"): "Way to the cavity",
    ("QuickWallRecord", "window_share"): "Windows and doors",
    ("QuickWallRecord", "framing_share"): "Framing",
    ("OpeningRecord", "left_in"): "Left edge, from the left corner",
    ("OpeningRecord", "bottom_in"): "Bottom edge, above the bottom of the wall",
    ("OpeningRecord", "kind"): "Kind of opening",
    ("OpeningRecord", "header_in"): "Header depth",
    ("OpeningRecord", "sash_pocket_in"): "Sash pocket each side",
    ("BlockRecord", "height_in"): "Height of the row",
    ("BlockRecord", "from_in"): "Start of the row, from the left corner",
    ("BlockRecord", "to_in"): "End of the row, from the left corner",
    ("BraceRecord", "from_x_in"): "Lower end, from the left corner",
    ("BraceRecord", "from_y_in"): "Lower end, above the bottom",
    ("BraceRecord", "to_x_in"): "Upper end, from the left corner",
    ("BraceRecord", "to_y_in"): "Upper end, above the bottom",
    ("BraceRecord", "kind"): "Way it is built in",
    ("NoFillRecord", "corners"): "Corners of the zone",
    ("FloorLineRecord", "height_in"): "Height of the floor line",
    ("FloorLineRecord", "closure"): "Closure",
    ("TeeRecord", "at_in"): "Centre, from the left corner",
    ("TeeRecord", "pocket_in"): "Clear width between its studs",
    ("ExistingFillRecord", "material"): "Material",
    ("ExistingFillRecord", "in_place_in"): "Thickness as found",
    ("ExistingFillRecord", "compressed_in"): "Thickness once squeezed",
    ("ExistingFillRecord", "covered_share"): "Cavity covered",
    ("AtticRecord", "area_ft2"): "Floor to be covered",
    ("AtticRecord", "existing_material"): "What lies there now",
    ("AtticRecord", "existing_depth_in"): "Depth of what lies there",
    ("AtticRecord", "target_r"): "R-value wanted in all",
    ("AtticRecord", "hatch_ft2"): "Hatch",
    ("AtticRecord", "soffit_bays"): "Rafter bays that need a baffle",
    ("AtticRecord", "dam_ft"): "Length of dams",
    ("AtticRecord", "vented"): "Vented roof space",
    ("AtticRecord", "net_free_in2"): "Net free area of the vents",
    ("LeakSiteRecord", "name"): "Place",
    ("LeakSiteRecord", "kind"): "Kind of leak",
    ("LeakSiteRecord", "quantity"): "Quantity, in ft or pieces",
    ("LeakSiteRecord", "component_share"): "Share of its part of the house",
    ("BlowerDoorRecord", "points"): "Readings",
    ("BlowerDoorRecord", "baseline_pa"): "Baseline with the fan off",
    ("BlowerDoorRecord", "indoor_f"): "Indoor temperature",
    ("BlowerDoorRecord", "outdoor_f"): "Outdoor temperature",
    ("PressurePointRecord", "pressure_pa"): "House pressure",
    ("PressurePointRecord", "flow_cfm"): "Fan flow",
    ("HeatingRecord", "price_per_unit"): "Price of a therm, gallon or kWh",
    ("HeatingRecord", "yearly_units"): "Yearly use for heating alone",
    ("ClimateRecord", "place"): "Weather site",
    ("ClimateRecord", "heating_degree_days"): "Heating degree days",
    ("ClimateRecord", "altitude_ft"): "Height above the sea",
    ("ClimateRecord", "base_f"): "Base of the degree days",
    ("ClimateRecord", "season_mean_f"): "Mean outdoor temperature in the season",
    ("ClimateRecord", "season_wind_mph"): "Mean wind in the season",
    ("ClimateRecord", "design_f"): "Winter design temperature",
    ("ClimateRecord", "weather_factor"): "Weather factor of the ventilation standard",
    ("BillRecord", "first"): "First day",
    ("BillRecord", "last"): "Last day",
    ("BillRecord", "units"): "Therms, gallons or kWh",
    ("BillRecord", "dollars"): "Amount",
    ("BillRecord", "estimated"): "Meter not read",
    ("ApplianceRecord", "name"): "Appliance",
    ("ApplianceRecord", "vent"): "Venting",
    ("ApplianceRecord", "spillage_s"): "Time until spillage stopped",
    ("ApplianceRecord", "suction_pa"): "Worst pressure of its room",
    ("ApplianceRecord", "flue_co_ppm"): "Carbon monoxide in the flue",
    ("ApplianceRecord", "restored"): "Set back on after the test",
    ("CombustionRecord", "round"): "Round",
    ("CombustionRecord", "on"): "Day of the test",
    ("CombustionRecord", "gas_leak_found"): "Gas leak found",
    ("CombustionRecord", "ambient_co_ppm"): "Carbon monoxide in the rooms",
    ("ExhaustRecord", "measured_cfm"): "Measured flow",
    ("ExhaustRecord", "openable_window"): "Window that opens",
    ("HouseholdRecord", "income_share"): "Income against the area's median",
    ("HouseholdRecord", "earlier"): "What programmes gave before",
    ("HouseholdRecord", "approved"): "Programmes that have approved this job",
    ("HouseholdRecord", "documents"): "Documents in hand",
    ("EarlierIncentiveRecord", "dollars"): "Amount",
    ("ComplaintRecord", "words"): "Complaint in their words",
    ("GateAnswerRecord", "verdict"): "Answer",
    ("GateAnswerRecord", "parts"): "Parts of the house it is about",
    ("GateAnswerRecord", "photos"): "Photos that show it",
    ("GateAnswerRecord", "sample"): "Report of a negative laboratory sample",
    ("GateAnswerRecord", "verifier"): "Who will find out",
    ("GateAnswerRecord", "how"): "How it will be found out",
    ("GateAnswerRecord", "before_phase"): "Before which phase of the work",
    ("GateReleaseRecord", "parts"): "Parts of the house it is about",
    ("GateReleaseRecord", "reason"): "Reason",
    ("GateReleaseRecord", "sample"): "Report of a negative laboratory sample",
    ("OptionRecord", "name"): "Name of the option",
    ("OptionRecord", "wall_ids"): "Walls to inject",
    ("OptionRecord", "attic_ids"): "Attics to top up",
    ("OptionRecord", "leak_ids"): "Leak sites to close",
    ("OptionRecord", "discount_reason"): "Reason for the discount",
    ("HouseRecord", "customer"): "Homeowner",
    ("HouseRecord", "name"): "Name of the house",
    ("HouseRecord", "street"): "Street and number",
    ("HouseRecord", "floor_area_ft2"): "Heated floor",
    ("HouseRecord", "volume_ft3"): "Heated volume",
    ("HouseRecord", "occupants"): "People who live there",
    ("HouseRecord", "ceiling_height_ft"): "Lowest floor to highest ceiling",
    ("HouseRecord", "shelter_class"): "Shelter from the wind, 1 to 5",
    ("HouseRecord", "indoor_f"): "Indoor temperature in winter",
    ("HouseRecord", "has_ducts"): "Ducts outside the heated space",
    ("HouseRecord", "has_fireplace"): "Open fireplace",
    ("HouseRecord", "foam"): "Foam",
    ("HouseRecord", "loose_fill"): "Loose fill",
    ("HouseRecord", "federally_assisted"): "Paid with federal housing money",
    ("HouseRecord", "capital_improvement"): "Certificate of capital improvement in hand",
    ("HouseRecord", "priced_on"): "Rules and programmes as of",
    ("HouseRecord", "in_service_on"): "Work expected to be complete",
    ("HouseRecord", "leak_sites"): "Places where air leaks",
    ("HouseRecord", "exhausts"): "Kitchens and baths",
    ("HouseRecord", "complaints"): "What is wrong, room by room",
    ("HouseRecord", "bills"): "Fuel bills",
    ("HouseRecord", "blower_door"): "Blower-door test before the work",
    ("HouseRecord", "household"): "Household",
}

GROUPS: dict[type, tuple[tuple[str, tuple[str, ...]], ...]] = {
    records.WallRecord: (
        ("Which wall, how long, how high", ("name", "face", "length_ft", "height_ft")),
        ("Openings", ("openings",)),
        ("Studs and plates", (
            "framing", "spacing_in", "depth_in", "studs_found_in", "jacks", "stud_in", "plate_in", "bottom_plates",
            "top_plates",
        )),
        ("Outside and inside", (
            "construction", "cladding", "cladding_exposure_in", "sheathing", "weather_barrier", "inside",
            "inside_cover", "painted",
        )),
        ("Old insulation", ("existing_fill",)),
        ("Blocks, braces and partitions", ("blocks", "braces", "tees")),
        ("Parts that must not be filled", ("no_fill",)),
        ("Gable, rake and ceiling line", ("right_height_ft", "peak_height_ft", "peak_at_ft", "fill_to_ft")),
        ("Floors that meet a balloon-framed wall", ("floor_lines", "sill", "top")),
        ("Corners", ("left_end", "right_end", "through_depth_in", "left_post", "right_post")),
        ("Getting at it", ("access", "room", "base_height_ft", "obstructed_share", "steep_grade")),
        ("Rims and other surfaces", ("kind", "joists_parallel")),
    ),
    records.QuickWallRecord: (
        ("Size", ("name", "perimeter_ft", "storeys", "storey_height_ft", "window_share", "framing_share")),
        ("Studs", ("spacing_in", "depth_in")),
        ("Outside and inside", ("cladding", "sheathing", "inside", "access")),
        ("Old insulation", ("existing_fill",)),
    ),
    records.AtticRecord: (
        ("Floor and what lies on it", ("name", "area_ft2", "existing_material", "existing_depth_in", "target_r")),
        ("Hatch, dams and baffles", ("hatch_ft2", "dam_ft", "soffit_bays")),
        ("Vents", ("vented", "net_free_in2")),
    ),
    records.HouseRecord: (
        ("What we call it", ("name", "customer", "street", "town", "state", "county", "postal_code")),
        ("Age and size", (
            "year_built", "storeys", "floor_area_ft2", "volume_ft3", "ceiling_height_ft", "bedrooms", "occupants",
        )),
        ("Air and comfort", ("indoor_f", "shelter_class", "has_ducts", "has_fireplace")),
    ),
    records.OptionRecord: (
        ("What it holds", ("name", "wall_ids", "attic_ids", "leak_ids")),
        ("Price", ("target_margin", "discount", "discount_reason")),
    ),
}  # fmt: skip
"""Topics of a record in the order of a visit; fields without a topic come last."""

ROW_WORDS = {
    "openings": "opening", "blocks": "row of blocks", "braces": "brace", "no_fill": "zone", "tees": "partition",
    "floor_lines": "floor line", "leak_sites": "leak site", "exhausts": "kitchen or bath", "complaints": "complaint",
    "bills": "bill", "points": "reading", "appliances": "appliance", "earlier": "incentive",
}  # fmt: skip
"""What one row of a list is called."""

THERE_WORDS = {
    "existing_fill": "There is old insulation in the cavities",
    "blower_door": "The blower door was run",
    "combustion": "Combustion safety was tested",
    "household": "The people were asked what programmes want to know",
}
"""What ticking the box of a nested record says."""

EMPTY_WORDS = {
    ("WallRecord", "face"): "None of them",
    ("WallRecord", "left_end"): "As usual for its side",
    ("WallRecord", "right_end"): "As usual for its side",
    ("WallRecord", "weather_barrier"): "Not seen",
    ("WallRecord", "painted"): "As usual for it",
    ("AtticRecord", "existing_material"): "Nothing",
    ("CombustionRecord", "gas_leak_found"): "Not surveyed",
}
"""What it means to leave a choice open."""

ALL_WORDS = {
    "wall_ids": "Every wall, also those added later",
    "attic_ids": "Every attic, also those added later",
    "leak_ids": "Every leak site, also those added later",
    "parts": "The whole house",
}
"""What it means to name no part of a house."""


def is_percent(name: str, spec: Spec) -> bool:
    """Whether people say a number in per cent."""
    return spec.kind == "number" and not spec.unit and (name.endswith("_share") or name in PERCENT)


def unit_of(name: str, spec: Spec) -> str:
    """The unit as it stands beside the box.

    Examples
    --------
    >>> unit_of("area_ft2", specs(records.AtticRecord)["area_ft2"][0])
    'ft²'
    """
    return "%" if is_percent(name, spec) else UNIT_WORDS.get(spec.unit, spec.unit)


def name_of(record: type, name: str) -> str:
    """What a field is called, without its unit.

    Examples
    --------
    >>> name_of(records.WallRecord, "length_ft"), name_of(records.WallRecord, "depth_in")
    ('Length', 'Stud depth')
    """
    known = LABELS.get((record.__name__, name))
    if known is not None:
        return known
    bare = next((name.removesuffix(end) for end in SUFFIXES if name.endswith(end) and name != end[1:]), name)
    words = spoken(bare)
    return words[:1].upper() + words[1:]


def label_of(record: type, name: str) -> str:
    """What a field is called, with its unit.

    Examples
    --------
    >>> label_of(records.WallRecord, "length_ft"), label_of(records.QuickWallRecord, "window_share")
    ('Length (ft)', 'Windows and doors (%)')
    """
    spec = specs(record)[name][0]
    unit = unit_of(name, spec)
    return name_of(record, name) + (f" ({unit})" if unit and unit != "R" else "")


def hint_of(spec: Spec) -> str:
    """The declared sentence as a hint: what is left out of a file is left empty on a page.

    Examples
    --------
    >>> hint_of(specs(records.WallRecord)["fill_to_ft"][0])
    'Insulated ceiling line: the wall above it is no thermal boundary; left empty: the top'
    """
    return spec.doc.replace("left out", "left empty").replace("Left out", "Left empty")


STOP_WORDS = {
    *(
        "a",
        "an",
        "and",
        "attics",
        "by",
        "for",
        "has",
        "house",
        "ids",
        "in",
        "is",
        "it",
        "its",
        "known",
        "leak",
        "leaks",
    ),
    *("not", "of", "or", "sites", "that", "the", "there", "to", "walls", "was", "what", "which", "yet"),
}
"""Words that add nothing to a label."""


def hint_beside(label: str, hint: str) -> str:
    """The hint where it says more than the label.

    Examples
    --------
    >>> hint_beside("Year built", "Year the house was built"), hint_beside("Fuel", "Fuel")
    ('', '')
    >>> hint_beside("Length (ft)", "Outside of framing, corner to corner")
    'Outside of framing, corner to corner'
    """
    said, known = (set(re.findall(r"[a-z0-9]+", words.lower())) for words in (hint, label))
    return hint if said - known - STOP_WORDS else ""


def groups_of(record: type, names: list[str]) -> list[tuple[str, list[str]]]:
    """Fields by topic; those that no topic names come last, so that a new field appears by itself.

    Examples
    --------
    >>> groups_of(records.AtticRecord, ["vented", "name"])
    [('Floor and what lies on it', ['name']), ('Vents', ['vented'])]
    """
    known = GROUPS.get(record, ())
    found = [(title, [name for name in fields if name in names]) for title, fields in known]
    named = {name for _, fields in known for name in fields}
    rest = [name for name in names if name not in named]
    if rest:
        found.append(("More", rest))
    held = [(title, fields) for title, fields in found if fields]
    # One topic alone needs no heading beside that of the page.
    return held if len(held) > 1 else [("", fields) for _, fields in held]


GATES = {
    "flues_chimneys": "Flues and chimneys",
    "weak_interior": "Weak inside finish",
    "cavity_duct": "Cavities as ducts",
}
"""Gates whose id does not read as words."""


def gate_name(hazard: str) -> str:
    """A gate in a few words, by its id.

    Examples
    --------
    >>> gate_name("lead_paint"), gate_name("weak_interior")
    ('Lead paint', 'Weak inside finish')
    """
    words = GATES.get(hazard) or spoken(hazard)
    return words[:1].upper() + words[1:]

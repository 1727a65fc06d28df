"""What a crew reports, one record a kind: the declared form of `CrewEntry.data`.

Numbers with a unit may arrive as text with one ("2 qt"); they are kept in the unit that stands here.
"""
# ruff: noqa: RUF009 (fields are declared by functions of estimates.records, which make no value)

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from estimates.house import AsFoundRecord
from estimates.records import choice, flag, many, number, one, text, whole
from jobs.models import EntryKind

LB_PER_GAL = 8.34
"""Weight of a US gallon of water at room temperature. [lb] From memory (M)."""

FT3_PER_GAL = 231.0 / 1728.0
"""A US gallon is 231 in3 by definition. [ft3]"""


class Told(StrEnum):
    """What a crew may say of a bay."""

    PLANNED = "planned"
    DRILLED = "drilled"
    FILLED = "filled"
    REFUSED = "refused"
    LEFT = "left"
    LEFT_OUT = "left out"
    DOUBTFUL = "doubtful"


class Returned(StrEnum):
    """Where material showed while a bay was filled: the top hole is its witness."""

    TOP = "top hole"
    LOWER = "not at the top hole"


class TrialResult(StrEnum):
    """What the first bay of a wall showed."""

    GOOD = "good"
    BLOCKED = "blocked"
    RUNS_AWAY = "runs away"
    BOARD_MOVES = "inside board moves"


class Slot(StrEnum):
    """When temperatures are taken."""

    START = "start"
    MIDDAY = "midday"
    FACE = "at another face"


class Checked(StrEnum):
    """Things that are looked at once more."""

    PROTECTION = "protection"
    CONDITION_BEFORE = "condition before"
    ESCAPES_CLOSED = "escapes closed"
    OUTLETS = "outlets"
    DRAINS = "drains"
    EXHAUSTS = "exhausts"
    COMBUSTION = "combustion at the end of the day"
    LEAD_CLEANING = "lead-safe cleaning and its check"
    WEATHERTIGHT = "weathertight"


@dataclass(frozen=True, slots=True, kw_only=True)
class BayRecord:
    """A bay that an entry is about."""

    bay: int = whole("Number of the bay", low=1, high=9999)
    wall: str = text("Wall of the bay; left out: the wall of the entry", max_length=40, default="")
    return_at_in: float | None = number("in", "Highest hole at which material showed", low=0, high=1200, default=None)
    meter_ft3: float | None = number("ft3", "Volume by a flow meter", above=0, high=1000, default=None)
    pump_s: float | None = number("s", "Time at the pump", above=0, high=36000, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class BaysRecord:
    """What became of some bays."""

    state: Told = choice(Told, "What became of them")
    bays: tuple[BayRecord, ...] = many(BayRecord, "Bays", min_items=1)
    reason: str = text("Why, where a bay was refused, left or left out", max_length=300, default="")
    returned: Returned | None = choice(Returned, "Where material showed", default=None)
    pressure_psi: float | None = number("psi", "Pump pressure", above=0, high=3000, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundRecord:
    """A wall as it was found: its whole form, or something to be added to what was found before."""

    version: int = whole("Version of the wall as found that was looked at", low=0)
    found: AsFoundRecord | None = one(AsFoundRecord, "All that differs from the drawing", default=None)
    add: AsFoundRecord | None = one(AsFoundRecord, "What differs as well", default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialRecord:
    """The first bay of a wall, filled with all eyes on it."""

    bay: int = whole("Number of the bay", low=1, high=9999)
    probe_in: float = number("in", "Depth by the probe", above=0, high=24)
    result: TrialResult = choice(TrialResult, "What it showed")
    fill_s: float | None = number("s", "Time until it was full", above=0, high=36000, default=None)
    pressure_psi: float | None = number("psi", "Pump pressure", above=0, high=3000, default=None)
    watched: bool = flag("Somebody watched the inside board", default=False)
    note: str = text("Note", max_length=500, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class WatcherRecord:
    """Who watched inside."""

    name: str = text("Who watched inside", max_length=80, min_length=1)
    rooms: str = text("Rooms walked", max_length=300, min_length=1)
    lift: int = whole("Lift", low=1, high=99, default=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class MixRecord:
    """Mixes that were poured one after the other into bays, in their order."""

    lot: str = text("Lot", max_length=60, min_length=1)
    ingredients_lb: float = number("lb", "Weight of the ingredients without water", above=0, high=5000)
    water_gal: float = number("gal", "Water", low=0, high=500)
    bays: tuple[BayRecord, ...] = many(BayRecord, "Bays in the order in which they were filled", min_items=1)
    mixes: int = whole("Mixes", low=1, high=200, default=1)
    meter_ft3: float | None = number("ft3", "Volume by a flow meter", above=0, high=10_000, default=None)
    container_gal: float | None = number("gal", "Volume of the sample", above=0, high=40, default=None)
    sample_lb: float | None = number(
        "lb", "Weight of the sample without its container", above=0, high=100, default=None
    )
    water_f: float | None = number("degF", "Temperature of the water", low=-20, high=212, default=None)
    chemical_f: float | None = number("degF", "Temperature of the chemicals", low=-20, high=212, default=None)
    pressure_psi: float | None = number("psi", "Pump pressure", above=0, high=3000, default=None)

    @property
    def mass_lb(self) -> float:
        """Weight of everything that went in. [lb]"""
        return self.ingredients_lb + LB_PER_GAL * self.water_gal

    @property
    def wet_lb_ft3(self) -> float | None:
        """Wet density of its sample [lb/ft3]; None where none was weighed."""
        if self.container_gal is None or self.sample_lb is None:
            return None
        return self.sample_lb / (self.container_gal * FT3_PER_GAL)


@dataclass(frozen=True, slots=True, kw_only=True)
class DensityRecord:
    """A sample of wet foam that was weighed."""

    container_gal: float = number("gal", "Volume of the sample", above=0, high=40)
    sample_lb: float = number("lb", "Weight of the sample without its container", above=0, high=100)
    lot: str = text("Lot", max_length=60, default="")

    @property
    def wet_lb_ft3(self) -> float:
        """Wet density. [lb/ft3]"""
        return self.sample_lb / (self.container_gal * FT3_PER_GAL)


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureRecord:
    """Temperatures at a wall before it is injected."""

    slot: Slot = choice(Slot, "When")
    air_f: float = number("degF", "Air", low=-60, high=140)
    substrate_f: float = number("degF", "Surface of the wall", low=-60, high=180)
    chemical_f: float = number("degF", "Chemicals", low=-60, high=212)
    water_f: float = number("degF", "Water", low=-60, high=212)
    forecast_low_f: float | None = number(
        "degF", "Forecast low until it is dry; left out: that of the office", low=-80, high=120, default=None
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MoistureRecord:
    """Moisture of framing."""

    content_pct: float = number("", "Moisture by the meter, in percent", low=0, high=100)
    bay: int | None = whole("Number of the reference bay, where it is one", low=1, high=9999, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class WasteRecord:
    """Foam that went elsewhere: spilled, washed out, left in the hose."""

    waste_ft3: float = number("ft3", "Volume thrown away", above=0, high=1000)
    what: str = text("What it was", max_length=120, min_length=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlugsRecord:
    """Holes of a wall, and plugs that closed them."""

    plugs: int = whole("Plugs set", low=0, high=9999)
    holes: int = whole("Holes drilled", low=0, high=9999)


@dataclass(frozen=True, slots=True, kw_only=True)
class BagsRecord:
    """Bags of loose fill that were emptied."""

    bags: int = whole("Bags emptied", low=1, high=9999)
    attic: str = text("Attic", max_length=80, default="")
    lot: str = text("Lot", max_length=60, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthRecord:
    """Depth of loose fill at one ruler."""

    depth_in: float = number("in", "Depth at the ruler", low=0, high=60)
    place: str = text("Where the ruler stands", max_length=120, min_length=1)
    attic: str = text("Attic", max_length=80, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakRecord:
    """A leak site that was closed, or not."""

    site: str = text("Leak site", max_length=80, min_length=1)
    closed: bool = flag("It is closed", default=False)
    note: str = text("Note", max_length=500, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRecord:
    """Something that was looked at once more."""

    what: Checked = choice(Checked, "What was checked")
    good: bool = flag("It is as it should be", default=False)
    note: str = text("What was found", max_length=500, default="")


class Stretch(StrEnum):
    """What hours went into; the values of `jobs.models.PhaseKind`."""

    TEST_IN = "test_in"
    PREPARE = "prepare"
    INJECT = "inject"
    CLOSE_UP = "close_up"
    AIR_SEALING = "air_sealing"
    ATTIC = "attic"
    TEST_OUT = "test_out"
    INFRARED = "infrared"
    RETURN = "return"


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursRecord:
    """Hours that people worked."""

    stretch: Stretch | None = choice(Stretch, "Stretch of work", default=None)

    hours: float = number("h", "Hours of each of them", above=0, high=24)
    people: int = whole("People", low=1, high=20, default=1)
    what: str = text("Work", max_length=120, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialRecord:
    """Material that was used beside the foam."""

    name: str = text("Material", max_length=80, min_length=1)
    amount: float = number("", "Amount", above=0, high=100_000)
    unit: str = text("Unit", max_length=20, min_length=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoRecord:
    """A photo that is kept."""

    sha256: str = text("Photo", max_length=64, pattern="[0-9a-f]{64}", min_length=64)
    caption: str = text("What it shows", max_length=200, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRecord:
    """Words."""

    text: str = text("Note", max_length=2000, min_length=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class NearMissRecord:
    """Something that nearly went wrong."""

    what: str = text("What nearly went wrong", max_length=1000, min_length=1)
    done: str = text("What was done about it", max_length=1000, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class DoneRecord:
    """A stretch of work that is finished."""

    phase: str = text("Stretch of work", max_length=20, min_length=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayCloseRecord:
    """The end of a day at a house."""

    after_midday: bool = flag("Injecting went on after midday", default=False)
    done: tuple[DoneRecord, ...] = many(DoneRecord, "What is finished")
    note: str = text("Note", max_length=1000, default="")


RECORDS: dict[EntryKind, type[Any]] = {
    EntryKind.BAY: BaysRecord,
    EntryKind.AS_FOUND: FoundRecord,
    EntryKind.TRIAL: TrialRecord,
    EntryKind.WATCHER: WatcherRecord,
    EntryKind.MIX: MixRecord,
    EntryKind.DENSITY: DensityRecord,
    EntryKind.TEMPERATURE: TemperatureRecord,
    EntryKind.MOISTURE: MoistureRecord,
    EntryKind.WASTE: WasteRecord,
    EntryKind.PLUGS: PlugsRecord,
    EntryKind.BAGS: BagsRecord,
    EntryKind.DEPTH: DepthRecord,
    EntryKind.LEAK: LeakRecord,
    EntryKind.CHECK: CheckRecord,
    EntryKind.HOURS: HoursRecord,
    EntryKind.MATERIAL: MaterialRecord,
    EntryKind.PHOTO: PhotoRecord,
    EntryKind.NOTE: NoteRecord,
    EntryKind.NEAR_MISS: NearMissRecord,
    EntryKind.DAY_CLOSE: DayCloseRecord,
}
"""Kind -> record of its data."""

AT_A_WALL = frozenset(
    {
        EntryKind.BAY,
        EntryKind.AS_FOUND,
        EntryKind.TRIAL,
        EntryKind.WATCHER,
        EntryKind.MIX,
        EntryKind.TEMPERATURE,
        EntryKind.MOISTURE,
        EntryKind.PLUGS,
    }
)
"""Kinds that are about one wall."""

"""The price book as the numbers see it: products, rates and shares, each with the mark of where it comes from.

Files stand in fixtures/price_books/ as TOML. A rate has a low, best and high value, because no crew works at one speed;
prices use the best one, ranges use all three.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from estimates.house import FillMaterial, LeakKind
from estimates.records import BadRecord, Fault, choice, code, day, many, number, read_record, text, whole

SCHEMA = "cavitybook/price-book/1"

FOLDER = Path(__file__).resolve().parent.parent / "fixtures" / "price_books"

RATES = {
    "labour": "$/h",
    "crew_size": "people",
    "day_hours": "h",
    "wall_lift_cladding": "ft2/day",
    "wall_drill_cladding": "ft2/day",
    "wall_drill_inside": "ft2/day",
    "face_set_up": "h",
    "small_wall": "h",
    "opening": "h",
    "brace": "h",
    "over_10_ft": "share",
    "over_20_ft": "share",
    "steep_grade": "share",
    "obstructed": "share",
    "lead_set_up": "h",
    "lead_material": "$",
    "staging": "$/day",
    "escape_closing": "h/ft",
    "attic_blowing": "bags/h",
    "attic_set_up": "h",
    "baffle": "h",
    "dam": "h/ft",
    "hatch": "h",
    "test_in": "h",
    "test_out": "h",
    "foam_rig": "$/day",
    "blowing_machine": "$/day",
    "blower_door": "$/job",
    "plug": "$",
    "closing_material": "$/ft",
    "baffle_material": "$",
    "dam_material": "$/ft",
    "hatch_material": "$",
    "travel": "$/day",
    "disposal": "$/job",
    "purge": "mixes/day",
    "contingency": "share",
    "target_margin": "share",
    "floor_margin": "share",
    "commission": "share",
    "lender_fee": "share",
    "card_fee": "share",
    "overhead": "share",
    "deposit": "share",
    "progress": "share",
    "minimum_charge": "$",
    "price_valid": "days",
    "price_stale": "days",
}
"""Every rate a price needs and its unit. Units that end in "/day" are for one crew-day.

`over_10_ft` to `obstructed` are extra time as a share of the drilling and filling of the part of a wall they concern;
`small_wall` is the least time a wall takes; `lead_set_up` and `lead_material` are for each wall worked lead-safe.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FactRow:
    """A line of a product's fact sheet: R-value at a listed thickness."""

    thickness_in: float = number("in", "Listed thickness", above=0, high=24)
    r: float = number("R", "R-value printed beside it", above=0, high=120)


@dataclass(frozen=True, slots=True, kw_only=True)
class FoamProduct:
    """A wet foam injected into closed cavities."""

    id: str = code("Short name")
    name: str = text("Name on papers", min_length=1)
    kind: str = text("Type of insulation as papers must state it", min_length=1)
    mark: str = text("Where the values come from: M from memory, CP common practice", pattern="M|CP")
    cost_per_mix: float = number("$", "Cost of the ingredients of one mix", low=0, high=100_000)
    yield_ft3: float = number("ft3", "Foam from one mix, best", above=0, high=10_000)
    yield_low_ft3: float = number("ft3", "Foam from one mix, low", above=0, high=10_000)
    yield_high_ft3: float = number("ft3", "Foam from one mix, high", above=0, high=10_000)
    waste: float = number("", "Waste over the volume filled", low=0, high=0.5)
    wet_lb_ft3: float = number("lb/ft3", "Density as injected", above=0, high=100)
    dry_lb_ft3: float = number("lb/ft3", "Density when dry", above=0, high=100)
    least_temp_f: float = number("degF", "Coldest air and surface to inject at", low=-20, high=100)
    least_thickness_in: float = number("in", "Thinnest layer worth injecting", above=0, high=12)
    drying_days: int = whole("Days before paint, paper or anything tight may cover it", unit="day", low=0, high=120)
    shrinkage_low: float = number("", "Linear shrinkage, low", low=0, high=0.2)
    shrinkage_high: float = number("", "Linear shrinkage, high", low=0, high=0.2)
    permeance_perm_in: float = number("perm", "Water vapour permeability for 1 in", above=0, high=200)
    facts: tuple[FactRow, ...] = many(FactRow, "Fact sheet, thin to thick", min_items=1)
    cautions: str = text("What the maker's sheet asks for", max_length=600)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageRow:
    """A line of a loose-fill product's coverage table, as its bag prints it."""

    r: float = number("R", "R-value", above=0, high=120)
    settled_in: float = number("in", "Least settled thickness", above=0, high=48)
    initial_in: float = number("in", "Least thickness as blown", above=0, high=48)
    bags_per_1000_ft2: float = number("", "Least number of bags per 1,000 ft2", above=0, high=1000)
    lb_ft2: float = number("lb/ft2", "Least weight", above=0, high=20)


@dataclass(frozen=True, slots=True, kw_only=True)
class LooseProduct:
    """Loose fill blown on an attic floor."""

    id: str = code("Short name")
    name: str = text("Name on papers", min_length=1)
    kind: str = text("Type of insulation as papers must state it", min_length=1)
    mark: str = text("Where the values come from: M from memory, CP common practice", pattern="M|CP")
    material: FillMaterial = choice(FillMaterial, "What it is")
    bag_lb: float = number("lb", "Weight of a bag", above=0, high=200)
    cost_per_bag: float = number("$", "Cost of a bag", low=0, high=1000)
    coverage: tuple[CoverageRow, ...] = many(CoverageRow, "Coverage table, thin to thick", min_items=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakWork:
    """Work and material to close one kind of leak site, for a piece or for a ft of joint."""

    kind: LeakKind = choice(LeakKind, "What it is")
    unit: str = text("ft or each", pattern="ft|each")
    low_h: float = number("h", "Hours for one, quick", above=0, high=100)
    hours: float = number("h", "Hours for one, best", above=0, high=100)
    high_h: float = number("h", "Hours for one, slow", above=0, high=100)
    material: float = number("$", "Material for one", low=0, high=10_000)
    mark: str = text("Where the values come from", pattern="M|CP")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """One figure of the book with its range."""

    id: str = code("Which figure")
    low: float | None = number("", "Low; left out: as best", low=0, default=None)
    best: float = number("", "Best", low=0)
    high: float | None = number("", "High; left out: as best", low=0, default=None)
    unit: str = text("Unit", min_length=1)
    mark: str = text("Where the value comes from", pattern="M|CP")


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceBook:
    """A dated set of products and rates."""

    schema: str = text(f"Version of this form: {SCHEMA}", pattern=SCHEMA)
    id: str = code("Short name, as given to --price-book")
    version: int = whole("Version, counted up", unit="", low=1)
    name: str = text("Name", min_length=1)
    effective_from: date = day("First day it holds")
    foams: tuple[FoamProduct, ...] = many(FoamProduct, "Foams; the first is used", min_items=1)
    loose_fills: tuple[LooseProduct, ...] = many(LooseProduct, "Loose fills; the first is used", min_items=1)
    leak_work: tuple[LeakWork, ...] = many(LeakWork, "Closing of leak sites", min_items=1)
    rates: tuple[Rate, ...] = many(Rate, "Rates", min_items=1)

    def rate(self, name: str) -> Rate:
        """The rate of that name; the reader has made sure that it exists."""
        return next(rate for rate in self.rates if rate.id == name)

    def best(self, name: str) -> float:
        """Best value of a rate, in the unit RATES gives it."""
        return self.rate(name).best

    def leak(self, kind: LeakKind) -> LeakWork:
        """Work for one kind of leak site."""
        return next(work for work in self.leak_work if work.kind == kind)

    def using(self, foam: str = "", loose_fill: str = "") -> PriceBook:
        """The same book with the products of these ids in use; "" leaves the first.

        Raises
        ------
        BadRecord : no such product; says which there are.
        """
        faults = [
            Fault(
                f"$.{name}", f"no product {wanted!r} in the price book; enter one of {', '.join(p.id for p in listed)}"
            )
            for name, wanted, listed in (("foam", foam, self.foams), ("loose_fill", loose_fill, self.loose_fills))
            if wanted and wanted not in {product.id for product in listed}
        ]
        if faults:
            raise BadRecord(faults)
        return replace(
            self,
            foams=tuple(sorted(self.foams, key=lambda product: product.id != foam)),
            loose_fills=tuple(sorted(self.loose_fills, key=lambda product: product.id != loose_fill)),
        )

    @property
    def foam(self) -> FoamProduct:
        """The foam in use."""
        return self.foams[0]

    @property
    def loose_fill(self) -> LooseProduct:
        """The loose fill in use."""
        return self.loose_fills[0]


def book_names() -> list[str]:
    """Names of the price books that stand in fixtures."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


def load_book(name: str) -> PriceBook:
    """Read a price book by its name.

    Raises
    ------
    BadRecord : no such book, not TOML, or faults in it, each with its path.
    """
    names = book_names()
    if name not in names:
        raise BadRecord([Fault("--price-book", f"no price book {name!r}; enter one of {', '.join(names)}")])
    try:
        raw = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise BadRecord([Fault(name, f"not valid TOML: {error}")]) from None
    book = read_record(PriceBook, raw, path=name)
    faults = list(book_faults(book, name))
    if faults:
        raise BadRecord(faults)
    return book


def book_faults(book: PriceBook, path: str) -> list[Fault]:
    """What no single field of a book can tell: rates that are missing or out of order, leak sites without work."""
    faults = []
    given = {rate.id: rate for rate in book.rates}
    for name, unit in RATES.items():
        if name not in given:
            faults.append(Fault(f"{path}.rates", f"the rate {name!r} [{unit}] is missing; add it"))
        elif given[name].unit != unit:
            faults.append(Fault(f"{path}.rates.{name}", f"unit {given[name].unit!r}; enter the value in {unit}"))
    faults += [Fault(f"{path}.rates.{name}", "not a known rate; remove it") for name in given if name not in RATES]
    for rate in book.rates:
        low, high = rate.low, rate.high
        if (low is not None and low > rate.best) or (high is not None and high < rate.best):
            faults.append(Fault(f"{path}.rates.{rate.id}", "not in order; enter low <= best <= high"))
    for index, foam in enumerate(book.foams):
        if [row.thickness_in for row in foam.facts] != sorted({row.thickness_in for row in foam.facts}):
            faults.append(Fault(f"{path}.foams[{index}].facts", "not thin to thick; enter each thickness once"))
    for index, fill in enumerate(book.loose_fills):
        if [row.r for row in fill.coverage] != sorted({row.r for row in fill.coverage}):
            faults.append(
                Fault(f"{path}.loose_fills[{index}].coverage", "not in order; enter each R once, lowest first")
            )
    missing = set(LeakKind) - {work.kind for work in book.leak_work}
    faults += [Fault(f"{path}.leak_work", f"no row for {kind}; add it") for kind in sorted(missing)]
    return faults

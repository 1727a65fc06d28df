"""How each figure of a priced line came about: every step with its own numbers, from quantity and rate to the price."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from estimates.cost_columns import BASIS, SHARES, amount, parts
from estimates.house import Access
from estimates.pricebook import PriceBook
from estimates.pricing import Line, PricedOption
from estimates.snapshot import Snapshot
from estimates.takeoff import AtticTakeoff, LeakTakeoff, Takeoff, WallTakeoff, whole_units
from estimates.templatetags.figures import digits, money, share


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what it is, how it is worked out with its values, and what comes of it."""

    what: str
    working: str
    result: str


@dataclass(frozen=True, slots=True)
class Trail:
    """A line with the steps that led to its price."""

    line: Line
    steps: tuple[Step, ...]


def line_trails(snapshot: Snapshot, priced: PricedOption) -> tuple[Trail, ...]:
    """The lines of an option of a run of the chain, each with its steps.

    Parameters
    ----------
    snapshot : the run; its takeoff and price book are where the values stand.
    priced : one of its options.
    """
    trail = _Trail(snapshot.book, snapshot.takeoff.chosen(priced.option), priced)
    return tuple(Trail(line, tuple(trail.steps(line))) for line in priced.lines)


class _Trail:
    """The steps of the lines of one option."""

    def __init__(self, book: PriceBook, chosen: Takeoff, priced: PricedOption) -> None:
        self.book, self.chosen, self.priced = book, chosen, priced
        self.best = book.best
        self.crew_day = self.best("crew_size") * self.best("day_hours")

    def steps(self, line: Line) -> Iterator[Step]:
        if line.code in ("minimum", "discount"):
            yield from self.adjusted(line)
            return
        if line.code == "wall":
            yield from self.wall(line, next(w for w in self.chosen.priced_walls if w.wall.id == line.subject))
        elif line.code == "attic":
            yield from self.attic(line, next(a for a in self.chosen.priced_attics if a.attic.id == line.subject))
        elif line.code == "leak":
            yield from self.leak(line, next(s for s in self.chosen.priced_leaks if s.site.id == line.subject))
        else:
            yield from self.job(line)
        yield from self.priced_steps(line)

    # --- material and time of a part of the house ---------------------------------------------------------------

    def wall(self, line: Line, wall: WallTakeoff) -> Iterator[Step]:
        foam, best = self.book.foam, self.best
        yield Step(
            "Foam to mix",
            f"{digits(wall.fill_ft3, 1)} ft³ of room × (1 + {share(foam.waste)} waste)",
            f"{digits(wall.required_ft3, 1)} ft³",
        )
        yield Step("Mixes", f"{digits(wall.required_ft3, 1)} ft³ ÷ {foam.yield_ft3:g} ft³ from one", _mixes(wall.mixes))
        bought, whole = self.priced.mixes_bought, sum(other.mixes for other in self.chosen.priced_walls)
        plugs = _cents(float(wall.plugs), best("plug"))
        closing = _cents(wall.closing_ft, best("closing_material"))
        careful = self.careful(line)
        lead = _cents(1.0, best("lead_material")) if careful else 0
        yield Step(
            "Share of the mixes bought",
            f"{bought} whole mixes × {_rate(foam.cost_per_mix)} = {money(_cents(float(bought), foam.cost_per_mix))}"
            f" for this option; {digits(wall.mixes, 2)} of its {digits(whole, 2)} mixes are for this wall",
            money(line.cost["material"] - plugs - closing - lead),
        )
        yield Step("Plugs", f"{wall.plugs} × {_rate(best('plug'))}", money(plugs))
        if closing:
            yield Step(
                "Closing escapes, material",
                f"{digits(wall.closing_ft, 2)} ft × {_rate(best('closing_material'))} a ft",
                money(closing),
            )
        if careful:
            yield Step("Lead-safe material", "one set for each wall", money(lead))
        yield from self.wall_time(line, wall, careful=careful)

    def careful(self, line: Line) -> bool:
        return line.subject in self.priced.lead_safe

    def wall_time(self, line: Line, wall: WallTakeoff, *, careful: bool) -> Iterator[Step]:
        best, record = self.best, wall.wall
        speed = best(f"wall_{record.access}")
        base = wall.layout.net_ft2 / speed * self.crew_day
        yield Step(
            "Drilling and filling",
            f"{digits(wall.layout.net_ft2, 1)} ft² ÷ {speed:,.4g} ft² a crew-day × {self.crew_day:g} h "
            f"({best('crew_size'):g} people × {best('day_hours'):g} h)",
            _hours(base),
        )
        outside = record.access is not Access.DRILL_INSIDE
        steep = record.steep_grade and outside
        more = [
            (f"{share(wall.ladder_share, 0)} above 10 ft, {share(best('over_10_ft'), 0)} slower", wall.ladder_share),
            (f"{share(wall.staging_share, 0)} above 20 ft, {share(best('over_20_ft'), 0)} slower", wall.staging_share),
            (f"steep grade, {share(best('steep_grade'), 0)} slower", float(steep)),
            (
                f"{share(record.obstructed_share, 0)} obstructed, {share(best('obstructed'), 0)} slower",
                record.obstructed_share,
            ),
        ]
        high = 1.0 + wall.ladder_share * best("over_10_ft") + wall.staging_share * best("over_20_ft")
        factor = high * (1.0 + steep * best("steep_grade")) * (1.0 + record.obstructed_share * best("obstructed"))
        if factor != 1.0:
            yield Step(
                "Slowed down",
                "; ".join(words for words, holds in more if holds),
                f"× {digits(factor, 3)} = {_hours(base * factor)}",
            )
        filling = base * factor + len(record.openings) * best("opening") + wall.braced_bays * best("brace")
        if record.openings or wall.braced_bays:
            pieces = [
                f"{len(record.openings)} openings × {best('opening'):g} h" if record.openings else "",
                f"{wall.braced_bays} braced bays × {best('brace'):g} h" if wall.braced_bays else "",
            ]
            yield Step("Openings and braces", " + ".join(filter(None, pieces)), _hours(filling - base * factor))
        if filling < best("small_wall"):
            yield Step("Least time of a wall", f"the work itself is {_hours(filling)}", _hours(best("small_wall")))
        extra = [f"set-up {best('face_set_up'):g} h"]
        if careful:
            extra.append(f"lead-safe set-up {best('lead_set_up'):g} h")
        if wall.closing_ft:
            extra.append(f"{digits(wall.closing_ft, 2)} ft of escapes × {best('escape_closing'):g} h a ft")
        yield Step("Set-up", " + ".join(extra), _hours(line.hours - max(filling, best("small_wall"))))

    def attic(self, line: Line, attic: AtticTakeoff) -> Iterator[Step]:
        best, fill, record = self.best, self.book.loose_fill, attic.attic
        row = attic.row
        assert row is not None
        yield Step(
            "Depth to blow",
            f"R-{record.target_r:g} wanted, about R-{digits(attic.existing_r, 0)} there (estimated); the table’s row "
            f"for R-{row.r:g}: {row.initial_in:g} in as blown, {row.settled_in:g} in settled",
            f"R-{row.r:g} added",
        )
        yield Step(
            "Bags",
            f"{digits(record.area_ft2, 1)} ft² × {row.bags_per_1000_ft2:g} bags ÷ 1,000 ft²",
            f"{digits(attic.bags, 2)} bags",
        )
        pieces = [
            ("Baffles", float(record.soffit_bays), "baffle_material", "baffle", "", "baffles"),
            ("Dams", record.dam_ft, "dam_material", "dam", " a ft", "ft"),
            ("Hatch cover", float(record.hatch_ft2 > 0), "hatch_material", "hatch", "", "hatch"),
        ]
        others = sum(_cents(quantity, best(rate)) for _, quantity, rate, _, _, _ in pieces)
        bought, whole = self.priced.bags_bought, sum(other.bags for other in self.chosen.priced_attics)
        yield Step(
            "Share of the bags bought",
            f"{bought} whole bags × {_rate(fill.cost_per_bag)} = {money(_cents(float(bought), fill.cost_per_bag))} "
            f"for this option; {digits(attic.bags, 2)} of its {digits(whole, 2)} bags are for this attic",
            money(line.cost["material"] - others),
        )
        for name, quantity, rate, _, per, _ in pieces:
            if quantity:
                yield Step(
                    f"{name}, material",
                    f"{quantity:g} × {_rate(best(rate))}{per}",
                    money(_cents(quantity, best(rate))),
                )
        yield Step(
            "Blowing",
            f"2 people × {digits(attic.bags, 2)} bags ÷ {best('attic_blowing'):g} bags an hour",
            _hours(2.0 * attic.bags / best("attic_blowing")),
        )
        times = [f"set-up {best('attic_set_up'):g} h"]
        times += [f"{quantity:g} {unit} × {best(rate):g} h" for _, quantity, _, rate, _, unit in pieces if quantity]
        yield Step("Set-up and edges", " + ".join(times), _hours(line.hours - 2.0 * attic.bags / best("attic_blowing")))

    def leak(self, line: Line, leak: LeakTakeoff) -> Iterator[Step]:
        work, quantity = self.book.leak(leak.site.kind), leak.site.quantity
        unit = " ft" if work.unit == "ft" else ""
        yield Step("Material", f"{quantity:g}{unit} × {_rate(work.material)}", money(line.cost["material"]))
        yield Step("Time", f"{quantity:g}{unit} × {work.hours:g} h", _hours(line.hours))

    # --- what belongs to the whole job ---------------------------------------------------------------------------

    def job(self, line: Line) -> Iterator[Step]:
        best = self.best
        days = digits(self.priced.crew_days, 1)
        if line.code == "tests":
            yield Step(
                "Time", f"{best('test_in'):g} h before + {best('test_out'):g} h after the work", _hours(line.hours)
            )
            yield Step("Fan and gauges", "for each job", money(line.cost["equipment"]))
        elif line.code == "half day":
            worked = sum(other.hours for other in self.priced.lines if other.code != "half day")
            yield Step(
                "Rest of the last half-day",
                f"{days} crew-days × {self.crew_day:g} h − {digits(worked, 2)} h of work",
                _hours(line.hours),
            )
        elif line.code == "travel":
            yield Step("Travel", f"{days} crew-days × {_rate(best('travel'))}", money(line.cost["travel"]))
        elif line.code == "disposal":
            yield Step("Waste and disposal", "for each job", money(line.cost["disposal"]))
        elif line.code == "rigs":
            yield from self.rigs()
        elif line.code == "purge":
            mixes = line.quantity
            yield Step(
                "Hose purge and day-end loss",
                f"{digits(mixes, 2)} mixes ({best('purge'):g} for each day of injecting) × "
                f"{_rate(self.book.foam.cost_per_mix)}",
                money(line.cost["material"]),
            )

    def rigs(self) -> Iterator[Step]:
        def half_days(code: str) -> float:
            hours = sum(line.hours for line in self.priced.lines if line.code == code)
            # The same hair over a whole number as where the cost is worked out.
            return whole_units(hours / self.crew_day * 2.0) / 2.0

        injecting, blowing = half_days("wall"), half_days("attic")
        staged = any(wall.staging_share > 0 for wall in self.chosen.priced_walls)
        rigs: list[tuple[str, float, str]] = [
            ("Foam rig", injecting, "foam_rig"),
            ("Blower", blowing, "blowing_machine"),
        ]
        if staged:
            rigs.append(("Staging", injecting, "staging"))
        for name, count, rate in rigs:
            if count:
                yield Step(name, f"{count:g} days × {_rate(self.best(rate))}", money(_cents(count, self.best(rate))))

    def adjusted(self, line: Line) -> Iterator[Step]:
        others = sum(other.price_cents for other in self.priced.lines if other.code not in ("minimum", "discount"))
        if line.code == "minimum":
            least = _cents(1.0, self.best("minimum_charge"))
            yield Step(
                "Minimum charge", f"{money(least)} for any job − {money(others)} of all lines", money(line.price_cents)
            )
        else:
            yield Step("Discount", "off the price, before margin and floor are checked", money(line.price_cents))

    # --- from cost to price --------------------------------------------------------------------------------------

    def priced_steps(self, line: Line) -> Iterator[Step]:
        best = self.best
        if line.hours:
            yield Step(
                "Labour", f"{digits(line.hours, 3)} h × {_rate(best('labour'))} an hour", money(line.cost["labour"])
            )
        direct = line.cost_cents - line.cost["contingency"]
        yield Step("Contingency", f"{share(best('contingency'))} of {money(direct)}", money(line.cost["contingency"]))
        yield Step("Direct cost", f"{money(direct)} + {money(line.cost['contingency'])}", money(line.cost_cents))
        yield Step(
            "Price",
            f"{money(line.cost_cents)} ÷ (1 − {share(self.priced.target_margin)} margin{share_words(self.book)})",
            money(line.price_cents),
        )


def share_words(book: PriceBook) -> str:
    """The shares of the price that come off before margin, as they stand in the formula; those of 0 are left out."""
    names: Sequence[tuple[str, str]] = tuple(zip(SHARES, ("commission", "lender’s fee", "card fee"), strict=True))
    found: Iterable[str] = (
        f" − {share(int(parts(book.best(rate), BASIS)) / BASIS)} {name}" for rate, name in names if book.best(rate)
    )
    return "".join(found)


def _cents(quantity: float, rate: float) -> int:
    """Quantity x rate, rounded as where the cost is worked out. [cents]"""
    return int(amount(quantity, rate).item())


def _rate(dollars: float) -> str:
    """A rate of the price book: as many decimals as it has, two at least."""
    text = f"{dollars:,.4f}"
    return "$" + text[:-2] + text[-2:].rstrip("0")


def _hours(hours: float) -> str:
    return f"{digits(hours, 2)} h"


def _mixes(mixes: float) -> str:
    return f"{digits(mixes, 2)} mixes"

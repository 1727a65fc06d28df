"""One house worked out a second time, apart from the engine, to the cent (D).

Everything here is decimal arithmetic on the raw files of the price book and the rules, by the formulas of ENGINE 1, 2
and 9 and FIELD "Price" and "Fill"; nothing is imported from the chain but the command that is checked. The figures of
price book and programmes are the demo's own, so this checks arithmetic, rounding and order, not the firm's prices.
"""

from __future__ import annotations

import json
import math
import tomllib
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from io import StringIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

ROOT = Path(__file__).resolve().parents[2]
D = Decimal

WALLS: dict[str, dict[str, Any]] = {
    # id -> length in ft, base height, steep, obstructed share; 16 in on centre, 2x4, 97 1/8 in high, no openings
    "north": {"length": 24, "base": 0, "steep": False, "obstructed": D("0.5")},
    "south": {"length": 16, "base": 9, "steep": True, "obstructed": D(0)},
    "porch": {"length": 4, "base": 25, "steep": False, "obstructed": D(0)},
}
HEIGHT_IN = D("97.125")
INCOME = 0.6


def raw_house() -> dict[str, Any]:
    return {
        "schema": "cavitybook/house/1",
        "id": "apart",
        "name": "Worked out apart",
        "customer": "A. Homeowner",
        "street": "1 Example Lane",
        "town": "Exampleton",
        "state": "NY",
        "county": "Fernmoor",
        "priced_on": "2026-03-02",
        "year_built": 1985,
        "storeys": 1,
        "floor_area_ft2": 900,
        "volume_ft3": 7200,
        "bedrooms": 2,
        "walls": [
            {
                "id": name,
                "name": name,
                "length_ft": wall["length"],
                "height_ft": "97 1/8 in",
                "base_height_ft": wall["base"],
                "steep_grade": wall["steep"],
                "obstructed_share": float(wall["obstructed"]),
            }
            for name, wall in WALLS.items()
        ],
        "attics": [{"id": "attic", "name": "Attic", "area_ft2": 731, "target_r": 38, "soffit_bays": 11, "dam_ft": 7.5}],
        "leak_sites": [
            {"id": "plates", "name": "Plates", "kind": "top_plate", "quantity": 123.5, "component_share": 0.4},
            {"id": "stack", "name": "Stack", "kind": "plumbing_stack", "quantity": 2, "component_share": 0.1},
        ],
        "household": {
            "income_share": INCOME,
            "earlier": [{"programme": "fernmoor-air-sealing", "dollars": 10}],
            "approved": ["fernmoor-income"],
        },
        "heating": {"fuel": "natural_gas", "efficiency": 0.8, "price_per_unit": 1.4},
        "climate": {
            "place": "Example",
            "source": "typed by hand",
            "heating_degree_days": 5000,
            "season_mean_f": 36,
            "season_wind_mph": 9,
        },
        "options": [
            {"id": "all", "name": "Everything", "discount": 125.55, "discount_reason": "neighbour"},
            {"id": "walls", "name": "Walls", "attic_ids": [], "leak_ids": [], "target_margin": 0.36},
        ],
    }


@pytest.fixture(scope="module")
def book() -> dict[str, Any]:
    return tomllib.loads((ROOT / "fixtures/price_books/standard.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("apart")
    (folder / "house.json").write_text(json.dumps(raw_house()), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("estimates.office.office_path", lambda: None)
        call_command("estimate", str(folder / "house.json"), out=folder / "out", stdout=StringIO())
    return {name: json.loads((folder / "out" / f"{name}.json").read_text()) for name in ("takeoff", "estimate")}


def cents(amount: Decimal) -> int:
    return int(amount.quantize(D(1), ROUND_HALF_UP))


def taken(quantity: Decimal) -> Decimal:
    return quantity.quantize(D("0.001"), ROUND_HALF_UP)


def money(quantity: Decimal, rate: Any) -> int:
    """A quantity to 1/1000 times a rate to 1/10,000 dollar, half a cent up."""
    return cents(taken(quantity) * D(str(rate)).quantize(D("0.0001"), ROUND_HALF_UP) * 100)


def spread(total: int, weights: list[Decimal]) -> list[int]:
    """Largest remainder; equal ones from the first on."""
    exact = [total * weight / sum(weights) for weight in weights]
    found = [int(share.to_integral_value(ROUND_FLOOR)) for share in exact]
    order = sorted(range(len(weights)), key=lambda i: (-(exact[i] - found[i]).quantize(D("1e-9")), i))
    for i in order[: total - sum(found)]:
        found[i] += 1
    return found


def bays(length_ft: int) -> list[Decimal]:
    """Clear widths: end studs flush, layout studs centred at 16 in, 1.5 in thick. [in]"""
    length = D(length_ft * 12)
    studs = [D("0.75"), *[D(16 * k) for k in range(1, length_ft) if 16 * k < length - D("0.75")], length - D("0.75")]
    clear = [b - a - D("1.5") for a, b in pairwise(studs)]
    return [width for width in clear if width >= 1]


def volume(length_ft: int) -> Decimal:
    return sum(bays(length_ft), D(0)) * (HEIGHT_IN - D("4.5")) * D("3.5") / 1728


class Apart:
    """The second calculation."""

    def __init__(self, book: dict[str, Any]) -> None:
        self.book = book
        self.rates = {rate["id"]: D(str(rate["best"])) for rate in book["rates"]}
        self.work = {row["kind"]: row for row in book["leak_work"]}

    def line(self, hours: Decimal, **parts: int) -> tuple[dict[str, int], Decimal]:
        cost = {"labour": money(hours, self.rates["labour"]), **parts}
        cost["contingency"] = cents(sum(cost.values()) * self.rates["contingency"])
        return cost, hours

    def option(self, walls: list[str], rest: bool, margin: Decimal, discount: int) -> dict[str, Any]:
        r, foam, loose = self.rates, self.book["foams"][0], self.book["loose_fills"][0]
        crew_day = r["crew_size"] * r["day_hours"]
        fills = [volume(WALLS[name]["length"]) for name in walls]
        mixes = [fill * (1 + D(str(foam["waste"]))) / D(str(foam["yield_ft3"])) for fill in fills]
        bought = math.ceil(sum(mixes))
        foam_cents = spread(money(D(bought), foam["cost_per_mix"]), mixes)
        lines: list[tuple[str, dict[str, int], Decimal]] = []
        for name, foam_share in zip(walls, foam_cents, strict=True):
            wall = WALLS[name]
            base, high = D(wall["base"]), HEIGHT_IN / 12
            over_20 = min(high, max(D(0), base + high - 20)) / high
            over_10 = min(high, max(D(0), base + high - 10)) / high - over_20
            drilled = wall["length"] * high / r["wall_lift_cladding"] * crew_day
            drilled *= 1 + over_10 * r["over_10_ft"] + over_20 * r["over_20_ft"]
            drilled *= 1 + (r["steep_grade"] if wall["steep"] else 0)
            drilled *= 1 + wall["obstructed"] * r["obstructed"]
            hours = max(drilled, r["small_wall"]) + r["face_set_up"]
            plugs = money(D(3 * len(bays(wall["length"]))), r["plug"])
            lines.append(("walls", *self.line(hours, material=foam_share + plugs)))
        bags = D(731) * D("56.3") / 1000 if rest else D(0)
        if rest:
            hours = 2 * bags / r["attic_blowing"] + r["attic_set_up"] + 11 * r["baffle"] + D("7.5") * r["dam"]
            material = money(D(math.ceil(bags)), loose["cost_per_bag"])
            material += money(D(11), r["baffle_material"]) + money(D("7.5"), r["dam_material"])
            lines.append(("attic", *self.line(hours, material=material)))
            for kind, quantity in (("top_plate", D("123.5")), ("plumbing_stack", D(2))):
                work = self.work[kind]
                material = money(quantity, work["material"])
                lines.append(("leaks", *self.line(quantity * D(str(work["hours"])), material=material)))
        injected = sum((h for kind, _, h in lines if kind == "walls"), D(0)) / crew_day
        blown = sum((h for kind, _, h in lines if kind == "attic"), D(0)) / crew_day
        tests = r["test_in"] + r["test_out"]
        worked = (sum((h for _, _, h in lines), D(0)) + tests) / crew_day
        days = D(math.ceil(worked * 2)) / 2
        injecting = D(math.ceil(injected * 2)) / 2
        rigs = money(injecting, r["foam_rig"]) + money(D(math.ceil(blown * 2)) / 2, r["blowing_machine"])
        rigs += money(injecting, r["staging"])  # the porch is worked from staging in both options
        lines += [
            ("job", *self.line(tests, equipment=money(D(1), r["blower_door"]))),
            ("job", *self.line((days - worked) * crew_day)),
            ("job", *self.line(D(0), travel=money(days, r["travel"]))),
            ("job", *self.line(D(0), disposal=money(D(1), r["disposal"]))),
            ("job", *self.line(D(0), equipment=rigs)),
            ("job", *self.line(D(0), material=money(math.ceil(injected) * r["purge"], foam["cost_per_mix"]))),
        ]
        shares = r["commission"] + r["lender_fee"] + r["card_fee"]
        prices = [cents(sum(cost.values()) / (1 - margin - shares)) for _, cost, _ in lines]
        price = sum(prices)
        price = max(price, money(D(1), r["minimum_charge"])) - discount
        own: dict[str, list[int]] = {}
        for (kind, cost, _), line_price in zip(lines, prices, strict=True):
            if kind != "job":
                part = cents(D(line_price) * cost.get("material", 0) / sum(cost.values()))
                into = own.setdefault(kind, [0, 0])
                into[0] += line_price
                into[1] += part
        measured = dict(zip(own, spread(price, [D(a) for a, _ in own.values()]), strict=True))
        return {
            "cost": sum(sum(cost.values()) for _, cost, _ in lines),
            "parts": {
                part: sum(cost.get(part, 0) for _, cost, _ in lines)
                for part in ("material", "labour", "equipment", "travel", "disposal", "contingency")
            },
            "price": price,
            "mixes": bought,
            "bags": math.ceil(bags),
            "days": days,
            "measures": measured,
            "commission": cents(price * r["commission"]),
            "overhead": cents(price * r["overhead"]),
        }


def options(written: dict[str, Any]) -> dict[str, Any]:
    return {option["id"]: option for option in written["estimate"]["options"]}


@pytest.mark.parametrize("name", list(WALLS))
def test_areas_volumes_and_mixes_of_a_wall(written: dict[str, Any], book: dict[str, Any], name: str) -> None:
    found = next(wall for wall in written["takeoff"]["walls"] if wall["id"] == name)
    length, foam = WALLS[name]["length"], book["foams"][0]
    fill = volume(length)
    cavity = sum(bays(length), D(0)) * (HEIGHT_IN - D("4.5")) / 144
    expected = {
        "gross_ft2": length * HEIGHT_IN / 12,
        "net_ft2": length * HEIGHT_IN / 12,
        "cavity_ft2": cavity,
        "framing_ft2": length * HEIGHT_IN / 12 - cavity,
        "fill_ft3": fill,
        "required_ft3": fill * (1 + D(str(foam["waste"]))),
        "mixes": fill * (1 + D(str(foam["waste"]))) / D(str(foam["yield_ft3"])),
        "water_lb": fill * (D(str(foam["wet_lb_ft3"])) - D(str(foam["dry_lb_ft3"]))),
        "bay_count": len(bays(length)),
        "hole_count": 3 * len(bays(length)),
    }
    assert {key: found[key] for key in expected} == pytest.approx(
        {key: float(value) for key, value in expected.items()}, rel=5e-9
    )


@pytest.mark.parametrize(
    ("option", "rest", "margin", "discount"), [("all", True, D("0.42"), 12_555), ("walls", False, D("0.36"), 0)]
)
def test_cost_and_price_to_the_cent(
    written: dict[str, Any], book: dict[str, Any], option: str, rest: bool, margin: Decimal, discount: int
) -> None:
    found = options(written)[option]
    apart = Apart(book).option(list(WALLS), rest, margin, discount)
    parts: dict[str, int] = {}
    for line in found["lines"]:
        for part, amount in line["direct_cost_parts_cents"].items():
            parts[part] = parts.get(part, 0) + amount
    assert parts == apart["parts"]
    assert found["direct_cost_cents"] == apart["cost"]
    assert found["price_cents"] == apart["price"]
    assert (found["mixes_bought"], found["bags_bought"]) == (apart["mixes"], apart["bags"])
    assert D(str(found["crew_days"])) == apart["days"]
    assert found["commission_cents"] == apart["commission"]
    assert found["overhead_cents"] == apart["overhead"]
    earned = D(apart["price"] - apart["cost"])
    assert found["margin_before_shares"] == pytest.approx(float(earned / apart["price"]), rel=1e-8)
    assert found["markup"] == pytest.approx(float(earned / apart["cost"]), rel=1e-8)
    assert found["margin"] == pytest.approx(float((earned - apart["commission"]) / apart["price"]), rel=1e-8)
    net = (earned - apart["commission"] - apart["overhead"]) / apart["price"]
    assert found["net_margin"] == pytest.approx(float(net), rel=1e-8)


def test_stacked_incentives_tax_and_payments_to_the_cent(written: dict[str, Any], book: dict[str, Any]) -> None:
    found = options(written)["all"]
    apart = Apart(book).option(list(WALLS), True, D("0.42"), 12_555)
    price, by = apart["price"], apart["measures"]
    # In order: half of air sealing, at most $600; 70 % of what is left of each measure, at most $4,000 a measure and
    # $6,000 a job, in the group of the wall rebate, which therefore is not given.
    sealing = min(by["leaks"] // 2, 60_000)
    left = {"walls": by["walls"], "attic": by["attic"], "leaks": by["leaks"] - sealing}
    grant = min(sum(min(cents_left * 7 // 10, 400_000) for cents_left in left.values()), 600_000)
    given = {item["id"]: item["cents"] for item in found["incentives"]["given"]}
    assert given == {"fernmoor-air-sealing": sealing, "fernmoor-income": grant}
    assert [item["id"] for item in found["incentives"]["refused"]] == ["fernmoor-walls"]
    # Both lower the taxable price; 8 percent of the rest.
    taxable = price - sealing - grant
    tax = cents(D(taxable) * D("0.08"))
    assert (found["tax"]["taxable_cents"], found["tax"]["cents"]) == (taxable, tax)
    assert found["total_cents"] == price + tax
    assert found["net_cents"] == price + tax - sealing - grant
    assert found["due_cents"] == price + tax - sealing - grant  # both are paid to the firm
    # New York: no cap on the deposit; the progress payment no more than the walls' price less the deposit.
    deposit = cents(D(price + tax) * D("0.1"))
    progress = min(cents(D(price + tax) * D("0.4")), by["walls"] - deposit)
    assert [step["cents"] for step in found["payments"]] == [deposit, progress, price + tax - deposit - progress]
    assert found["payment_faults"] == []

"""What a change of the work does to the contract: difference in price, tax, cap on the deposit, and incentives.

The rules and the price book are those frozen with the signed estimate. Walls as found run through the whole chain once
more, so that mixes and bags are rounded for the whole job and only the difference is billed.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from estimates.contract import deposit_cap
from estimates.house import AsFoundRecord, HouseRecord, WallRecord
from estimates.money import format_money, to_cents
from estimates.physics.asfound import found_record
from estimates.pricebook import PriceBook
from estimates.pricing import PARTS
from estimates.records import read_record
from estimates.rules import RuleRow, rule_from_form
from estimates.snapshot import ENGINE_VERSION, take_snapshot
from estimates.takeoff import SASH_POCKET_IN, SASH_POCKETS_BEFORE
from estimates.tax import sales_tax
from jobs.booking import frozen_forms
from jobs.models import ChangeOrder, ChangeStatus, Job
from jobs.phase_plan import option_form


@dataclass(frozen=True, slots=True)
class ChangeLine:
    """A line of a change order; `cents` None: somebody who may set a price has not done so yet. [cents]"""

    text: str
    cents: int | None

    def form(self) -> dict[str, Any]:
        """As it is kept."""
        return {"text": self.text, "cents": self.cents}


@dataclass(frozen=True, slots=True)
class ChangeEffect:
    """What a change order comes to, and what it does to the contract. Money in cents, before and after the change."""

    price_cents: int
    tax_cents: int
    total_before: int
    total_after: int
    said: tuple[str, ...]

    @property
    def total_cents(self) -> int:
        """Difference with tax."""
        return self.price_cents + self.tax_cents


@dataclass(frozen=True, slots=True)
class Found:
    """Walls as found, priced: lines of the difference, the option as it is now, and sentences on what moved."""

    lines: tuple[ChangeLine, ...]
    whole: dict[str, Any]
    said: tuple[str, ...]


def signed_changes(job: Job) -> list[ChangeOrder]:
    """Change orders of a job that were signed, in their order."""
    return list(ChangeOrder.objects.filter(job=job, status=ChangeStatus.SIGNED))


def change_effect(job: Job, lines: Sequence[ChangeLine], *, said: Sequence[str] = ()) -> ChangeEffect:
    """Work out what lines of a change order come to on top of everything that was signed before.

    Parameters
    ----------
    job : with its revision.
    lines : of the change; lines without a price count as nothing.
    said : sentences that are known already, such as those on incentives.

    Notes
    -----
    Tax is worked out on the whole contract with and without the change, so that a change bears exactly the tax that it
    causes; the direct cost of the change is taken to have the same parts as that of the option that was signed.
    """
    forms = frozen_forms(job)
    option = option_form(forms, job.option)
    house, estimate = forms["house"], forms["estimate"]
    rules = [rule_from_form(form) for form in forms["rules"]]
    places, on = tuple(estimate["places"]), date.fromisoformat(estimate["priced_on"])
    price = sum(line.cents or 0 for line in lines)
    signed = signed_changes(job)
    price_before = option["price_cents"] + sum(to_cents(change.price) for change in signed)
    certificate = bool(house.get("capital_improvement", False))
    tax_before = _tax(rules, places, on, option, price_before, certificate)
    tax_after = _tax(rules, places, on, option, max(0, price_before + price), certificate)
    before, after = price_before + tax_before, price_before + price + tax_after
    return ChangeEffect(
        price,
        tax_after - tax_before,
        before,
        after,
        (
            f"Contract with tax: {format_money(before)} before this change, {format_money(after)} with it.",
            _deposit_words(rules, places, on, option, max(0, after)),
            *(said or _incentive_words(option)),
        ),
    )


def _tax(
    rules: Sequence[RuleRow], places: Sequence[str], on: date, option: Mapping[str, Any], price: int, certificate: bool
) -> int:
    given = option["incentives"]["given"]
    lowered = sum(item["cents"] for item in given if item["lowers_taxable"])
    cost = {part: sum(line["direct_cost_parts_cents"].get(part, 0) for line in option["lines"]) for part in PARTS}
    return sales_tax(
        rules, places, on=on, price_cents=price, cost_cents=cost, lowered_cents=lowered, certificate=certificate
    ).cents


def _deposit_words(
    rules: Sequence[RuleRow], places: Sequence[str], on: date, option: Mapping[str, Any], total: int
) -> str:
    deposit = option["deposit_cents"]
    cap = deposit_cap(rules, places, price_cents=total, on=on)
    if cap.cents is None:
        return f"Deposit: stays {format_money(deposit)}; none is asked for more."
    if deposit > cap.cents:
        return (
            f"Deposit: {format_money(deposit)} was agreed, the cap is {format_money(cap.cents)} now; "
            f"{format_money(deposit - cap.cents)} goes back or is counted on the next invoice."
        )
    return (
        f"Deposit: stays {format_money(deposit)}, under the cap of {format_money(cap.cents)}; none is asked for more."
    )


def _incentive_words(option: Mapping[str, Any]) -> tuple[str, ...]:
    given = option["incentives"]["given"]
    if not given:
        return ("Incentives: none in this contract.",)
    names = ", ".join(item["name"] for item in given)
    return (f"Incentives: stay as approved ({names}); ask the programme before the change is counted in.",)


def found_walls(job: Job, house: HouseRecord) -> tuple[WallRecord, ...]:
    """The walls of a house with those of a job as they were found.

    Raises
    ------
    OutOfRange : what was found does not fit its wall.
    """
    pocket = SASH_POCKET_IN if house.year_built < SASH_POCKETS_BEFORE else 0.0
    found = {wall.key: read_record(AsFoundRecord, wall.found) for wall in job.walls.all() if wall.found}
    return tuple(
        found_record(wall, found[wall.id], sash_pocket_in=pocket) if wall.id in found else wall for wall in house.walls
    )


def price_as_found(job: Job) -> Found:
    """Price the signed option once more with the walls as found, by the price book and the rules of the contract.

    Returns
    -------
    Found; no lines where nothing differs. Lines are differences to what was signed last: the option, or the latest
    signed change order that was worked out from walls as found.

    Raises
    ------
    OutOfRange : what was found does not fit its wall.
    """
    forms = frozen_forms(job)
    measured = read_record(HouseRecord, forms["house"])
    book = read_record(PriceBook, forms["price_book"])
    rules = [rule_from_form(form) for form in forms["rules"]]
    seed = forms["performance"]["seed"]
    walls = found_walls(job, measured)
    was = _last_whole(job) or option_form(_same_engine(forms, measured, book, rules), job.option)
    house = dataclasses.replace(measured, walls=walls)
    now = option_form(json.loads(take_snapshot(house, book, rules=rules, seed=seed).text()), job.option)
    before, after = _by_line(was), _by_line(now)
    lines = tuple(
        ChangeLine(f"{key[2]}, as found", after.get(key, 0) - before.get(key, 0))
        for key in {**before, **after}
        if after.get(key, 0) != before.get(key, 0)
    )
    return Found(lines, _whole(now), (_incentives_moved(was, now), _bought_words(was, now)))


def _last_whole(job: Job) -> dict[str, Any] | None:
    """The option as it was priced by the latest signed change order that came from walls as found."""
    wholes = [change.content["whole"] for change in signed_changes(job) if change.content.get("whole")]
    return wholes[-1] if wholes else None


def _whole(option: Mapping[str, Any]) -> dict[str, Any]:
    """What a change order keeps of the option as found, so that the next one bills only what is new. No costs."""
    return {
        "price_cents": option["price_cents"],
        "mixes_bought": option["mixes_bought"],
        "bags_bought": option["bags_bought"],
        "lines": [{key: line[key] for key in ("code", "subject", "name", "price_cents")} for line in option["lines"]],
        "incentives": {
            "given": [{"name": one["name"], "cents": one["cents"]} for one in option["incentives"]["given"]]
        },
    }


def _by_line(option: Mapping[str, Any]) -> dict[tuple[str, str, str], int]:
    """Line -> its price. [cents] Lines of the same kind and place are told apart by their names."""
    found: dict[tuple[str, str, str], int] = {}
    for line in option["lines"]:
        key = (line["code"], line["subject"], line["name"])
        found[key] = found.get(key, 0) + line["price_cents"]
    return found


def _bought_words(was: Mapping[str, Any], now: Mapping[str, Any]) -> str:
    return (
        f"Whole mixes for the whole job: {was['mixes_bought']} before, {now['mixes_bought']} as found; "
        f"bags: {was['bags_bought']} before, {now['bags_bought']} as found."
    )


def _incentives_moved(was: Mapping[str, Any], now: Mapping[str, Any]) -> str:
    before, after = ({one["name"]: one["cents"] for one in option["incentives"]["given"]} for option in (was, now))
    moved = [
        f"{name} {format_money(before.get(name, 0))} before, {format_money(after.get(name, 0))} with the change"
        for name in {**before, **after}
        if before.get(name, 0) != after.get(name, 0)
    ]
    if moved:
        return f"Incentives by their rules: {'; '.join(moved)}. The programme decides."
    return "Incentives: unchanged." if after else "Incentives: none in this contract."


def _same_engine(
    forms: dict[str, Any], house: HouseRecord, book: PriceBook, rules: Sequence[RuleRow]
) -> dict[str, Any]:
    """The forms that were signed; worked out again where an older engine made them, so that only walls differ."""
    if forms["estimate"]["engine"] == ENGINE_VERSION:
        return forms
    snapshot = take_snapshot(house, book, rules=rules, seed=forms["performance"]["seed"])
    worked: dict[str, Any] = json.loads(snapshot.text())
    return worked

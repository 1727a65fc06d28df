"""The books: one function that posts, balances by account, and closing a month."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q, Sum

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.counter import counter_next
from estimates.models.counter import Counter
from estimates.models.user import User
from estimates.money import format_money
from jobs.models import Account, AccountKind, Entry, Job, Period, Posting

_A, _L, _I, _E = AccountKind.ASSET, AccountKind.LIABILITY, AccountKind.INCOME, AccountKind.EXPENSE

CHART: dict[str, tuple[str, str, AccountKind]] = {
    "bank": ("1000", "Bank", _A),
    "receivable": ("1200", "Receivable from customers", _A),
    "retainage": ("1250", "Retainage receivable", _A),
    "stock": ("1300", "Material on hand", _A),
    "payable": ("2000", "Owed to suppliers", _L),
    "wages_payable": ("2050", "Wages and burden accrued", _L),
    "tax_payable": ("2200", "Sales tax payable", _L),
    "deposits_asked": ("2290", "Deposits invoiced, not received", _L),
    "deposits_held": ("2300", "Deposits held", _L),
    "credits": ("2350", "Credit of customers", _L),
    "commission_payable": ("2400", "Commission payable", _L),
    "revenue": ("4000", "Revenue", _I),
    "discounts": ("4900", "Discounts", _I),
    "refunds": ("4950", "Credits given after the work", _I),
    "cost_labour": ("5000", "Job cost: labour", _E),
    "cost_material": ("5100", "Job cost: material", _E),
    "cost_equipment": ("5200", "Job cost: equipment", _E),
    "cost_subcontract": ("5300", "Job cost: subcontract", _E),
    "cost_travel": ("5400", "Job cost: travel", _E),
    "cost_disposal": ("5500", "Job cost: waste and disposal", _E),
    "cost_other": ("5600", "Job cost: other", _E),
    "cost_call_back": ("5700", "Job cost: call-backs", _E),
    "commission": ("6000", "Commission", _E),
}
"""Key -> code, name and kind of each account. Codes follow common practice (1 assets ... 6 expenses); no source."""

Amounts = Mapping[str, int]
"""Key of an account -> cents; above 0 a debit, below 0 a credit."""


def account_of(key: str) -> Account:
    """The account of that key, made when it is first needed.

    Raises
    ------
    KeyError : the chart has none.
    """
    code, name, kind = CHART[key]
    return Account.objects.get_or_create(key=key, defaults={"code": code, "name": name, "kind": kind})[0]


def entry_post(
    *,
    on: date,
    memo: str,
    amounts: Amounts,
    now: datetime,
    by: User | None = None,
    document: str = "",
    job: Job | None = None,
) -> Entry | None:
    """Write a balanced entry: the one place where the books change. Call it inside the transaction of its document.

    Parameters
    ----------
    on : day of the entry; its month must be open.
    amounts : cents by account, debits above 0, credits below; those of 0 are left out.
    document, job : what it is about.

    Returns
    -------
    The entry, None where every amount is 0.

    Raises
    ------
    RuntimeError : no transaction is open.
    ValueError : debits and credits differ: a fault of the caller, never of what was typed.
    ValidationError : the month is closed.
    """
    kept = {key: cents for key, cents in amounts.items() if cents}
    if sum(kept.values()):
        raise ValueError(f"the entry {memo!r} is out of balance by {format_money(sum(kept.values()))}")
    if not kept:
        return None
    # The number is also the turn: whoever closes a month waits for it, so nothing slips in behind.
    number = counter_next(name="ledger.entry")
    last = closed_until()
    if last is not None and on.replace(day=1) <= last:
        raise ValidationError(
            {"on": f"{on:%B %Y} is closed. Enter a day from {_next_month(last):%B} 1, {_next_month(last):%Y} on."}
        )
    entry = Entry(number=number, on=on, memo=memo[:200], document=document, job=job, at=now, by=by)
    entry.full_clean()
    entry.save()
    for key, cents in kept.items():
        amount = Decimal(abs(cents)) / 100
        side = {"debit": amount} if cents > 0 else {"credit": amount}
        Posting(entry=entry, account=account_of(key), **side).save()
    return entry


def _wait_for_postings() -> None:
    Counter.objects.get_or_create(name="ledger.entry")
    Counter.objects.select_for_update().get(name="ledger.entry")


def closed_until() -> date | None:
    """First day of the latest month that is closed, None where none is."""
    return Period.objects.order_by("-month").values_list("month", flat=True).first()


def _next_month(month: date) -> date:
    return date(month.year + month.month // 12, month.month % 12 + 1, 1)


def balances(*, job: Job | None = None, until: date | None = None) -> dict[str, int]:
    """Cents on each account, debits above 0: of one job, or of all; up to a day, or all days."""
    rows = Posting.objects.all()
    if job is not None:
        rows = rows.filter(entry__job=job)
    if until is not None:
        rows = rows.filter(entry__on__lte=until)
    sums = rows.order_by().values_list("account__key").annotate(debits=Sum("debit"), credits=Sum("credit"))
    found = dict.fromkeys(CHART, 0)
    for key, debit, credit in sums:
        found[key] = round((Decimal(debit) - Decimal(credit)) * 100)
    return found


@dataclass(frozen=True, slots=True)
class TrialRow:
    """An account with what moved in a month and what stands at its end; debits above 0. [cents]"""

    code: str
    name: str
    kind: str
    debit: int
    credit: int
    balance: int


def trial_balance(month: date) -> tuple[TrialRow, ...]:
    """Every account that ever moved up to the end of a month, in the order of its code."""
    end = _next_month(month)
    within = Q(entry__on__gte=month, entry__on__lt=end)
    rows = (
        Posting.objects.filter(entry__on__lt=end)
        .order_by("account__code")
        .values_list("account__code", "account__name", "account__kind")
        .annotate(
            month_debit=Sum("debit", filter=within),
            month_credit=Sum("credit", filter=within),
            all_debit=Sum("debit"),
            all_credit=Sum("credit"),
        )
    )
    return tuple(
        TrialRow(
            code, name, AccountKind(kind).label, _cents(debit), _cents(credit), _cents(all_debit) - _cents(all_credit)
        )
        for code, name, kind, debit, credit, all_debit, all_credit in rows
    )


def _cents(amount: Decimal | None) -> int:
    return round((amount or Decimal(0)) * 100)


def months_open(today: date) -> tuple[date, ...]:
    """Months that can be closed: those before today's that hold entries or follow one, oldest first."""
    last = closed_until()
    first = Entry.objects.order_by("on").values_list("on", flat=True).first()
    if last is None and first is None:
        return ()
    month = first.replace(day=1) if last is None and first is not None else _next_month(last or today)
    found = []
    while month < today.replace(day=1):
        found.append(month)
        month = _next_month(month)
    return tuple(found)


def period_close(*, month: date, today: date, by: User, now: datetime, origin: str = "") -> Period:
    """Close a month and all before it: from then on nothing is written into them. Closing it again changes nothing.

    Raises
    ------
    ValidationError : the month is not over, or is not given by its first day.
    Conflict : a later month is closed already.
    """
    if month.day != 1:
        raise ValidationError({"month": "Enter the first day of the month."})
    if month >= today.replace(day=1):
        raise ValidationError({"month": f"{month:%B %Y} is not over; close it from {_next_month(month):%B} 1 on."})
    with transaction.atomic():
        _wait_for_postings()
        there = Period.objects.filter(month=month).first()
        if there is not None:
            return there
        last = closed_until()
        if last is not None and last > month:
            raise Conflict(f"{last:%B %Y} is closed already, and {month:%B %Y} with it.")
        moved = Posting.objects.filter(entry__on__gte=month, entry__on__lt=_next_month(month))
        sums = moved.aggregate(debit=Sum("debit"), credit=Sum("credit"))
        if _cents(sums["debit"]) != _cents(sums["credit"]):
            raise Conflict(f"The books of {month:%B %Y} do not balance. Tell whoever looks after the program.")
        period = Period(
            month=month,
            closed_at=now,
            closed_by=by,
            entries=moved.order_by().values("entry").distinct().count(),
            debit=sums["debit"] or Decimal("0.00"),
        )
        period.full_clean()
        period.save()
        after = {"month": month, "entries": period.entries}
        activity_record(actor=by, action="ledger.close", target=period, now=now, after=after, origin=origin)
    return period


def unbalanced(entries: Iterable[Entry] | None = None) -> list[int]:
    """Numbers of entries whose debits and credits differ: none, unless somebody wrote past the services."""
    rows = Posting.objects.all() if entries is None else Posting.objects.filter(entry__in=entries)
    sums = rows.order_by().values_list("entry__number").annotate(debits=Sum("debit"), credits=Sum("credit"))
    return sorted(number for number, debit, credit in sums if debit != credit)

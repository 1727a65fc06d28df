"""Frames: one row per house or job, one column per figure, for charts, tables and files."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django.db.models import OuterRef, QuerySet, Subquery

from estimates import access
from estimates.models import EstimateRevision

if TYPE_CHECKING:
    import pandas as pd

MARGIN_COLUMNS = {
    "house": "House",
    "street": "Street",
    "option": "Option",
    "price": "Price, $",
    "cost": "Direct cost, $",
    "markup": "Markup, %",
    "margin": "Margin after commission, %",
    "target": "Target, %",
    "above": "Above target, points",
    "meets": "Earns the target",
}
"""Column -> heading in the table and the file."""

COST_COLUMNS = ("cost", "markup")
"""Only for those who may read costs."""

RISKY_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a cell that begins with one of these for a formula."""


def latest_revisions(user: access.Person) -> QuerySet[EstimateRevision]:
    """Return the newest estimate of each house that somebody may know of."""
    newest = EstimateRevision.objects.filter(house=OuterRef("house")).order_by("-number").values("number")[:1]
    found = EstimateRevision.objects.visible_to(user).filter(number=Subquery(newest))
    return found.select_related("house").order_by("house__name", "house_id")


def margin_frame(revisions: Iterable[EstimateRevision]) -> pd.DataFrame:
    """Return what the first option of each estimate earns, lowest against its target first.

    Parameters
    ----------
    revisions : one of each house.

    Returns
    -------
    Frame with the columns of MARGIN_COLUMNS and ``code``; money in dollars, shares in percent of the price.

    Notes
    -----
    Margin = (price - direct cost - commission) / price. Every line is rounded to a cent and so is the commission: a
    price worked out from the target exactly may miss it by half a cent for each of them, and still earns the target.
    """
    import pandas as pd

    rows = [_margin_row(revision) for revision in revisions]
    frame = pd.DataFrame(rows, columns=["code", *MARGIN_COLUMNS])
    return frame.sort_values(["above", "house"], kind="stable", ignore_index=True)


def _margin_row(revision: EstimateRevision) -> dict[str, Any]:
    option = json.loads(revision.snapshot)["estimate"]["options"][0]
    price, cost, target = option["price_cents"], option["direct_cost_cents"], option["target_margin"]
    earned = price - cost - option["commission_cents"]
    allowance = 0.5 * (len(option["lines"]) + 1)
    margin = 100 * earned / price if price else 0.0
    return {
        "code": str(revision.house.code),
        "house": revision.house.name,
        "street": revision.house.street,
        "option": option["name"],
        "price": price / 100,
        "cost": cost / 100,
        "markup": 100 * (price - cost) / cost if cost else 0.0,
        "margin": margin,
        "target": 100 * target,
        "above": margin - 100 * target,
        "meets": earned + allowance >= target * price,
    }


def margin_answer(frame: pd.DataFrame) -> str:
    """Say in words which houses earn the target margin."""
    count, earning = len(frame), int(frame["meets"].sum())
    if not count:
        return "No house has an estimate yet."
    if earning == count:
        return (
            "The only house earns its target margin." if count == 1 else f"All {count} houses earn the target margin."
        )
    if not earning:
        return "The only house misses its target margin." if count == 1 else f"None of {count} houses earns the target."
    lowest = frame[~frame["meets"]].iloc[0]
    return (
        f"{earning} of {count} houses {'earns' if earning == 1 else 'earn'} the target margin; furthest below is "
        f"{lowest['house']}, by {-lowest['above']:.1f} points."
    )


def shown_columns(user: access.Person) -> list[str]:
    """Return the columns that somebody may see, in order."""
    costs = access.allowed(user, "cost.read")
    return [name for name in MARGIN_COLUMNS if costs or name not in COST_COLUMNS]


def csv_text(frame: pd.DataFrame, columns: list[str]) -> str:
    """Write a frame as CSV that no spreadsheet will run.

    Parameters
    ----------
    frame : see `margin_frame`.
    columns : which columns, in order.
    """
    shown = frame[columns].copy()
    for name in columns:
        if shown[name].map(lambda value: isinstance(value, str)).any():
            shown[name] = shown[name].map(harmless)
    shown["meets"] = shown["meets"].map({True: "yes", False: "no"})
    return str(shown.rename(columns=MARGIN_COLUMNS).to_csv(index=False, float_format="%.2f", lineterminator="\r\n"))


def harmless(text: str) -> str:
    """Put an apostrophe before text that a spreadsheet would take for a formula.

    Examples
    --------
    >>> harmless("=1+1"), harmless("12 Alder Lane")
    ("'=1+1", '12 Alder Lane')
    """
    return f"'{text}" if text.startswith(RISKY_STARTS) else text

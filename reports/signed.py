"""What was signed, read from the frozen estimates: price, cost, parts and promise of one option each, in cents.

A frozen estimate is long and never changes, so what a report needs of it is kept in memory once it was read.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db.models import F, QuerySet

from estimates.models import EstimateRevision
from estimates.pricing import PARTS

MOST_KEPT = 20_000
"""Options kept in memory; a few hundred bytes each."""

FEW = 500
"""So many that are missing are asked for by name, else all of them are read in one query."""


@dataclass(frozen=True, slots=True)
class SignedOption:
    """The money of one option [cents], its leakage promise [cfm50], and what of the house it works on.

    `parts` are costs by `pricing.PARTS`; `measures` ids of measures with a price; `walls` the area of injected walls by
    their type [ft2]; `leakage` P10, P50 and P90 after the work, None where the house was not tested.
    """

    price: int
    cost: int
    commission: int
    discount: int
    parts: Mapping[str, int] = field(default_factory=dict)
    measures: tuple[str, ...] = ()
    walls: Mapping[str, float] = field(default_factory=dict)
    leakage: tuple[float, float, float] | None = None
    leakage_before: float | None = None

    @property
    def margin(self) -> int:
        """What was to be left: price less direct cost and commission. [cents]"""
        return self.price - self.cost - self.commission


Key = tuple[int, str]
_kept: dict[tuple[str, str], SignedOption] = {}


def signed_options(rows: QuerySet[Any], *, option: str) -> dict[Key, SignedOption]:
    """The options that rows name, by id of the revision and of the option; two queries at most.

    Parameters
    ----------
    rows : proposals or jobs, each with a ``revision``.
    option : name of their field with the id of the option.

    Returns
    -------
    Those that the frozen estimates hold; an option that is not there any more is left out.
    """
    wanted = set(rows.order_by().values_list("revision_id", "revision__sha256", option))
    missing = {revision for revision, sha256, name in wanted if (sha256, name) not in _kept}
    if missing:
        texts = EstimateRevision.objects.order_by()
        inside: Any = list(missing) if len(missing) <= FEW else rows.order_by().values("revision_id")
        names: dict[int, list[tuple[str, str]]] = {}
        for revision, sha256, name in wanted:
            names.setdefault(revision, []).append((sha256, name))
        if len(_kept) + len(missing) > MOST_KEPT:
            _kept.clear()
        for revision, text in texts.filter(pk__in=inside).values_list("pk", F("snapshot")).iterator(chunk_size=100):
            forms = json.loads(text)
            for sha256, name in names.get(revision, ()):
                found = read_option(forms, name)
                if found is not None:
                    _kept[sha256, name] = found
    return {(revision, name): _kept[sha256, name] for revision, sha256, name in wanted if (sha256, name) in _kept}


def read_option(forms: Mapping[str, Any], option_id: str) -> SignedOption | None:
    """What a report needs of an option; None where the estimate holds none of that id."""
    options = forms["estimate"]["options"]
    option = next((one for one in options if one["id"] == option_id), None)
    if option is None:
        return None
    lines = option["lines"]
    parts = {part: sum(int(line["direct_cost_parts_cents"].get(part, 0)) for line in lines) for part in PARTS}
    outcome: Mapping[str, Any] = next(
        (one for one in forms["performance"]["options"] if one["option_id"] == option_id), {}
    )
    after, before = outcome.get("cfm50_after"), outcome.get("cfm50_before")
    return SignedOption(
        price=int(option["price_cents"]),
        cost=int(option["direct_cost_cents"]),
        commission=int(option["commission_cents"]),
        discount=int(option["discount_cents"]),
        parts=parts,
        measures=tuple(one["measure"] for one in option["measures"] if one["price_cents"]),
        walls=_walls(forms, lines),
        leakage=None if after is None else (after["p10"], after["p50"], after["p90"]),
        leakage_before=before,
    )


def wall_type(wall: Mapping[str, Any]) -> str:
    """What a wall is: the kind of a framed surface, else what carries it. Left-out fields have their usual values."""
    construction = wall.get("construction", "frame")
    return str(wall.get("kind", "wall") if construction == "frame" else construction)


def _walls(forms: Mapping[str, Any], lines: list[Any]) -> dict[str, float]:
    types = {wall["id"]: wall_type(wall) for wall in forms["house"].get("walls", ())}
    found: dict[str, float] = {}
    for line in lines:
        if line["code"] == "wall":
            name = types.get(line["subject"], "wall")
            found[name] = found.get(name, 0.0) + float(line["quantity"])
    return found

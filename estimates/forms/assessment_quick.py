"""Quick entry: a house by a few figures, with what was usual in its time filled in to be overridden."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import QueryDict

from estimates.era import EraRecord, era_of
from estimates.forms.assessment_fields import shown_number
from estimates.forms.assessment_words import is_percent
from estimates.forms.plain import PlainForm
from estimates.forms.record_form import RecordForm
from estimates.house import AtticRecord, HouseRecord, PressurePointRecord, QuickWallRecord
from estimates.records import specs

USUAL = (
    "storey_height_ft", "window_share", "spacing_in", "depth_in", "cladding", "sheathing", "inside", "access",
)  # fmt: skip
"""Fields of the walls that begin with what was usual; the framing share follows without being asked."""

FACTS = ("year_built", "storeys", "floor_area_ft2", "bedrooms")

ATTIC = ("area_ft2", "existing_material", "existing_depth_in")


class QuickForm:
    """The forms of the page of quick entry, one for each record that it begins.

    Parameters
    ----------
    data : what was sent; None for a page that is first shown.
    begin : values of the house that are known already: climate, heating.
    """

    def __init__(self, data: QueryDict | None = None, begin: Mapping[str, Any] | None = None) -> None:
        self.is_bound = data is not None
        self.era = None if data is None else _era(data.get("year_built", ""))
        filled = None if data is None else filled_in(data, self.era)
        known = begin or {}
        self.facts = RecordForm(HouseRecord, data=filled, only=FACTS)
        self.walls = RecordForm(
            QuickWallRecord,
            data=filled,
            values=dict.fromkeys(USUAL),
            only=("perimeter_ft", *USUAL),
            prefix="wall",
        )
        self.attic = RecordForm(AtticRecord, data=filled, only=ATTIC, prefix="attic")
        self.test = RecordForm(PressurePointRecord, data=filled, only=("flow_cfm",), prefix="test")
        self.heating = RecordForm(HouseRecord, data=filled, values=known, only=("heating",))
        self.climate = RecordForm(HouseRecord, data=filled, values=known, only=("climate",))

    @property
    def needed(self) -> list[RecordForm]:
        """The forms that count: an attic or a test that was left empty does not."""
        return [
            self.facts,
            self.walls,
            *(form for form in (self.attic, self.test) if not form.is_blank),
            self.heating,
            self.climate,
        ]

    def live_forms(self) -> list[PlainForm]:
        """The forms that count, one by one."""
        return [made for form in self.needed for made in form.live_forms()]

    @property
    def faulty(self) -> bool:
        """Whether the summary of faults is to be shown."""
        return self.is_bound and any(made.errors for made in self.live_forms())

    def is_valid(self) -> bool:
        """Whether a house can begin with it."""
        answers = [form.is_valid() for form in self.needed]
        return all(answers)

    def hush(self) -> None:
        """Show no faults: the page is still being typed."""
        for form in (self.facts, self.walls, self.attic, self.test, self.heating, self.climate):
            form.hush()

    def raw(self) -> dict[str, Any]:
        """The JSON form of the fields of the house; valid forms only."""
        facts, walls = self.facts.raw(), self.walls.raw()
        era = self.era or era_of(int(facts["year_built"]))
        wall = walls | {
            "id": "walls",
            "name": "Outside walls",
            "storeys": facts["storeys"],
            "framing_share": era.framing_share,
        }
        raw = facts | self.heating.raw() | self.climate.raw()
        raw |= {"volume_ft3": facts["floor_area_ft2"] * walls["storey_height_ft"], "quick_walls": [wall]}
        if not self.attic.is_blank:
            raw["attics"] = [self.attic.raw() | {"id": "attic", "name": "Attic floor"}]
        if not self.test.is_blank:
            raw["blower_door"] = {"points": [{"pressure_pa": 50.0, "flow_cfm": self.test.raw()["flow_cfm"]}]}
        return raw


def _era(words: str) -> EraRecord | None:
    words = words.strip()
    spec = specs(HouseRecord)["year_built"][0]
    assert spec.low is not None
    assert spec.high is not None
    if words.isascii() and words.isdigit() and len(words) == 4 and spec.low <= int(words) <= spec.high:
        return era_of(int(words))
    return None


def filled_in(data: QueryDict, era: EraRecord | None) -> QueryDict:
    """What was sent, with boxes left empty, or still holding what was usual in another era, filled in."""
    filled = data.copy()
    if era is None:
        return filled
    before = _usual(_era(data.get("usual_for", "")))
    for name, words in _usual(era).items():
        typed = data.get(name, "").strip()
        if not typed or typed == before.get(name):
            filled[name] = words
    filled["usual_for"] = str(era.built_from)
    return filled


def _usual(era: EraRecord | None) -> dict[str, str]:
    """The words of an era as they stand in the boxes."""
    if era is None:
        return {}
    known = specs(QuickWallRecord)
    found = {}
    for name in USUAL:
        value = getattr(era, name)
        number = isinstance(value, float)
        found[f"wall-{name}"] = shown_number(value, percent=is_percent(name, known[name][0])) if number else str(value)
    return found

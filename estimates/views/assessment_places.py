"""What one page of an assessment edits: some fields of the house, or one item of a list; read, written, compared."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.http import QueryDict

from estimates.forms.assessment_words import name_of
from estimates.forms.record_form import RecordForm, full_form
from estimates.house import (
    AtticRecord,
    CombustionRecord,
    HouseRecord,
    OptionRecord,
    QuickWallRecord,
    WallRecord,
    house_faults,
)
from estimates.records import BadRecord, Fault, Spec, read_record, specs, write_record
from estimates.templatetags.figures import spoken

Form = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Topic:
    """Fields of the house that one page asks; `title` heads the page, `asks` says what for."""

    title: str
    fields: tuple[str, ...]
    asks: str = ""


TOPICS: Mapping[str, Topic] = {
    "complaints": Topic("What is wrong, room by room", ("complaints",), "In the words of the people who live there."),
    "heating": Topic("Heating and its price", ("heating",)),
    "climate": Topic("Climate", ("climate",)),
    "leaks": Topic("Places where air leaks", ("leak_sites",), "Each place that the crew can close."),
    "exhausts": Topic("Kitchens and baths", ("exhausts",), "Every kitchen, and every bath with a tub or shower."),
    "blower-door": Topic("Blower door", ("blower_door",), "One reading near 50 Pa, or better five and more."),
    "bills": Topic("Fuel bills", ("bills",), "A year of bills holds the savings to what was really burnt."),
    "household": Topic("Household", ("household",), "Only what incentive programmes ask."),
}
"""Word in the address -> fields; every other field of the house that is no list stands under "house"."""


@dataclass(frozen=True, slots=True)
class Items:
    """A list whose items have a page each."""

    field: str
    record: type
    one: str
    many: str


ITEMS: Mapping[str, Items] = {
    "walls": Items("walls", WallRecord, "wall", "Walls"),
    "quick-walls": Items("quick_walls", QuickWallRecord, "walls by a few figures", "Walls by a few figures"),
    "attics": Items("attics", AtticRecord, "attic", "Attics"),
    "combustion": Items("combustion", CombustionRecord, "round of combustion tests", "Combustion tests"),
    "options": Items("options", OptionRecord, "option", "Options for the homeowner"),
}
"""Word in the address -> list."""

OWN_PAGES = ("photos", "gate_answers", "gate_releases")
"""Lists with pages of their own kind."""


def house_topic() -> Topic:
    """The facts of the house: every field that no other page asks, so that a new field appears by itself."""
    named = {name for topic in TOPICS.values() for name in topic.fields} | {item.field for item in ITEMS.values()}
    rest = [name for name in specs(HouseRecord) if name not in {*named, *OWN_PAGES, "schema", "id"}]
    return Topic("The house", tuple(rest))


def topic_of(word: str) -> Topic | None:
    """The topic of a word in the address."""
    return house_topic() if word == "house" else TOPICS.get(word)


class Place:
    """A part of a house record: `label` is what a message calls it."""

    label: str
    record: type
    only: tuple[str, ...] | None = None

    def values(self, house: HouseRecord) -> dict[str, Any] | None:
        """Field -> value as the house holds it; None where the item is not there."""
        raise TypeError(f"{type(self).__name__} has no values")

    def write(self, house: HouseRecord, form: Form | None) -> HouseRecord:
        """Return the house with this part changed, taken out where there is no form.

        Raises
        ------
        BadRecord : the reader refuses it; paths are those of this part.
        """
        raise TypeError(f"{type(self).__name__} cannot be written")

    def path(self, house: HouseRecord) -> str:
        """Where this part stands in the JSON form."""
        raise TypeError(f"{type(self).__name__} has no path")

    def read(self, house: HouseRecord) -> Form | None:
        """The JSON form of this part, every field written; None where the item is not there."""
        values = self.values(house)
        return None if values is None else {name: full_form(value) for name, value in values.items()}

    def form(self, house: HouseRecord, data: QueryDict | None = None) -> RecordForm:
        """The form of this part."""
        return RecordForm(
            self.record, data=data, values=self.values(house), only=self.only, choices=part_choices(house)
        )

    def faults(self, house: HouseRecord) -> list[Fault]:
        """What does not fit together in this part, with the paths of its form."""
        raise TypeError(f"{type(self).__name__} has no faults")


def _below(path: str, whole: str) -> str:
    return "$" + whole.removeprefix(path)


class TopicPlace(Place):
    """Some fields of the house."""

    def __init__(self, topic: Topic) -> None:
        self.label, self.record, self.only = topic.title, HouseRecord, topic.fields

    def values(self, house: HouseRecord) -> dict[str, Any]:
        """Field -> value."""
        return {name: getattr(house, name) for name in self.only or ()}

    def write(self, house: HouseRecord, form: Form | None) -> HouseRecord:
        """Return the house with these fields changed."""
        return read_record(HouseRecord, without_dangling(write_record(house) | (form or {})))

    def path(self, house: HouseRecord) -> str:
        """The house itself."""
        return "$"

    def faults(self, house: HouseRecord) -> list[Fault]:
        """What does not fit together in these fields."""
        found = [(fault, re.match(r"\$\.([a-z_0-9]+)", fault.path)) for fault in house_faults(house)]
        return [fault for fault, name in found if name is not None and name[1] in (self.only or ())]


class ItemPlace(Place):
    """One item of a list; `key` is its id, or its number where it has none, "" for a new one."""

    def __init__(self, items: Items, key: str, house: HouseRecord) -> None:
        self.items, self.key, self.record = items, key, items.record
        found = self._at(house)
        self.number = 0 if found is None else found + 1
        name = "" if found is None else str(getattr(getattr(house, items.field)[found], "name", "") or "")
        self.label = name or (f"{items.one.capitalize()} {self.number}" if self.number else f"New {items.one}")

    @property
    def has_id(self) -> bool:
        """Whether items are told apart by an id."""
        return "id" in specs(self.record)

    def _at(self, house: HouseRecord) -> int | None:
        listed = getattr(house, self.items.field)
        if not self.key:
            return None
        if self.has_id:
            return next((place for place, item in enumerate(listed) if item.id == self.key), None)
        place = int(self.key) - 1 if re.fullmatch(r"[1-9]\d{0,3}", self.key) else -1
        return place if 0 <= place < len(listed) else None

    def values(self, house: HouseRecord) -> dict[str, Any] | None:
        """Field -> value, None where the item is not there."""
        place = self._at(house)
        if place is None:
            return None
        item = getattr(house, self.items.field)[place]
        return {name: getattr(item, name) for name in specs(self.record)}

    def write(self, house: HouseRecord, form: Form | None) -> HouseRecord:
        """Return the house with the item changed, added or taken out; a new one as any other is not added again."""
        raw, place = write_record(house), self._at(house)
        listed = list(raw.get(self.items.field, []))
        if form is None:
            listed = [item for number, item in enumerate(listed) if number != place]
        else:
            item: Form = write_record(self._item(house, form))
            if place is not None:
                listed[place] = item
            elif item not in listed:
                listed.append(item)
        return read_record(HouseRecord, without_dangling(raw | {self.items.field: listed}))

    def _item(self, house: HouseRecord, form: Form) -> Any:
        if not self.has_id:
            return read_record(self.record, form)
        item: Any = read_record(self.record, form | {"id": self.key or "new"})
        if self.key:
            return item
        return read_record(self.record, form | {"id": free_id(house, item, self.items)})

    def path(self, house: HouseRecord) -> str:
        """The place in its list."""
        place = self._at(house)
        count = len(getattr(house, self.items.field))
        return f"$.{self.items.field}[{count - 1 if place is None else place}]"

    def faults(self, house: HouseRecord) -> list[Fault]:
        """What does not fit together in this item."""
        path = self.path(house)
        return [
            Fault(_below(path, fault.path), fault.message)
            for fault in house_faults(house)
            if fault.path == path or fault.path.startswith(f"{path}.")
        ]


def free_id(house: HouseRecord, item: Any, items: Items) -> str:
    """An id made of the name, which no other part of the house has; that of an item alike in everything but its id."""
    kinds: tuple[Any, ...] = (*house.walls, *house.quick_walls, *house.attics, *house.leak_sites, *house.options)
    taken = {str(part.id) for part in kinds}
    base = re.sub(r"[^a-z0-9]+", "-", item.name.lower()).strip("-")[:30].strip("-") or items.field.rstrip("s")
    number, found = 1, base
    while found in taken:
        alike: Any = next((part for part in getattr(house, items.field) if part.id == found), None)
        if alike is not None and write_record(alike) == write_record(item) | {"id": found}:
            return found
        number += 1
        found = f"{base}-{number}"
    return found


def part_choices(house: HouseRecord) -> dict[str, list[tuple[str, str]]]:
    """Parts of the house that others point to, by the field that does."""
    walls = [(wall.id, wall.name) for wall in house.walls]
    walls += [(wall.id, wall.name) for wall in house.quick_walls]
    attics = [(attic.id, attic.name) for attic in house.attics]
    leaks = [(site.id, site.name) for site in house.leak_sites]
    return {"wall_ids": walls, "attic_ids": attics, "leak_ids": leaks, "parts": [*walls, *attics, *leaks]}


def without_dangling(raw: Form) -> Form:
    """A house without words about parts that are no longer there: gate answers, releases, options, photos."""
    known = {
        "wall_ids": {part.get("id") for name in ("walls", "quick_walls") for part in raw.get(name) or ()},
        "attic_ids": {part.get("id") for part in raw.get("attics") or ()},
        "leak_ids": {part.get("id") for part in raw.get("leak_sites") or ()},
    }
    every = set().union(*known.values())
    raw = dict(raw)
    for name in ("gate_answers", "gate_releases"):
        kept = [_pruned(item, {"parts": every}) for item in raw.get(name) or ()]
        raw[name] = [item for item in kept if item.get("parts") != []]
    raw["options"] = [_pruned(item, known) for item in raw.get("options") or ()]
    raw["photos"] = [item if item.get("part") in every else item | {"part": ""} for item in raw.get("photos") or ()]
    return raw


def _pruned(item: Form, known: Mapping[str, set[Any]]) -> Form:
    changed = {name: [one for one in item[name] if one in there] for name, there in known.items() if item.get(name)}
    return item | changed


# --- two versions side by side -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Difference:
    """A field that two people left at different values; `keep` is what is chosen to begin with: mine or theirs."""

    path: str
    label: str
    theirs: str
    mine: str
    keep: str


def leaves(form: Form | None, path: str = "") -> dict[str, Any]:
    """Every value of a form by its path; lists count as one value.

    Examples
    --------
    >>> leaves({"heating": {"fuel": "propane"}, "walls": []})
    {'heating.fuel': 'propane', 'walls': []}
    """
    found: dict[str, Any] = {}
    for name, value in (form or {}).items():
        here = f"{path}.{name}" if path else name
        found |= leaves(value, here) if isinstance(value, dict) and value else {here: value}
    return found


def differences(record: type, base: Form | None, theirs: Form, mine: Form, kept: Mapping[str, str]) -> list[Difference]:
    """Fields that differ. What only they changed begins as theirs, everything else as mine.

    Parameters
    ----------
    record : record type of the part.
    base : the part as it was when my form was shown; None when that is not known.
    theirs, mine : the part as it is stored now, and as I typed it.
    kept : choices already made, by path.
    """
    was, now, new = leaves(base), leaves(theirs), leaves(mine)
    found = []
    for path in dict.fromkeys((*now, *new)):
        if now.get(path) == new.get(path):
            continue
        untouched = base is not None and was.get(path) == new.get(path)
        keep = kept.get(path) or ("theirs" if untouched else "mine")
        label, spec = _path_words(record, path)
        found.append(Difference(path, label, said(spec, now.get(path)), said(spec, new.get(path)), keep))
    return found


def chosen(mine: Form, theirs: Form, kept: Mapping[str, str]) -> Form:
    """My form with their values where theirs were chosen.

    Examples
    --------
    >>> chosen({"a": 1, "b": {"c": 2}}, {"a": 9, "b": {"c": 8}}, {"b.c": "theirs", "a": "mine"})
    {'a': 1, 'b': {'c': 8}}
    """
    result = {name: dict(value) if isinstance(value, dict) else value for name, value in mine.items()}
    values = leaves(theirs)
    for path, word in kept.items():
        if word != "theirs" or path not in values:
            continue
        *above, last = path.split(".")
        target = result
        for name in above:
            inner = target.get(name)
            target[name] = dict(inner) if isinstance(inner, dict) else {}
            target = target[name]
        target[last] = values[path]
    return result


def _path_words(record: type, path: str) -> tuple[str, Spec | None]:
    words, spec, here = [], None, record
    for name in path.split("."):
        known = specs(here)
        spec = known[name][0] if name in known else None
        words.append(name_of(here, name))
        here = spec.record if spec is not None and spec.kind == "one" and spec.record is not None else here
    return ": ".join(words[-2:] if len(words) > 1 else words), spec


def said(spec: Spec | None, value: Any) -> str:
    """A value as a person reads it."""
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        unit = spec.unit if spec is not None else ""
        return f"{value:.9g} {unit}".strip()
    if isinstance(value, list):
        rows = [_row_words(item) for item in value]
        return f"{len(rows)}: {'; '.join(rows)}" if rows else "none"
    if isinstance(value, dict):
        return _row_words(value)
    return spoken(value) if spec is not None and spec.kind == "choice" else str(value)


def _row_words(item: Any) -> str:
    if not isinstance(item, dict):
        return str(item)
    known = [(name, value) for name, value in item.items() if value is not None and name != "id"]
    return ", ".join(f"{name_of(object, name).lower()} {said(None, value)}" for name, value in known)


def relative(bad: BadRecord, path: str) -> list[Fault]:
    """The faults of a record with the paths of one part of it."""
    return [Fault(_below(path, fault.path), fault.message) for fault in bad.faults]

"""Tables for records: the columns of a table are the fields of the record it keeps, declared once in `estimates.house`.

A number, text, choice, flag or day is a column; a nested record is columns with a prefix, all empty where it is left
out; a list of records is a table of its own, whose rows know their parent and their position in the list.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce
from operator import and_
from typing import Any, ClassVar, TypeVar

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Q

from estimates.models.user import User
from estimates.records import Spec, specs

M = TypeVar("M", bound=type[models.Model])

WORD_LENGTH = 60
"""Characters of the longest word of a choice, with room to spare."""


@dataclass(frozen=True, slots=True)
class Column:
    """A field of a record as a column; `null` where the field, or the nested record it is in, may be left out."""

    name: str
    field: str
    spec: Spec
    null: bool


@dataclass(frozen=True, slots=True)
class RecordList:
    """A list of records, which is kept in a table of its own; `name` is how the parent's row calls it."""

    name: str
    field: str
    record: type


@dataclass(frozen=True, slots=True)
class Part:
    """A nested record; `marker` is a column that is filled whenever the record is there, "" where it always is."""

    field: str
    marker: str
    plan: Plan


@dataclass(frozen=True, slots=True)
class Plan:
    """How a record is spread over one table: columns, nested records, and lists that have their own tables."""

    record: type
    columns: tuple[Column, ...]
    parts: tuple[Part, ...]
    lists: tuple[RecordList, ...]

    @classmethod
    def of(cls, record: type, *, prefix: str = "", null: bool = False, without: frozenset[str] = frozenset()) -> Plan:
        """Return the plan of a record; fields named in `without` are kept somewhere else.

        Raises
        ------
        TypeError : a field that no column can hold.
        """
        columns, parts, lists = [], [], []
        for name, (spec, _) in specs(record).items():
            if name in without:
                continue
            # Every row has an id of the database; the record's own is its key.
            place = prefix + ("key" if name == "id" else name)
            if spec.kind == "many":
                assert spec.record is not None
                lists.append(RecordList(place, name, spec.record))
            elif spec.kind == "one":
                assert spec.record is not None
                inner = cls.of(spec.record, prefix=f"{place}_", null=null or spec.optional)
                parts.append(Part(name, inner._marker() if spec.optional else "", inner))
            elif spec.kind == "whole" and (spec.low is None or spec.high is None):
                raise TypeError(f"{record.__name__}.{name} has no limits; a column of 64 bits needs both.")
            else:
                columns.append(Column(place, name, spec, null or spec.optional))
        return cls(record, tuple(columns), tuple(parts), tuple(lists))

    def _marker(self) -> str:
        for column in self.columns:
            if not column.spec.optional:
                return column.name
        raise TypeError(f"{self.record.__name__} may be left out, but has no field that is always filled; add one.")

    def all_columns(self) -> Iterator[Column]:
        """Yield the columns, those of nested records too."""
        yield from self.columns
        for part in self.parts:
            yield from part.plan.all_columns()

    def all_lists(self) -> Iterator[RecordList]:
        """Yield the lists, those of nested records too."""
        yield from self.lists
        for part in self.parts:
            yield from part.plan.all_lists()

    def values(self, record: Any) -> dict[str, Any]:
        """Return the value of each column; all of them None where there is no record."""
        if record is None:
            return dict.fromkeys(column.name for column in self.all_columns())
        values = {column.name: _stored(column.spec, getattr(record, column.field)) for column in self.columns}
        for part in self.parts:
            values |= part.plan.values(getattr(record, part.field))
        return values

    def listed(self, record: Any) -> dict[str, Sequence[Any]]:
        """Return the records of each list; none where there is no record."""
        found = {item.name: () if record is None else getattr(record, item.field) for item in self.lists}
        for part in self.parts:
            found |= part.plan.listed(None if record is None else getattr(record, part.field))
        return found

    def build(self, values: Mapping[str, Any], lists: Callable[[str], tuple[Any, ...]], /, **rest: Any) -> Any:
        """Return the record whose columns hold `values`; `rest` are the fields that are kept somewhere else."""
        for column in self.columns:
            rest[column.field] = _read(column.spec, values[column.name])
        for part in self.parts:
            there = not part.marker or values[part.marker] is not None
            rest[part.field] = part.plan.build(values, lists) if there else None
        for item in self.lists:
            rest[item.field] = lists(item.name)
        return self.record(**rest)


def _stored(spec: Spec, value: Any) -> Any:
    if value is None:
        return None
    if spec.kind == "choice":
        return str(value)
    return list(value) if spec.kind in ("codes", "texts") else value


def _read(spec: Spec, value: Any) -> Any:
    if value is None:
        return None
    if spec.kind == "choice":
        assert spec.enum is not None
        return spec.enum(value)
    return tuple(value) if spec.kind in ("codes", "texts") else value


@dataclass(frozen=True, slots=True)
class Kept:
    """What a table keeps, and the tables of its lists by name."""

    plan: Plan
    tables: dict[str, type[RecordRow]] = field(default_factory=dict)


class RecordRowManager(models.Manager["RecordRow"]):
    """Reads of rows of records."""

    def visible_to(self, user: User | AnonymousUser) -> models.QuerySet[RecordRow]:
        """Return the rows below what somebody may know of."""
        table: Any = self.model
        parent = table._meta.get_field("parent").related_model
        return self.filter(Q(parent__in=parent._default_manager.visible_to(user)))


class RecordRow(models.Model):
    """One record of a list; `keeps` adds its parent and its columns."""

    kept: ClassVar[Kept]

    position = models.PositiveIntegerField()

    objects = RecordRowManager()

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self._meta.verbose_name} {self.position + 1}"


def keeps(
    record: type, *, parent: type[models.Model] | None = None, many: str = "", without: Iterable[str] = ()
) -> Callable[[M], M]:
    """Make a model keep a record: adds a column for each field, and checks for their limits.

    Parameters
    ----------
    record : the record type.
    parent, many : model whose list this is a row of, and the name of the list there.
    without : fields that are kept somewhere else.

    Raises
    ------
    TypeError : the model has a field of that name already, or the parent has no such list of such records.
    """

    def decorate(model: M) -> M:
        plan = Plan.of(record, without=frozenset(without))
        checks: list[models.BaseConstraint] = list(_checks(model._meta.model_name or "", plan))
        for column in plan.all_columns():
            if hasattr(model, column.name):
                raise TypeError(f"{model.__name__}.{column.name} is there already; {record.__name__} needs that name.")
            model.add_to_class(column.name, _field(column))
        model.kept = Kept(plan)  # type: ignore[attr-defined]
        if parent is not None:
            # Rows of a list are only deleted by `delete_rows`, which begins with the innermost; nothing cascades.
            link = models.ForeignKey(parent, on_delete=models.DO_NOTHING, related_name=many)
            model.add_to_class("parent", link)
            checks += _once_per_parent(model._meta.model_name or "", plan)
            _join(model, record, parent, many)
        model._meta.constraints = [*model._meta.constraints, *checks]
        # Where migrations look for what a model asks for beyond its fields.
        model._meta.original_attrs["constraints"] = model._meta.constraints
        return model

    return decorate


def _join(model: type[Any], record: type, parent: type[Any], many: str) -> None:
    kept: Kept | None = getattr(parent, "kept", None)
    if kept is None:
        return
    if not any(item.name == many and item.record is record for item in kept.plan.all_lists()):
        raise TypeError(f"{parent.__name__} has no list {many!r} of {record.__name__}.")
    kept.tables[many] = model


def need_tables(model: type[Any]) -> None:
    """Refuse to start while a list of a record has no table.

    Raises
    ------
    TypeError : naming each list and what to add.
    """
    kept: Kept = model.kept
    missing = [item for item in kept.plan.all_lists() if item.name not in kept.tables]
    if missing:
        named = ", ".join(f"{item.name} ({item.record.__name__})" for item in missing)
        raise TypeError(f"{model.__name__} has no table for {named}; add a class with @keeps(..., many=...).")
    for table in kept.tables.values():
        need_tables(table)


def _field(column: Column) -> Any:
    spec, null = column.spec, column.null
    if spec.kind == "number":
        return models.FloatField(null=null)
    if spec.kind == "whole":
        return models.BigIntegerField(null=null)
    if spec.kind == "text":
        return models.CharField(max_length=spec.max_length, null=null, blank=True)
    if spec.kind == "choice":
        return models.CharField(max_length=WORD_LENGTH, null=null)
    if spec.kind == "flag":
        return models.BooleanField(null=null)
    if spec.kind == "day":
        return models.DateField(null=null)
    return models.JSONField(null=null, blank=True)


def _checks(name: str, plan: Plan) -> Iterator[models.CheckConstraint]:
    for column in plan.all_columns():
        limits = _limits(column)
        if limits:
            yield models.CheckConstraint(name=f"{name}_{column.name}_held", condition=reduce(and_, limits))
    yield from _whole_or_none(name, plan)


def _limits(column: Column) -> list[Q]:
    spec = column.spec
    if spec.kind in ("number", "whole"):
        bounds = {"gte": spec.low, "lte": spec.high, "gt": spec.above}
        return [Q(**{f"{column.name}__{how}": bound}) for how, bound in bounds.items() if bound is not None]
    if spec.kind == "choice":
        assert spec.enum is not None
        return [Q(**{f"{column.name}__in": [str(word) for word in spec.enum]})]
    return [~Q(**{column.name: ""})] if spec.kind == "text" and spec.low else []


def _whole_or_none(name: str, plan: Plan) -> Iterator[models.CheckConstraint]:
    """A nested record is there with everything it needs, or not at all."""
    for part in plan.parts:
        if part.marker:
            columns = list(part.plan.all_columns())
            none = reduce(and_, [Q(**{f"{column.name}__isnull": True}) for column in columns])
            needed = [column.name for column in columns if not column.spec.optional]
            there = reduce(and_, [Q(**{f"{needs}__isnull": False}) for needs in needed])
            yield models.CheckConstraint(name=f"{name}_{part.field}_whole_or_none", condition=none | there)
        yield from _whole_or_none(name, part.plan)


def _once_per_parent(name: str, plan: Plan) -> Iterator[models.UniqueConstraint]:
    yield models.UniqueConstraint(name=f"{name}_position_once", fields=["parent", "position"])
    if any(column.field == "id" for column in plan.columns):
        yield models.UniqueConstraint(name=f"{name}_key_once", fields=["parent", "key"])


# --- rows to and from records ----------------------------------------------------------------------------------------


def write_lists(model: type[Any], owners: Sequence[tuple[Any, Any]]) -> None:
    """Write every list of some records: one insert a table, whatever the number of records.

    Parameters
    ----------
    model : table that keeps the records.
    owners : saved rows, each with the record it keeps.
    """
    kept: Kept = model.kept
    lists = [(owner, kept.plan.listed(record)) for owner, record in owners]
    for name, table in kept.tables.items():
        write_rows(table, [(owner, found[name]) for owner, found in lists])


def write_rows(table: type[Any], owners: Sequence[tuple[Any, Sequence[Any]]]) -> None:
    """Write the rows of one list of each owner, with everything below them."""
    plan = table.kept.plan
    pairs = [
        (table(parent=owner, position=position, **plan.values(record)), record)
        for owner, records in owners
        for position, record in enumerate(records)
    ]
    if pairs:
        table.objects.bulk_create([row for row, _ in pairs])
        write_lists(table, pairs)


def read_lists(model: type[Any], where: str, owner: Any) -> dict[str, dict[int, tuple[Any, ...]]]:
    """Return every list of a table, by name and then by the id of the row it belongs to.

    Parameters
    ----------
    model : table that keeps the records.
    where, owner : path from a row of its lists to the row of `owner`, such as ``parent`` or ``parent__parent``.
    """
    return {name: read_rows(table, where, owner) for name, table in model.kept.tables.items()}


def read_rows(table: type[RecordRow], where: str, owner: Any) -> dict[int, tuple[Any, ...]]:
    """Return the records of one list below `owner`, by the id of the parent's row; one query a table."""
    plan = table.kept.plan
    below = read_lists(table, f"parent__{where}", owner)
    names = [column.name for column in plan.all_columns()]
    rows = table.objects.filter(**{where: owner}).order_by("parent_id", "position")
    found: dict[int, list[Any]] = {}
    for pk, parent, *values in rows.values_list("pk", "parent_id", *names):
        record = plan.build(dict(zip(names, values)), lambda name, pk=pk: below[name].get(pk, ()))  # type: ignore[misc]
        found.setdefault(parent, []).append(record)
    return {parent: tuple(records) for parent, records in found.items()}


def delete_lists(model: type[Any], owner: Any) -> None:
    """Delete every list of `owner`: one query a table."""
    for table in model.kept.tables.values():
        delete_rows(table, "parent", owner)


def delete_rows(table: type[Any], where: str, owner: Any) -> None:
    """Delete the rows of one list below `owner`, what is below them first."""
    for below in table.kept.tables.values():
        delete_rows(below, f"parent__{where}", owner)
    table.objects.filter(**{where: owner}).delete()

"""How a frozen record declares its fields once, and gets reading, writing and a JSON Schema from that.

A record is a frozen dataclass whose fields come from the functions below (`number`, `whole`, `text`, `choice`, `flag`,
`day`, `one`, `many`, `codes`, `texts`). Each carries its unit, limits and description, so that the reader, the writer
and the schema can never disagree. Standard library only: `estimates.house` and the physics stand on it.
"""

from __future__ import annotations

import dataclasses
import json
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any, TypeVar

R = TypeVar("R")

CODE_PATTERN = r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}"
"""What an id may look like: it becomes part of file names and bay labels."""

_CODE_WANTED = "1-40 letters, digits, dots, dashes or underscores, beginning with a letter or digit"

QuantityParser = Callable[[str, str], float]
"""Turns text such as ``12' 6 1/2"`` into a number of the given unit; raises ValueError with what to enter."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with an input: where, what, and what to enter instead."""

    path: str
    message: str

    def __str__(self) -> str:
        return f"{self.path}: {self.message}"


class BadRecord(ValueError):
    """The input holds faults; `faults` lists every one of them."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class Spec:
    """What a field holds. `unit` is the unit of a number as written in the JSON form ("" for a bare number)."""

    kind: str
    doc: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    above: float | None = None
    max_length: int = 200
    pattern: str = ""
    enum: type[StrEnum] | None = None
    record: type | None = None
    min_items: int = 0
    optional: bool = False


def _field(spec: Spec, default: Any) -> Any:
    metadata = {"spec": spec}
    if default is dataclasses.MISSING:
        return dataclasses.field(metadata=metadata)
    return dataclasses.field(default=default, metadata=metadata)


REQUIRED: Any = dataclasses.MISSING


def number(
    unit: str,
    doc: str,
    *,
    low: float | None = None,
    high: float | None = None,
    above: float | None = None,
    default: Any = REQUIRED,
) -> Any:
    """A number in `unit`, `low` <= x <= `high` and x > `above` where given. A default of None makes it optional."""
    return _field(Spec("number", doc, unit=unit, low=low, high=high, above=above, optional=default is None), default)


def whole(doc: str, *, unit: str = "", low: int | None = None, high: int | None = None, default: Any = REQUIRED) -> Any:
    """A whole number within limits."""
    return _field(Spec("whole", doc, unit=unit, low=low, high=high, optional=default is None), default)


def text(doc: str, *, max_length: int = 200, pattern: str = "", min_length: int = 0, default: Any = REQUIRED) -> Any:
    """Text without control characters. `min_length` 1 refuses an empty one."""
    return _field(Spec("text", doc, max_length=max_length, pattern=pattern, low=min_length), default)


def code(doc: str) -> Any:
    """An id: unique in its list, letters, digits, dot, dash and underscore, 40 at most."""
    return text(doc, max_length=40, pattern=CODE_PATTERN, min_length=1)


def choice(enum: type[StrEnum], doc: str, *, default: Any = REQUIRED) -> Any:
    """One word out of an enum."""
    return _field(Spec("choice", doc, enum=enum, optional=default is None), default)


def flag(doc: str, *, default: bool | None = None) -> Any:
    """True or false; a default of None means not known."""
    return _field(Spec("flag", doc, optional=default is None), default)


def one(record: type, doc: str, *, default: Any = REQUIRED) -> Any:
    """One nested record."""
    return _field(Spec("one", doc, record=record, optional=default is None), default)


def many(record: type, doc: str, *, min_items: int = 0) -> Any:
    """A tuple of nested records; ids, where the record has them, are unique within it."""
    return _field(Spec("many", doc, record=record, min_items=min_items), () if min_items == 0 else REQUIRED)


def day(doc: str, *, default: Any = REQUIRED) -> Any:
    """A day, written YYYY-MM-DD."""
    return _field(Spec("day", doc, optional=default is None), default)


def codes(doc: str, *, default: Any = None) -> Any:
    """A tuple of ids that point to other records; a default of None means all of them where it is left out."""
    return _field(Spec("codes", doc, optional=default is None), default)


def texts(doc: str, *, max_length: int = 200) -> Any:
    """A tuple of short texts, none by default."""
    return _field(Spec("texts", doc, max_length=max_length, low=1), ())


def specs(record: type) -> dict[str, tuple[Spec, bool]]:
    """Field name -> (spec, required) in the order of declaration."""
    return {
        field.name: (field.metadata["spec"], field.default is dataclasses.MISSING)
        for field in dataclasses.fields(record)
    }


# --- reading -----------------------------------------------------------------------------------------------------


def load_json(source: str) -> Any:
    """Parse JSON, refusing what JSON readers commonly let pass: NaN, Infinity, duplicate keys, broken text.

    Raises
    ------
    BadRecord : with one fault naming the place.
    """

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        seen: dict[str, Any] = {}
        for key, value in items:
            if key in seen:
                raise BadRecord([Fault("$", f"the key {key!r} stands twice in one object; keep one of them")])
            seen[key] = value
        return seen

    def constant(name: str) -> Any:
        raise BadRecord([Fault("$", f"{name} is not a JSON number; enter a finite number or leave the field out")])

    try:
        return json.loads(source, object_pairs_hook=pairs, parse_constant=constant)
    except json.JSONDecodeError as error:
        raise BadRecord(
            [Fault("$", f"not valid JSON at line {error.lineno}, column {error.colno}: {error.msg}")]
        ) from None
    except RecursionError:
        raise BadRecord([Fault("$", "nested too deeply; a house needs no more than five levels")]) from None


def read_record(record: type[R], raw: Any, *, parse: QuantityParser | None = None, path: str = "$") -> R:
    """Turn the JSON form into a record.

    Raises
    ------
    BadRecord : every fault found, each with its JSON path, what is wrong and what to enter.
    """
    reader = _Reader(parse)
    value = reader.record(record, raw, path)
    if reader.faults:
        raise BadRecord(reader.faults)
    return value  # type: ignore[no-any-return]


class _Reader:
    def __init__(self, parse: QuantityParser | None) -> None:
        self.faults: list[Fault] = []
        self.parse = parse

    def fault(self, path: str, message: str) -> None:
        self.faults.append(Fault(path, message))

    def record(self, record: type, raw: Any, path: str) -> Any:
        if not isinstance(raw, dict):
            self.fault(path, f"{_shown(raw)} is not an object; enter {{...}} with the fields of {record.__name__}")
            return None
        known = specs(record)
        for key in raw:
            if key not in known:
                near = _near(key, known)
                self.fault(f"{path}.{key}", "unknown field" + (f"; did you mean {near!r}?" if near else "; remove it"))
        values: dict[str, Any] = {}
        for name, (spec, required) in known.items():
            if name in raw:
                values[name] = self.value(spec, raw[name], f"{path}.{name}")
            elif required:
                self.fault(f"{path}.{name}", f"missing; enter {_wanted(spec)}")
        if any(fault.path.startswith(path) for fault in self.faults):
            return None
        return record(**values)

    def value(self, spec: Spec, raw: Any, path: str) -> Any:
        if raw is None:
            if not spec.optional:
                self.fault(path, f"null is not allowed here; enter {_wanted(spec)}")
            return None
        reader: Callable[[Spec, Any, str], Any] = getattr(self, f"read_{spec.kind}")
        return reader(spec, raw, path)

    def read_number(self, spec: Spec, raw: Any, path: str) -> float | None:
        if isinstance(raw, str) and spec.unit and self.parse is not None:
            try:
                raw = self.parse(raw, spec.unit)
            except ValueError as error:
                self.fault(path, str(error))
                return None
        if isinstance(raw, bool) or not isinstance(raw, int | float):
            self.fault(path, f"{_shown(raw)} is not a number; enter {_wanted(spec)}")
            return None
        try:
            value = float(raw)
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            self.fault(path, f"not a finite number; enter {_wanted(spec)}")
            return None
        return value if self.within(spec, value, path) else None

    def read_whole(self, spec: Spec, raw: Any, path: str) -> int | None:
        if isinstance(raw, bool) or not isinstance(raw, int | float) or (isinstance(raw, float) and raw != raw // 1):
            self.fault(path, f"{_shown(raw)} is not a whole number; enter {_wanted(spec)}")
            return None
        return int(raw) if self.within(spec, raw, path) else None

    def within(self, spec: Spec, value: float, path: str) -> bool:
        bad = (
            (spec.low is not None and value < spec.low)
            or (spec.high is not None and value > spec.high)
            or (spec.above is not None and value <= spec.above)
        )
        if bad:
            self.fault(path, f"{value:g} is out of range; enter {_wanted(spec)}")
        return not bad

    def read_text(self, spec: Spec, raw: Any, path: str) -> str | None:
        if not isinstance(raw, str):
            self.fault(path, f"{_shown(raw)} is not text; enter {_wanted(spec)}")
        elif len(raw) > spec.max_length:
            self.fault(path, f"{len(raw)} characters; enter at most {spec.max_length}")
        elif any((ord(c) < 32 and c not in "\n\t") or 0xD800 <= ord(c) <= 0xDFFF for c in raw):
            self.fault(path, "holds a control character or a broken one; enter plain text")
        elif len(raw.strip()) < (spec.low or 0):
            self.fault(path, f"is empty; enter {_wanted(spec)}")
        elif spec.pattern and not re.fullmatch(spec.pattern, raw):
            self.fault(path, f"{_shown(raw)} does not fit; enter {_wanted(spec)}")
        else:
            return raw
        return None

    def read_choice(self, spec: Spec, raw: Any, path: str) -> StrEnum | None:
        assert spec.enum is not None
        if isinstance(raw, str) and raw in {member.value for member in spec.enum}:
            return spec.enum(raw)
        self.fault(path, f"{_shown(raw)} is not one of the choices; enter {_wanted(spec)}")
        return None

    def read_flag(self, spec: Spec, raw: Any, path: str) -> bool | None:
        if isinstance(raw, bool):
            return raw
        self.fault(path, f"{_shown(raw)} is neither true nor false; enter true or false")
        return None

    def read_one(self, spec: Spec, raw: Any, path: str) -> Any:
        assert spec.record is not None
        return self.record(spec.record, raw, path)

    def read_many(self, spec: Spec, raw: Any, path: str) -> tuple[Any, ...] | None:
        assert spec.record is not None
        if not isinstance(raw, list):
            self.fault(path, f"{_shown(raw)} is not a list; enter {_wanted(spec)}")
            return None
        if len(raw) < spec.min_items:
            self.fault(path, f"holds {len(raw)}; enter {_wanted(spec)}")
        self.unique([item.get("id") if isinstance(item, dict) else None for item in raw], path)
        return tuple(self.record(spec.record, item, f"{path}[{index}]") for index, item in enumerate(raw))

    def read_codes(self, spec: Spec, raw: Any, path: str) -> tuple[str, ...] | None:
        if not isinstance(raw, list) or not all(isinstance(item, str) for item in raw):
            self.fault(path, f"{_shown(raw)} is not a list of ids; enter {_wanted(spec)}")
            return None
        for index, item in enumerate(raw):
            if not re.fullmatch(CODE_PATTERN, item):
                self.fault(f"{path}[{index}]", f"{_shown(item)} is no id; enter {_CODE_WANTED}")
        self.unique(raw, path)
        return tuple(raw)

    def read_day(self, spec: Spec, raw: Any, path: str) -> date | None:
        # Basic and week forms are ISO as well; one form keeps files comparable.
        if isinstance(raw, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", raw):
            try:
                return date.fromisoformat(raw)
            except ValueError:
                pass
        self.fault(path, f"{_shown(raw)} is no day; enter {_wanted(spec)}")
        return None

    def read_texts(self, spec: Spec, raw: Any, path: str) -> tuple[str, ...] | None:
        if not isinstance(raw, list):
            self.fault(path, f"{_shown(raw)} is not a list; enter {_wanted(spec)}")
            return None
        return tuple(self.read_text(spec, item, f"{path}[{index}]") or "" for index, item in enumerate(raw))

    def unique(self, ids: list[Any], path: str) -> None:
        first: dict[str, int] = {}
        for index, item in enumerate(ids):
            if isinstance(item, str) and item in first:
                self.fault(
                    f"{path}[{index}]", f"the id {item!r} is already used by {path}[{first[item]}]; enter another"
                )
            elif isinstance(item, str):
                first[item] = index


def _shown(raw: Any) -> str:
    shown = json.dumps(raw, ensure_ascii=False, default=str)
    return shown if len(shown) <= 40 else shown[:37] + "..."


def _near(key: str, known: dict[str, Any]) -> str:
    import difflib

    return next(iter(difflib.get_close_matches(key, known, n=1, cutoff=0.75)), "")


def _wanted(spec: Spec) -> str:
    """What to enter, in words: "a number of ft above 0, at most 500"."""
    if spec.kind in ("number", "whole"):
        words = "a whole number" if spec.kind == "whole" else "a number"
        words += f" [{spec.unit}]" if spec.unit else ""
        limits = [
            f"above {spec.above:g}" if spec.above is not None else "",
            f"at least {spec.low:g}" if spec.low is not None else "",
            f"at most {spec.high:g}" if spec.high is not None else "",
        ]
        return " ".join([words, ", ".join(limit for limit in limits if limit)]).strip()
    if spec.kind == "choice":
        assert spec.enum is not None
        return "one of " + ", ".join(spec.enum)
    if spec.kind == "text" and spec.pattern == CODE_PATTERN:
        return _CODE_WANTED
    if spec.kind == "many":
        return f"a list of at least {spec.min_items} records" if spec.min_items else "a list of records"
    return {
        "text": "text",
        "flag": "true or false",
        "one": "an object",
        "codes": "a list of ids",
        "texts": "a list of texts",
        "day": "a day, YYYY-MM-DD",
    }[spec.kind]


# --- writing -----------------------------------------------------------------------------------------------------


def write_record(record: Any) -> dict[str, Any]:
    """The JSON form of a record: plain dicts, lists and numbers, fields at their default left out."""
    form: dict[str, Any] = {}
    for field in dataclasses.fields(record):
        value = getattr(record, field.name)
        if field.default is not dataclasses.MISSING and value == field.default:
            continue
        form[field.name] = _plain(value)
    return form


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value):
        return write_record(value)
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, StrEnum) else value


# --- schema ------------------------------------------------------------------------------------------------------


def json_schema(record: type, *, title: str, schema_id: str) -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a record; every number's description ends with its unit in brackets."""
    definitions = {nested.__name__: _object_schema(nested) for nested in _nested(record)}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": schema_id,
        "title": title,
        **_object_schema(record),
        "$defs": definitions,
    }


def _nested(record: type) -> Iterator[type]:
    seen: set[type] = set()
    queue = [record]
    while queue:
        for spec, _ in specs(queue.pop(0)).values():
            if spec.record is not None and spec.record not in seen:
                seen.add(spec.record)
                queue.append(spec.record)
                yield spec.record


def _object_schema(record: type) -> dict[str, Any]:
    known = specs(record)
    summary = (record.__doc__ or "").strip().split("\n\n")[0]
    return {
        "type": "object",
        "description": " ".join(summary.split()),
        "properties": {name: _field_schema(record, name, spec) for name, (spec, _) in known.items()},
        "required": [name for name, (_, required) in known.items() if required],
        "additionalProperties": False,
    }


def _field_schema(record: type, name: str, spec: Spec) -> dict[str, Any]:
    unit = spec.unit or ("1" if spec.kind in ("number", "whole") else "")
    schema: dict[str, Any] = {"description": spec.doc + (f" [{unit}]" if unit else " [no unit]")}
    if spec.kind in ("number", "whole"):
        bounds = {"minimum": spec.low, "maximum": spec.high, "exclusiveMinimum": spec.above}
        numeric = {"type": "integer" if spec.kind == "whole" else "number"}
        numeric |= {key: value for key, value in bounds.items() if value is not None}  # type: ignore[misc]
        # A quantity may also be written with its unit; the reader converts it.
        schema |= {"anyOf": [numeric, {"type": "string"}]} if spec.kind == "number" and spec.unit else numeric
    elif spec.kind == "text":
        schema |= {"type": "string", "maxLength": spec.max_length}
        schema |= {"minLength": int(spec.low)} if spec.low else {}
        schema |= {"pattern": f"^{spec.pattern}$"} if spec.pattern else {}
    elif spec.kind == "choice":
        assert spec.enum is not None
        schema |= {"enum": list(map(str, spec.enum))}
    elif spec.kind == "flag":
        schema |= {"type": "boolean"}
    elif spec.kind == "day":
        schema |= {"type": "string", "format": "date", "pattern": r"^\d{4}-\d{2}-\d{2}$"}
    elif spec.kind == "texts":
        schema |= {"type": "array", "items": {"type": "string", "minLength": 1, "maxLength": spec.max_length}}
    elif spec.kind == "one":
        assert spec.record is not None
        schema |= {"$ref": f"#/$defs/{spec.record.__name__}"}
    elif spec.kind == "many":
        assert spec.record is not None
        schema |= {"type": "array", "items": {"$ref": f"#/$defs/{spec.record.__name__}"}, "minItems": spec.min_items}
    else:
        schema |= {"type": "array", "items": {"type": "string", "pattern": f"^{CODE_PATTERN}$"}, "uniqueItems": True}
    if spec.optional:
        described = schema.pop("description")
        schema = {"description": described, "anyOf": [*schema.pop("anyOf", [schema]), {"type": "null"}]}
    default = record.__dataclass_fields__[name].default  # type: ignore[attr-defined]
    if default is not dataclasses.MISSING and not dataclasses.is_dataclass(default):
        schema["default"] = _plain(default)
    return schema

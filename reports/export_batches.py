"""Exports for the bookkeeper's program: what would go out, making it, and what went out before."""

from __future__ import annotations

import hashlib
import io
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from estimates.activity import activity_record
from estimates.command import Conflict
from estimates.models.counter import Counter
from estimates.models.user import User
from estimates.money import format_money
from estimates.records import BadRecord, write_record
from jobs.ledger import CHART
from jobs.models import AccountMap, ExportBatch, ExportForm, ExportKind
from reports.exports.journal import AccountMapRecord, account_map, journal_table
from reports.exports.rows import LISTS, Part, Period, billing_documents, entries, invoices
from reports.exports.tables import Cell, Kind, Table, table_csv, table_xlsx
from reports.exports.ubl import ubl_xml

FORMS: dict[ExportKind, tuple[ExportForm, ...]] = {
    ExportKind.CUSTOMERS: (ExportForm.CSV, ExportForm.XLSX),
    ExportKind.AGING: (ExportForm.CSV, ExportForm.XLSX),
    ExportKind.INVOICES: (ExportForm.CSV, ExportForm.XLSX),
    ExportKind.PAYMENTS: (ExportForm.CSV, ExportForm.XLSX),
    ExportKind.JOURNAL: (ExportForm.CSV, ExportForm.XLSX),
    ExportKind.BILLING: (ExportForm.ZIP,),
    ExportKind.EVERYTHING: (ExportForm.ZIP,),
}
"""What can be had in which form."""

SINGLE = tuple(kind for kind in ExportKind if kind != ExportKind.EVERYTHING)

CONTENT_TYPES = {
    ExportForm.CSV: "text/csv; charset=utf-8",
    ExportForm.XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ExportForm.ZIP: "application/zip",
}

# The same content has to give the same bytes, so no file holds the time at which it was written.
_STILL = (1980, 1, 1, 0, 0, 0)
_WRITTEN_AT = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*")
_STILL_STAMP = rb"\g<1>1980-01-01T00:00:00Z"


# --- The account map -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class HeldMap:
    """The account map that holds; version 0 is our own chart, before anybody entered another."""

    version: int
    record: AccountMapRecord


def map_now() -> HeldMap:
    """The account map that holds now; an account that it does not know keeps our own code."""
    row = AccountMap.objects.order_by("version").last()
    given = {} if row is None else {one["key"]: one for one in row.accounts}
    accounts = [given.get(key, {"key": key, "code": code, "name": name}) for key, (code, name, _) in CHART.items()]
    return HeldMap(0 if row is None else row.version, account_map({"accounts": accounts}))


def map_save(
    *, accounts: Sequence[Mapping[str, str]], expected_version: int, by: User, now: datetime, origin: str = ""
) -> int:
    """Keep another account map; the one that holds already writes nothing.

    Parameters
    ----------
    accounts : key, code and name of each.
    expected_version : the version that was looked at.
    by, now, origin : who, when, from where.

    Returns
    -------
    The version that holds now.

    Raises
    ------
    BadRecord : a code is missing or too long; every fault with its place.
    Conflict : somebody saved another version in the meantime.
    """
    record = account_map({"accounts": list(accounts)})
    with transaction.atomic():
        _take_turn()
        held = map_now()
        if record == held.record:
            return held.version
        if held.version != expected_version:
            raise Conflict("Somebody saved another account map in the meantime. Compare both, then save again.")
        row = AccountMap(version=held.version + 1, accounts=write_record(record)["accounts"], made_at=now, made_by=by)
        row.full_clean()
        row.save()
        changed = sorted(one.key for one in record.accounts if one not in held.record.accounts)
        after = {"version": row.version, "changed": changed}
        activity_record(actor=by, action="export.map", target=row, now=now, after=after, origin=origin)
    return row.version


# --- What would go out -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Sheet:
    """A part of an export: its table, the thing behind each row, and the latest export that held it, if any did."""

    name: str
    table: Table
    keys: tuple[str, ...]
    before: Mapping[str, ExportBatch]

    @property
    def items(self) -> tuple[str, ...]:
        """The things in it, each once, in order."""
        return tuple(dict.fromkeys(self.keys))

    @property
    def new(self) -> tuple[str, ...]:
        """Those that were not exported before."""
        return tuple(key for key in self.items if key not in self.before)

    @property
    def totals(self) -> tuple[str, ...]:
        """What each column of amounts comes to; empty for others."""
        return tuple(
            format_money(sum(_cents(row[at]) for row in self.table.rows)) if column.kind is Kind.MONEY else ""
            for at, column in enumerate(self.table.columns)
        )


def _cents(cell: Cell) -> int:
    return cell if isinstance(cell, int) else 0


def export_look(kind: ExportKind, period: Period) -> tuple[Sheet, ...]:
    """What would go out, marked with what went out before; nothing is written.

    Raises
    ------
    BadRecord : an entry does not balance, or its account is not in the map.
    """
    names = SINGLE if kind == ExportKind.EVERYTHING else (kind,)
    earlier = exports_before(period)
    return tuple(_sheet(name, period, earlier) for name in names)


def _sheet(name: ExportKind, period: Period, earlier: Sequence[ExportBatch]) -> Sheet:
    part = _part(name, period)
    before = {key: batch for batch in earlier for key in batch.items.get(name, ())}
    return Sheet(name, part.table, part.keys, before)


def _part(name: ExportKind, period: Period) -> Part:
    if name == ExportKind.JOURNAL:
        found = entries(period)
        table = journal_table(found, map_now().record)
        return Part(table, tuple(entry.number for entry in found for _ in entry.postings))
    return invoices(period) if name == ExportKind.BILLING else LISTS[name](period)


def exports_before(period: Period) -> tuple[ExportBatch, ...]:
    """Exports of periods that share a day with this one, the oldest first; their bytes are not read."""
    rows = ExportBatch.objects.filter(since__lte=period.until, until__gte=period.since).order_by("made_at", "id")
    return tuple(rows.defer("content").select_related("made_by"))


# --- Making ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Made:
    """An export; `again` says that the same bytes were made before, and nothing was written."""

    batch: ExportBatch
    again: bool
    new: Mapping[str, tuple[str, ...]]


def export_make(
    *, kind: ExportKind, form: ExportForm, period: Period, by: User, now: datetime, origin: str = ""
) -> Made:
    """Make the file of a period and keep it; the same content again is the export that is there, and writes nothing.

    Returns
    -------
    The export, and by part what no export held before.

    Raises
    ------
    ValidationError : that kind does not come in that form, or a document or entry is not fit to go out; every reason.
    """
    if form not in FORMS[kind]:
        raise ValidationError({"form": f"{kind.label} come as {' or '.join(one.label for one in FORMS[kind])}."})
    with transaction.atomic():
        _take_turn()
        try:
            sheets = export_look(kind, period)
            content = _content(kind, form, sheets, period)
        except BadRecord as bad:
            raise ValidationError([str(fault) for fault in bad.faults]) from None
        new = {sheet.name: sheet.new for sheet in sheets}
        sha256 = hashlib.sha256(content).hexdigest()
        same = ExportBatch.objects.filter(
            kind=kind, form=form, since=period.since, until=period.until, sha256=sha256
        ).last()
        if same is not None:
            return Made(same, True, new)
        batch = ExportBatch(
            kind=kind,
            form=form,
            since=period.since,
            until=period.until,
            items={sheet.name: list(sheet.items) for sheet in sheets},
            rows=sum(len(sheet.table.rows) for sheet in sheets),
            sha256=sha256,
            content=content,
            made_at=now,
            made_by=by,
        )
        batch.full_clean(exclude=["content", "items"])
        batch.save()
        after = {"kind": kind, "since": period.since, "until": period.until, "sha256": sha256}
        activity_record(actor=by, action="export.make", target=batch, now=now, after=after, origin=origin)
    return Made(batch, False, new)


def new_in(batch: ExportBatch) -> dict[str, tuple[str, ...]]:
    """By part, what an export holds that no earlier one of its days held."""
    earlier = [one for one in exports_before(Period(batch.since, batch.until)) if one.pk < batch.pk]
    return {
        name: tuple(key for key in keys if not any(key in one.items.get(name, ()) for one in earlier))
        for name, keys in batch.items.items()
    }


def _take_turn() -> None:
    """Wait for whoever is making an export or an account map, so that a double tap finds what the first one made."""
    Counter.objects.get_or_create(name="export")
    Counter.objects.select_for_update().get(name="export")


def _content(kind: ExportKind, form: ExportForm, sheets: Sequence[Sheet], period: Period) -> bytes:
    if kind == ExportKind.EVERYTHING:
        lists = [(f"{sheet.name}.csv", _csv(sheet)) for sheet in sheets if sheet.name != ExportKind.BILLING]
        return _zipped([*lists, *_documents(period)])
    if kind == ExportKind.BILLING:
        return _zipped(_documents(period))
    return _csv(sheets[0]) if form == ExportForm.CSV else _still(table_xlsx(sheets[0].table))


def _csv(sheet: Sheet) -> bytes:
    # People open lists in a spreadsheet, which wants the mark; a program reads the journal and stumbles over it.
    return table_csv(sheet.table, bom=sheet.name != ExportKind.JOURNAL)


def _documents(period: Period) -> list[tuple[str, bytes]]:
    return [(f"ubl/{document.number}.xml", ubl_xml(document)) for document in billing_documents(period)]


def _zipped(files: Iterable[tuple[str, bytes]]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files:
            archive.writestr(zipfile.ZipInfo(name, _STILL), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _still(workbook: bytes) -> bytes:
    """A workbook without the moment at which it was written."""
    with zipfile.ZipFile(io.BytesIO(workbook)) as archive:
        files = [(name, archive.read(name)) for name in archive.namelist()]
    return _zipped(
        (name, _WRITTEN_AT.sub(_STILL_STAMP, content) if name == "docProps/core.xml" else content)
        for name, content in files
    )


# --- Periods ---------------------------------------------------------------------------------------------------------


def month_of(year: int, month: int, months: int = 1) -> Period:
    """A month, or several from it on.

    Examples
    --------
    >>> month_of(2026, 2), month_of(2026, 10, 3).until
    (Period(since=datetime.date(2026, 2, 1), until=datetime.date(2026, 2, 28)), datetime.date(2026, 12, 31))
    """
    last = year * 12 + month - 1 + months
    return Period(date(year, month, 1), date.fromordinal(date(last // 12, last % 12 + 1, 1).toordinal() - 1))


def period_named(word: str) -> Period:
    """The period of a word: ``2026``, ``2026-Q1`` or ``2026-03``.

    Raises
    ------
    ValueError : it is none of these.

    Examples
    --------
    >>> period_named("2026-Q1").until, period_named("2026").since
    (datetime.date(2026, 3, 31), datetime.date(2026, 1, 1))
    """
    found = re.fullmatch(r"(20\d\d)(?:-(?:Q([1-4])|(0[1-9]|1[0-2])))?", word, re.ASCII)
    if found is None:
        raise ValueError(f"{word!r} is no period; enter a year, a quarter such as 2026-Q1 or a month such as 2026-03")
    year, quarter, month = found.groups()
    if quarter:
        return month_of(int(year), int(quarter) * 3 - 2, 3)
    return month_of(int(year), int(month)) if month else month_of(int(year), 1, 12)


def periods_until(today: date) -> list[tuple[str, list[tuple[str, str]]]]:
    """The periods that can be chosen, in groups: the last 15 months, 6 quarters and 3 years."""
    at = today.year * 12 + today.month - 1
    months = [date(m // 12, m % 12 + 1, 1) for m in range(at, at - 15, -1)]
    at = today.year * 4 + (today.month - 1) // 3
    quarters = [(q // 4, q % 4 + 1) for q in range(at, at - 6, -1)]
    return [
        ("Months", [(f"{one:%Y-%m}", f"{one:%B %Y}") for one in months]),
        ("Quarters", [(f"{year}-Q{quarter}", f"Quarter {quarter} of {year}") for year, quarter in quarters]),
        ("Years", [(str(year), str(year)) for year in range(today.year, today.year - 3, -1)]),
    ]

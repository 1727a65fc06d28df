"""One description of a table, and its two files: CSV for programs, XLSX for people.

Both hold the same cells in the same order. A table is described by the kind of each column, so that a day is a day and
an amount a number in whatever opens the file.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import MAX_PREC, ROUND_HALF_UP, Context, Decimal
from enum import StrEnum
from typing import Any

from estimates.money import LARGEST, from_cents
from estimates.records import BadRecord, Fault
from reports.frames import harmless

Cell = str | date | int | float | Decimal | None
"""What a row may hold; None is an empty cell in every kind of column."""

LONGEST_TEXT = 32_767
"""Characters that a cell of a workbook holds; what is longer would be cut without a word."""

MOST_ROWS = 1_048_575
"""Rows of a sheet below its header."""

WIDTHS = (8, 60)
"""Narrowest and widest column of a sheet. [characters]"""

LOOKED_AT = 500
"""Rows from which the width of a column is taken; looking at all of them would take as long as writing them."""

# What XML 1.0 cannot hold, and with it no workbook.
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_EXACT = Context(prec=MAX_PREC)
_NOT_IN_TITLES = re.compile(r"[\[\]:*?/\\]")


class Kind(StrEnum):
    """What a column holds: text, a `date`, whole cents, a number, or a share of one that is shown in percent."""

    TEXT = "text"
    DAY = "day"
    MONEY = "money"
    NUMBER = "number"
    PERCENT = "percent"


@dataclass(frozen=True, slots=True)
class Column:
    """A column: heading, kind, and the decimals of a number (2) or percent (1) in CSV and as shown in a sheet."""

    heading: str
    kind: Kind = Kind.TEXT
    decimals: int | None = None

    @property
    def shown_decimals(self) -> int:
        """Decimals of what is shown; an amount always has two."""
        if self.kind is Kind.MONEY:
            return 2
        return (1 if self.kind is Kind.PERCENT else 2) if self.decimals is None else self.decimals


@dataclass(frozen=True, slots=True)
class Table:
    """A table: its title (name of the sheet), its columns and its rows, one cell for each column."""

    title: str
    columns: tuple[Column, ...]
    rows: Sequence[Sequence[Cell]]


def table_csv(table: Table, *, bom: bool = False) -> bytes:
    r"""Write a table as CSV.

    Parameters
    ----------
    table : see `Table`.
    bom : put a byte-order mark before the text; some spreadsheets take a file without one for another encoding.

    Returns
    -------
    UTF-8 text after RFC 4180: commas, CRLF, quotes doubled; a header line; days as YYYY-MM-DD, amounts in dollars with
    two decimals, percent as the number before the sign (0.125 is 12.5). Text that a spreadsheet would run as a formula
    begins with an apostrophe.

    Raises
    ------
    BadRecord : a cell does not fit its column; each fault names row and heading.

    Examples
    --------
    >>> table_csv(Table("Paid", (Column("Who"), Column("Amount", Kind.MONEY)), [("Hollis, Ann", 123450)]))
    b'Who,Amount\r\n"Hollis, Ann",1234.50\r\n'
    """
    checked = _checked(table)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([harmless(column.heading) for column in table.columns])
    for row in checked:
        writer.writerow([_csv_cell(column, cell) for column, cell in zip(table.columns, row, strict=True)])
    return out.getvalue().encode("utf-8-sig" if bom else "utf-8")


def table_xlsx(table: Table) -> bytes:
    """Write a table as a workbook of one sheet.

    Parameters
    ----------
    table : see `Table`.

    Returns
    -------
    The bytes of an .xlsx file: days and numbers as such, a bold header that stays in view, columns as wide as what they
    hold, a filter on each. Text stays text, also where it looks like a formula or a number.

    Raises
    ------
    BadRecord : a cell does not fit its column or is longer than a sheet can hold; each fault names row and heading.
    """
    from openpyxl import Workbook
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    checked = _checked(table)
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = _NOT_IN_TITLES.sub(" ", _UNWRITABLE.sub("", table.title)).strip("' ")[:31].strip("' ") or "Table"
    for at, column in enumerate(table.columns, start=1):
        head = sheet.cell(row=1, column=at)
        head.value, head.data_type = harmless(column.heading), "s"
        head.font = Font(bold=True)
        head.alignment = Alignment(horizontal="left" if column.kind is Kind.TEXT else "right")
        shown = [len(column.heading) + 3, *(len(_csv_cell(column, row[at - 1])) + 2 for row in checked[:LOOKED_AT])]
        sheet.column_dimensions[get_column_letter(at)].width = min(max(*shown, WIDTHS[0]), WIDTHS[1])
    for down, row in enumerate(checked, start=2):
        for at, (column, value) in enumerate(zip(table.columns, row, strict=True), start=1):
            if value is None:
                continue
            cell = sheet.cell(row=down, column=at)
            if column.kind is Kind.TEXT:
                # Without the type named, a text such as "=1+1" would be stored as a formula.
                cell.value, cell.data_type = harmless(str(value)), "s"
            else:
                cell.value = from_cents(int(value)) if column.kind is Kind.MONEY else value
                cell.number_format = _number_format(column)
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = sheet.dimensions
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _number_format(column: Column) -> str:
    places = "." + "0" * column.shown_decimals if column.shown_decimals else ""
    return {
        Kind.DAY: "yyyy-mm-dd",
        Kind.MONEY: '"$"#,##0.00;-"$"#,##0.00',
        Kind.NUMBER: f"#,##0{places}",
        Kind.PERCENT: f"0{places}%",
    }[column.kind]


def _csv_cell(column: Column, cell: Any) -> str:
    if cell is None:
        return ""
    if column.kind is Kind.TEXT:
        return harmless(cell)
    if column.kind is Kind.DAY:
        return str(cell.isoformat())
    if column.kind is Kind.MONEY:
        return str(from_cents(cell))
    # Through the shortest decimal form, so that 2.675 is not 2.67 for its binary dust.
    exact = Decimal(repr(cell)) if isinstance(cell, float) else Decimal(cell)
    shown = exact * 100 if column.kind is Kind.PERCENT else exact
    rounded = shown.quantize(Decimal(1).scaleb(-column.shown_decimals), ROUND_HALF_UP, _EXACT)
    return f"{rounded if rounded else abs(rounded):f}"


def _checked(table: Table) -> list[list[Any]]:
    """Rows whose cells fit their columns, with characters that no file can hold replaced."""
    faults = list(_faults(table))
    if faults:
        raise BadRecord(faults)
    return [[_UNWRITABLE.sub("\ufffd", cell) if isinstance(cell, str) else cell for cell in row] for row in table.rows]


def _faults(table: Table) -> Iterator[Fault]:
    if not table.columns:
        yield Fault("columns", "none; enter at least one column")
    if len(table.rows) > MOST_ROWS:
        yield Fault("rows", f"{len(table.rows)} rows, a sheet holds {MOST_ROWS}; choose a shorter period")
    for down, row in enumerate(table.rows):
        if len(row) != len(table.columns):
            yield Fault(f"rows[{down}]", f"{len(row)} cells for {len(table.columns)} columns; enter one for each")
            continue
        for column, cell in zip(table.columns, row, strict=True):
            wrong = "" if cell is None else _wrong(column.kind, cell)
            if wrong:
                yield Fault(f"rows[{down}].{column.heading}", wrong)


def _wrong(kind: Kind, cell: Any) -> str:
    """What is wrong with a cell, in words; empty where nothing is."""
    if kind is Kind.TEXT:
        if not isinstance(cell, str):
            return f"{cell!r} is no text; enter text"
        return f"{len(cell)} characters; enter fewer than {LONGEST_TEXT}" if len(cell) >= LONGEST_TEXT else ""
    if kind is Kind.DAY:
        fits = isinstance(cell, date) and not isinstance(cell, datetime)
        return "" if fits else f"{cell!r} is no day; enter a date without a time"
    if isinstance(cell, bool) or not isinstance(cell, int | float | Decimal) or not math.isfinite(cell):
        return f"{cell!r} is no finite number; enter a number or None"
    if kind is Kind.MONEY and (not isinstance(cell, int) or abs(cell) > LARGEST):
        return f"{cell!r} is no amount; enter whole cents"
    return ""

"""A report: the question it asks, and an answer in words, charts and a table of the same numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from estimates.templatetags.figures import MINUS, day, digits
from reports.asked import Asked
from reports.exports.tables import Cell, Column, Kind, Table


@dataclass(frozen=True, slots=True)
class Chart:
    """A figure as plain JSON values, and what it shows for those who do not see it."""

    figure: dict[str, Any]
    says: str
    heading: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a report says.

    `title` is the answer in a sentence. `table` holds the numbers; `links` an address for the first cell of each row,
    where there is one. `source` says where they come from, `notes` how they are meant. Without rows, `missing` says
    what will stand here.
    """

    title: str
    table: Table
    source: str
    charts: tuple[Chart, ...] = ()
    notes: tuple[str, ...] = ()
    links: Sequence[str] = ()
    missing: str = ""


@dataclass(frozen=True, slots=True)
class Report:
    """A question, who may read its answer, which filters it knows, and how it is answered."""

    name: str
    question: str
    action: str
    filters: tuple[str, ...]
    answer: Callable[[Asked], Answer]


SHORT = 15
"""Letters of a cell up to which it is kept on one line: a day, a number of a job."""

WORDS = (Kind.TEXT, Kind.DAY)
"""Kinds of columns that stand on the left."""


@dataclass(frozen=True, slots=True)
class ShownCell:
    """A cell as a page shows it."""

    text: str
    words: bool
    link: str = ""

    @property
    def short(self) -> bool:
        """Whether it is kept on one line."""
        return len(self.text) <= SHORT


@dataclass(frozen=True, slots=True)
class ShownTable:
    """A table as a page shows it: headings (with whether they stand over words), rows of cells."""

    headings: list[tuple[str, bool]]
    rows: list[list[ShownCell]] = field(default_factory=list)


def shown_table(answer: Answer) -> ShownTable:
    """The table of an answer in the words of a page."""
    columns = answer.table.columns
    shown = ShownTable([(column.heading, column.kind in WORDS) for column in columns])
    for at, row in enumerate(answer.table.rows):
        cells = [ShownCell(shown_cell(column, cell), column.kind in WORDS) for column, cell in zip(columns, row)]
        if at < len(answer.links) and answer.links[at]:
            cells[0] = ShownCell(cells[0].text, True, answer.links[at])
        shown.rows.append(cells)
    return shown


def shown_cell(column: Column, cell: Cell) -> str:
    """A cell in words: whole dollars, days as people write them, an en dash where there is nothing.

    Examples
    --------
    >>> shown_cell(Column("Paid", Kind.MONEY), -123450), shown_cell(Column("Rate", Kind.PERCENT), 0.125)
    ('−$1,235', '12.5')
    >>> shown_cell(Column("Day", Kind.DAY), None)
    '–'
    """
    if cell is None:
        return "–"
    if isinstance(cell, date):
        return day(cell)
    if isinstance(cell, str):
        return cell
    if column.kind is Kind.MONEY:
        return dollars(int(cell))
    value = float(cell) * 100 if column.kind is Kind.PERCENT else float(cell)
    return digits(round(value, 9), column.shown_decimals)


def each(frame: Any) -> Any:
    """The rows of a frame, one after the other, with the names of its columns."""
    return frame.itertuples(index=False)


def dollars(cents: int) -> str:
    """Whole dollars.

    Examples
    --------
    >>> dollars(123450), dollars(-50), dollars(-49)
    ('$1,235', '−$1', '$0')
    """
    said = digits(cents / 100, 0)
    return f"{MINUS}${said[1:]}" if said.startswith(MINUS) else f"${said}"


def counted(count: int, one: str, many: str = "") -> str:
    """A number with its noun.

    Examples
    --------
    >>> counted(1, "job"), counted(1200, "job"), counted(2, "house is", "houses are")
    ('1 job', '1,200 jobs', '2 houses are')
    """
    return f"{count:,} {one if count == 1 else many or f'{one}s'}"


def percent(share: float, places: int = 0) -> str:
    r"""A share of one in percent.

    Examples
    --------
    >>> percent(0.425, 1)
    '42.5\xa0%'
    """
    return f"{digits(round(100 * share, 9), places)}\u00a0%"

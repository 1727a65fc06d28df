"""A table is the same table in CSV and in a workbook, whoever reads it, and nothing in it runs."""

import csv
import io
from datetime import date, datetime
from decimal import Decimal

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.records import BadRecord
from reports.exports.tables import LONGEST_TEXT, Column, Kind, Table, table_csv, table_xlsx

COLUMNS = (
    Column("Customer"),
    Column("Issued", Kind.DAY),
    Column("Amount, $", Kind.MONEY),
    Column("Hours", Kind.NUMBER, 3),
    Column("Margin, %", Kind.PERCENT),
)
ROWS = [
    ('Quill, "Ned"', date(2026, 3, 2), 123_450, 2.6755, 0.4125),
    ("two\nlines", date(2024, 2, 29), -5, Decimal("1.5"), -0.05),
    ("Ünsal Łącki", None, 0, 12, 1),
    ("00014", date(2026, 12, 31), None, None, None),
]
TABLE = Table("Invoices", COLUMNS, ROWS)


def read_csv(raw: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(raw.decode("utf-8"), newline=""), strict=True))


def sheet_of(raw: bytes):
    return openpyxl.load_workbook(io.BytesIO(raw)).active


# D: each expected text is the value written out by hand, halves away from zero (41.25 % is shown as 41.3).
def test_csv_holds_iso_days_two_decimals_of_a_dollar_and_the_number_before_the_percent_sign():
    assert read_csv(table_csv(TABLE)) == [
        ["Customer", "Issued", "Amount, $", "Hours", "Margin, %"],
        ['Quill, "Ned"', "2026-03-02", "1234.50", "2.676", "41.3"],
        ["two\nlines", "2024-02-29", "-0.05", "1.500", "-5.0"],
        ["Ünsal Łącki", "", "0.00", "12.000", "100.0"],
        ["00014", "2026-12-31", "", "", ""],
    ]


# S: RFC 4180, section 2: lines end in CRLF, fields with comma, quote or line break stand in quotes, quotes are doubled.
def test_csv_follows_the_letter_of_its_standard():
    raw = table_csv(Table("t", (Column("a"), Column("b")), [('x"y', "1,2"), ("line\r\nbreak", "plain")]))
    assert raw == b'a,b\r\n"x""y","1,2"\r\n"line\r\nbreak",plain\r\n'


def test_the_byte_order_mark_is_there_only_when_asked_for():
    assert not table_csv(TABLE).startswith(b"\xef\xbb\xbf")
    assert table_csv(TABLE, bom=True) == b"\xef\xbb\xbf" + table_csv(TABLE)


def test_a_table_library_reads_the_csv_back_to_the_cent():
    frame = pd.read_csv(io.BytesIO(table_csv(TABLE)), dtype={"Customer": str}, parse_dates=["Issued"])
    assert [round(value * 100) for value in frame["Amount, $"].dropna()] == [123_450, -5, 0]
    assert frame["Issued"][0] == pd.Timestamp(2026, 3, 2)
    assert frame["Customer"][3] == "00014"


def test_a_workbook_holds_real_days_and_numbers_under_a_header_that_stays():
    sheet = sheet_of(table_xlsx(TABLE))
    assert sheet.title == "Invoices"
    assert sheet.freeze_panes == "A2"
    assert sheet.auto_filter.ref == "A1:E5"
    assert [cell.value for cell in sheet[1]] == [column.heading for column in COLUMNS]
    assert all(cell.font.bold for cell in sheet[1])
    first = sheet[2]
    assert first[1].value == datetime(2026, 3, 2)
    assert first[1].number_format == "yyyy-mm-dd"
    assert [cell.value for cell in first[2:]] == [1234.5, 2.6755, 0.4125]
    assert first[4].number_format == "0.0%"
    assert sheet["A5"].value == "00014"
    assert [cell.value for cell in sheet[5]][2:] == [None, None, None]
    assert sheet.column_dimensions["A"].width >= len('Quill, "Ned"')


def test_both_files_hold_the_same_cells():
    sheet = pd.read_excel(io.BytesIO(table_xlsx(TABLE)), dtype={"Customer": str})
    plain = pd.read_csv(io.BytesIO(table_csv(TABLE)), dtype={"Customer": str}, parse_dates=["Issued"])
    assert list(sheet.columns) == list(plain.columns)
    assert sheet["Customer"].tolist() == plain["Customer"].tolist()
    assert sheet["Issued"].tolist()[:2] == plain["Issued"].tolist()[:2]
    assert sheet["Amount, $"].dropna().tolist() == plain["Amount, $"].dropna().tolist()
    assert (sheet["Margin, %"] * 100).dropna().tolist() == pytest.approx(
        plain["Margin, %"].dropna().tolist(), abs=0.051
    )


# CP: the six beginnings that spreadsheets take for a formula (common advice on CSV injection).
@pytest.mark.parametrize("begin", ["=", "+", "-", "@", "\t", "\r"])
def test_no_text_is_run_as_a_formula(begin):
    text = f"{begin}1+cmd"
    table = Table("t", (Column(f"{begin}head"), Column("Note")), [(text, text)])
    assert read_csv(table_csv(table)) == [[f"'{begin}head", "Note"], [f"'{text}", f"'{text}"]]
    sheet = sheet_of(table_xlsx(table))
    for row in sheet.iter_rows():
        for cell in row:
            assert cell.data_type == "s"
            assert cell.value[0] not in "=+-@\t\r"


def test_a_negative_amount_stays_a_number():
    table = Table("t", (Column("Amount", Kind.MONEY),), [(-123,)])
    assert table_csv(table) == b"Amount\r\n-1.23\r\n"
    assert sheet_of(table_xlsx(table))["A2"].value == -1.23


@pytest.mark.parametrize(
    ("kind", "cell", "said"),
    [
        (Kind.DAY, datetime(2026, 3, 2, 12), "no day"),
        (Kind.DAY, "2026-03-02", "no day"),
        (Kind.MONEY, 12.5, "whole cents"),
        (Kind.MONEY, True, "finite number"),
        (Kind.NUMBER, float("nan"), "finite number"),
        (Kind.PERCENT, float("inf"), "finite number"),
        (Kind.NUMBER, "12", "finite number"),
        (Kind.TEXT, 12, "no text"),
        (Kind.TEXT, "x" * LONGEST_TEXT, "characters"),
    ],
)
@pytest.mark.parametrize("write", [table_csv, table_xlsx])
def test_a_cell_that_does_not_fit_is_refused_by_row_and_heading(write, kind, cell, said):
    with pytest.raises(BadRecord, match=said) as refused:
        write(Table("t", (Column("Name"), Column("Value", kind)), [("a", None), ("b", cell)]))
    assert refused.value.faults[0].path == "rows[1].Value"


def test_what_rounds_to_nothing_bears_no_sign():
    table = Table("t", (Column("a", Kind.NUMBER), Column("b", Kind.PERCENT)), [(-0.001, -1e-9)])
    assert table_csv(table) == b"a,b\r\n0.00,0.0\r\n"


def test_a_row_of_another_length_is_refused():
    with pytest.raises(BadRecord, match=r"rows\[0\]: 1 cells for 2 columns"):
        table_csv(Table("t", (Column("a"), Column("b")), [("only",)]))


def test_a_title_that_no_sheet_may_bear_is_made_to_fit():
    assert sheet_of(table_xlsx(Table("Aging [all]: 1/2026 of every customer we have", (Column("a"),), []))).title == (
        "Aging  all   1 2026 of every cu"
    )
    assert sheet_of(table_xlsx(Table("***", (Column("a"),), []))).title == "Table"


texts = st.text(max_size=30)
rows = st.lists(
    st.tuples(
        texts,
        st.none() | st.dates(date(1900, 3, 1), date(2200, 1, 1)),
        st.none() | st.integers(-(10**12), 10**12),
    ),
    max_size=4,
)


@settings(max_examples=40, deadline=None)
@given(rows)
def test_whatever_is_written_reads_back_the_same_in_both(made):
    columns = (Column("Text"), Column("Day", Kind.DAY), Column("Amount", Kind.MONEY))
    table = Table("t", columns, made)
    plain = read_csv(table_csv(table))[1:]
    sheet = list(sheet_of(table_xlsx(table)).iter_rows(min_row=2, max_col=3, values_only=True))[: len(made)]
    assert len(plain) == len(made)
    for (text, day, cents), in_csv in zip(made, plain, strict=True):
        assert in_csv[0].removeprefix("'") == "".join(
            "\ufffd" if (ord(c) < 32 and c not in "\t\n\r") or c in "\ufffe\uffff" else c for c in text
        ).removeprefix("'")
        assert in_csv[1] == ("" if day is None else str(day))
        assert in_csv[2] == ("" if cents is None else str(Decimal(cents) / 100 + Decimal("0.00")))
    for (_, day, cents), in_sheet in zip(made, sheet, strict=False):
        assert in_sheet[1] == (None if day is None else datetime(day.year, day.month, day.day))
        assert (None if cents is None else round(in_sheet[2] * 100)) == cents

"""A journal that leaves the house balances, entry by entry, under the codes of whoever reads it."""

import io
from datetime import date, datetime

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from estimates.records import BadRecord
from reports.exports.journal import COLUMNS, Entry, Posting, account_map, journal_csv, journal_table
from reports.exports.tables import table_xlsx

CHART = account_map(
    {
        "accounts": [
            {"key": "receivable", "code": "1200", "name": "Accounts receivable"},
            {"key": "bank", "code": "1000", "name": "Bank"},
            {"key": "deposits", "code": "2300", "name": "Customer deposits"},
            {"key": "revenue", "code": "4000", "name": "Sales"},
            {"key": "discounts", "code": "4000", "name": "Sales"},
            {"key": "tax", "code": "0220", "name": "Sales tax payable"},
        ]
    }
)

# D: by hand: 9,800.00 of work less 300.00 discount, 8 % tax on 9,500.00 is 760.00, of 10,260.00 a deposit of 2,000.00
# was held.
FINAL = Entry(
    number="2026-0041",
    on=date(2026, 3, 2),
    document="INV-0007",
    memo="Final invoice",
    job="J-12",
    postings=(
        Posting(account="receivable", debit_cents=826_000),
        Posting(account="deposits", debit_cents=200_000, memo="Deposit of 2 February"),
        Posting(account="discounts", debit_cents=30_000),
        Posting(account="revenue", credit_cents=980_000),
        Posting(account="tax", credit_cents=76_000),
    ),
)


def frame_of(raw: bytes) -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(raw), dtype={"Account": str}, parse_dates=["Date"], keep_default_na=False)


def test_a_table_library_finds_debits_and_credits_equal_and_no_totals_row():
    frame = frame_of(journal_csv([FINAL], CHART))
    assert len(frame) == len(FINAL.postings)
    assert round((frame["Debit"] - frame["Credit"]).sum() * 100) == 0
    assert round(frame["Debit"].sum() * 100) == 1_056_000
    assert frame["Date"].unique().tolist() == [pd.Timestamp(2026, 3, 2)]


def test_each_posting_stands_under_the_code_of_the_map_with_document_memo_and_job():
    lines = journal_csv([FINAL], CHART).decode().split("\r\n")
    assert lines[0] == "Entry,Date,Account,Account name,Debit,Credit,Document,Memo,Job"
    assert lines[1] == "2026-0041,2026-03-02,1200,Accounts receivable,8260.00,0.00,INV-0007,Final invoice,J-12"
    assert lines[2] == "2026-0041,2026-03-02,2300,Customer deposits,2000.00,0.00,INV-0007,Deposit of 2 February,J-12"
    assert lines[5] == "2026-0041,2026-03-02,0220,Sales tax payable,0.00,760.00,INV-0007,Final invoice,J-12"
    assert lines[6:] == [""]


def test_another_map_changes_codes_and_nothing_else():
    other = account_map({"accounts": [{"key": account.key, "code": "9" + account.code} for account in CHART.accounts]})
    ours, theirs = frame_of(journal_csv([FINAL], CHART)), frame_of(journal_csv([FINAL], other))
    assert theirs["Account"].tolist() == ["9" + code for code in ours["Account"]]
    same = ["Entry", "Date", "Debit", "Credit", "Document", "Memo", "Job"]
    assert theirs[same].equals(ours[same])


def test_the_same_rows_go_into_a_workbook():
    sheet = pd.read_excel(io.BytesIO(table_xlsx(journal_table([FINAL], CHART))), dtype={"Account": str})
    assert list(sheet.columns) == [column.heading for column in COLUMNS]
    assert sheet["Account"].tolist() == ["1200", "2300", "4000", "4000", "0220"]
    assert round(sheet["Debit"].sum() * 100) == round(sheet["Credit"].sum() * 100) == 1_056_000


def entry(*postings: Posting, number: str = "7") -> Entry:
    return Entry(number=number, on=date(2026, 3, 2), postings=postings)


BANK = Posting(account="bank", debit_cents=500)


@pytest.mark.parametrize(
    ("bad", "path", "said"),
    [
        (entry(BANK, Posting(account="revenue", credit_cents=499)), "entry 7", r"debits \$5.00, credits \$4.99"),
        (entry(BANK), "entry 7", "does not balance"),
        (entry(), "entry 7", "holds no postings"),
        (entry(BANK, Posting(account="petty", credit_cents=500)), "entry 7.postings[1].account", "no account 'petty'"),
        (entry(Posting(account="bank")), "entry 7.postings[0]", "either a debit or a credit"),
        (entry(Posting(account="bank", debit_cents=1, credit_cents=1)), "entry 7.postings[0]", "either a debit"),
        (entry(Posting(account="bank", debit_cents=-5)), "entry 7.postings[0].debit_cents", "whole cents of 0 or more"),
        (entry(Posting(account="bank", credit_cents=4.5)), "entry 7.postings[0].credit_cents", "whole cents"),
    ],
)
def test_an_entry_that_cannot_be_posted_is_refused_by_its_number(bad, path, said):
    with pytest.raises(BadRecord, match=said) as refused:
        journal_csv([FINAL, bad], CHART)
    assert [fault.path for fault in refused.value.faults] == [path]


def test_two_unbalanced_entries_do_not_make_a_balanced_file():
    over = entry(BANK, Posting(account="revenue", credit_cents=400), number="over")
    under = entry(BANK, Posting(account="revenue", credit_cents=600), number="under")
    with pytest.raises(BadRecord) as refused:
        journal_csv([over, under], CHART)
    assert [fault.path for fault in refused.value.faults] == ["entry over", "entry under"]


def test_a_number_used_twice_and_a_day_with_a_time_are_refused():
    good = (BANK, Posting(account="revenue", credit_cents=500))
    timed = Entry(number="8", on=datetime(2026, 3, 2, 9), postings=good)
    with pytest.raises(BadRecord) as refused:
        journal_csv([entry(*good), entry(*good), timed], CHART)
    assert [fault.path for fault in refused.value.faults] == ["entry 7", "entry 8.on"]


def test_a_map_that_gives_a_key_twice_or_no_code_is_refused():
    with pytest.raises(BadRecord, match=r"accounts\[1\].key: 'bank' is already given by \$.accounts\[0\]"):
        account_map({"accounts": [{"key": "bank", "code": "1"}, {"key": "bank", "code": "2"}]})
    with pytest.raises(BadRecord, match=r"accounts\[0\].code: missing"):
        account_map({"accounts": [{"key": "bank"}]})


amounts = st.lists(st.integers(1, 10**9), min_size=1, max_size=5)


@settings(max_examples=30, deadline=None)
@given(st.lists(amounts, min_size=1, max_size=5))
def test_any_balanced_entries_make_a_file_that_sums_to_nothing(many):
    entries = [
        entry(
            *(Posting(account="receivable", debit_cents=cents) for cents in part),
            Posting(account="revenue", credit_cents=sum(part)),
            number=str(at),
        )
        for at, part in enumerate(many)
    ]
    frame = frame_of(journal_csv(entries, CHART))
    cents = (frame[["Debit", "Credit"]] * 100).round().astype("int64")
    assert (cents.groupby(frame["Entry"]).sum().diff(axis=1)["Credit"] == 0).all()
    assert cents["Debit"].sum() == sum(map(sum, many))

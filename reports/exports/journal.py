"""Balanced journal entries for the bookkeeper's program, under the account codes that program uses.

The ledger speaks of accounts by a key ("receivable"); the map gives each key the code and the name it has in the
bookkeeper's own chart. The map is data: it is read from its JSON form and may be changed without touching a posting.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from estimates.money import LARGEST, format_money
from estimates.records import BadRecord, Fault, many, read_record, text
from reports.exports.tables import Column, Kind, Table, table_csv

COLUMNS = (
    Column("Entry"),
    Column("Date", Kind.DAY),
    Column("Account"),
    Column("Account name"),
    Column("Debit", Kind.MONEY),
    Column("Credit", Kind.MONEY),
    Column("Document"),
    Column("Memo"),
    Column("Job"),
)
"""Columns of the file; no totals row, for a program that reads it would post that too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Posting:
    """One side of an entry. Either `debit_cents` or `credit_cents` is above 0, the other is 0."""

    account: str
    """Key of the account in the map."""
    debit_cents: int = 0
    credit_cents: int = 0
    memo: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What one document or payment did to the books: postings whose debits and credits are equal."""

    number: str
    """Name of the entry, unique in a file."""
    on: date
    postings: tuple[Posting, ...]
    document: str = ""
    """Number of the invoice, credit note or receipt behind it."""
    memo: str = ""
    job: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AccountRecord:
    """What the bookkeeper's chart calls one of our accounts."""

    key: str = text("Key of the account in the ledger", max_length=40, min_length=1)
    code: str = text("Code of the account in the bookkeeper's chart", max_length=40, min_length=1)
    name: str = text("Name of the account there", max_length=80, default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class AccountMapRecord:
    """The bookkeeper's chart for our accounts; two of ours may go into one of theirs."""

    accounts: tuple[AccountRecord, ...] = many(AccountRecord, "Accounts", min_items=1)


def account_map(raw: object) -> AccountMapRecord:
    """Read an account map from its JSON form.

    Parameters
    ----------
    raw : ``{"accounts": [{"key": ..., "code": ..., "name": ...}, ...]}``.

    Raises
    ------
    BadRecord : a field is missing or does not fit, or a key stands twice; each fault with its JSON path.

    Examples
    --------
    >>> account_map({"accounts": [{"key": "receivable", "code": "1200"}]}).accounts[0].code
    '1200'
    """
    found = read_record(AccountMapRecord, raw)
    first: dict[str, int] = {}
    faults = []
    for at, account in enumerate(found.accounts):
        if account.key in first:
            words = f"{account.key!r} is already given by $.accounts[{first[account.key]}]; keep one of them"
            faults.append(Fault(f"$.accounts[{at}].key", words))
        first.setdefault(account.key, at)
    if faults:
        raise BadRecord(faults)
    return found


def journal_table(entries: Sequence[Entry], accounts: AccountMapRecord) -> Table:
    r"""Lay entries out as the table that goes to the bookkeeper, a row for each posting.

    Parameters
    ----------
    entries : in the order in which they are to stand.
    accounts : the map; it must hold every account that is posted to.

    Raises
    ------
    BadRecord : an entry does not balance, has no postings, a bad amount or a number used before, or posts to an account
        that the map does not hold; each fault names the entry.

    Notes
    -----
    .. math:: \sum debit = \sum credit

    in every entry, in whole cents; so it holds of every file and every period.
    """
    faults = list(_faults(entries, accounts))
    if faults:
        raise BadRecord(faults)
    chart = {account.key: account for account in accounts.accounts}
    rows = [
        (
            entry.number,
            entry.on,
            chart[posting.account].code,
            chart[posting.account].name,
            posting.debit_cents,
            posting.credit_cents,
            entry.document,
            posting.memo or entry.memo,
            entry.job,
        )
        for entry in entries
        for posting in entry.postings
    ]
    return Table("Journal", COLUMNS, rows)


def journal_csv(entries: Sequence[Entry], accounts: AccountMapRecord, *, bom: bool = False) -> bytes:
    r"""Write entries as CSV; see `journal_table` for what is refused and `tables.table_csv` for the form.

    Examples
    --------
    >>> chart = account_map({"accounts": [{"key": "bank", "code": "1000"}, {"key": "deposits", "code": "2300"}]})
    >>> paid = Entry(number="7", on=date(2026, 3, 2), document="D-0001", postings=(
    ...     Posting(account="bank", debit_cents=50_000), Posting(account="deposits", credit_cents=50_000)))
    >>> print(journal_csv([paid], chart).decode().replace("\r\n", "\n").strip())
    Entry,Date,Account,Account name,Debit,Credit,Document,Memo,Job
    7,2026-03-02,1000,,500.00,0.00,D-0001,,
    7,2026-03-02,2300,,0.00,500.00,D-0001,,
    """
    return table_csv(journal_table(entries, accounts), bom=bom)


def _faults(entries: Sequence[Entry], accounts: AccountMapRecord) -> Iterator[Fault]:
    known = {account.key for account in accounts.accounts}
    seen: set[str] = set()
    for entry in entries:
        where = f"entry {entry.number}"
        if not entry.number.strip():
            yield Fault("entry", "has no number; enter one")
        if entry.number in seen:
            yield Fault(where, "this number was used before in the file; enter another")
        seen.add(entry.number)
        if isinstance(entry.on, datetime):
            yield Fault(f"{where}.on", f"{entry.on} has a time; enter a day")
        if not entry.postings:
            yield Fault(where, "holds no postings; enter at least a debit and a credit")
        amounts = [fault for at, posting in enumerate(entry.postings) for fault in _amount_faults(posting, where, at)]
        yield from amounts
        for at, posting in enumerate(entry.postings):
            if posting.account not in known:
                words = f"no account {posting.account!r} in the map; add it there with its code"
                yield Fault(f"{where}.postings[{at}].account", words)
        if not amounts:
            debit = sum(posting.debit_cents for posting in entry.postings)
            credit = sum(posting.credit_cents for posting in entry.postings)
            if debit != credit:
                words = (
                    f"does not balance: debits {format_money(debit)}, credits {format_money(credit)}; enter equal sums"
                )
                yield Fault(where, words)


def _amount_faults(posting: Posting, where: str, at: int) -> Iterator[Fault]:
    for name in ("debit_cents", "credit_cents"):
        amount = getattr(posting, name)
        if isinstance(amount, bool) or not isinstance(amount, int) or not 0 <= amount <= LARGEST:
            yield Fault(f"{where}.postings[{at}].{name}", f"{amount!r} is no amount; enter whole cents of 0 or more")
            return
    if (posting.debit_cents > 0) == (posting.credit_cents > 0):
        yield Fault(f"{where}.postings[{at}]", "enter either a debit or a credit above 0, and 0 for the other")

"""The table of dated rules: which row holds where and when, how it is quoted, what its files must hold."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest

from estimates import rules
from estimates.records import BadRecord
from estimates.rules import BadRule, RuleMissing, RuleRow, load_rules, places_of, rule_on, rules_on

ROW = RuleRow("US", "deposit", date(2026, 1, 1), date(2026, 6, 30), 3, "Three.", "Invented law", date(2026, 11, 25))
NEXT = replace(ROW, valid_from=date(2026, 7, 1), valid_to=None, value=4)
STATE = replace(ROW, jurisdiction="US-NY", value=5)
PLACES = places_of("NY")


def test_first_and_last_day_are_both_in_force() -> None:
    assert [row.value for day in (1, 30) for row in rules_on([ROW], PLACES, "deposit", date(2026, 6, day))] == [3, 3]
    assert rule_on([ROW], PLACES, "deposit", date(2025, 12, 31)) is None
    assert rule_on([ROW], PLACES, "deposit", date(2026, 7, 1)) is None


def test_the_next_row_takes_over_on_its_first_day() -> None:
    found = rule_on([NEXT, ROW], PLACES, "deposit", date(2026, 7, 1))
    assert found == NEXT


def test_a_state_row_takes_the_place_of_the_federal_one() -> None:
    assert rule_on([STATE, ROW], PLACES, "deposit", date(2026, 3, 1)) == STATE
    assert rule_on([STATE, ROW], places_of("MD"), "deposit", date(2026, 3, 1)) == ROW


def test_two_rows_of_one_place_on_one_day_are_refused() -> None:
    with pytest.raises(BadRule, match="end one of them"):
        rules_on([ROW, replace(NEXT, valid_from=date(2026, 6, 30))], PLACES, "deposit", date(2026, 6, 30))


def test_a_missing_rule_names_topic_places_and_day() -> None:
    with pytest.raises(RuleMissing, match="no rule on other for US, US-NY on 2026-03-01; enter"):
        rules.needed_rule([ROW], PLACES, "other", date(2026, 3, 1))


def test_a_quote_holds_text_source_day_and_the_caution() -> None:
    assert all(part in ROW.quote for part in ("Three.", "Invented law", "2026-11-25", "Not legal or tax advice"))


@pytest.mark.parametrize("state", ["", "ny", "N", "NYC", "N1", "ÑY"])
def test_a_state_is_two_capital_letters(state: str) -> None:
    with pytest.raises(BadRule, match="two capital letters"):
        places_of(state)


def test_values_of_the_wrong_kind_are_refused_by_name() -> None:
    for bad in (True, 3.0, "3", -1):
        with pytest.raises(BadRule, match="US deposit holds"):
            rules.whole_of(replace(ROW, value=bad))
    for bad in (True, "a third", -0.1, [1], "1/0", float("nan")):
        with pytest.raises(BadRule, match="US deposit holds"):
            rules.number_of(replace(ROW, value=bad))
    with pytest.raises(BadRule, match=r"deposit\.shar is not known; enter one of share"):
        rules.table_of(replace(ROW, value={"shar": 1}), "share")
    with pytest.raises(BadRule, match="enter a table"):
        rules.table_of(ROW, "share")


def test_a_written_share_is_taken_as_written() -> None:
    # D: 0.1 is one tenth exactly, not the nearest binary number.
    assert rules.exact(0.1, "x") == Fraction(1, 10)
    assert rules.exact("1/3", "x") == Fraction(1, 3)


def test_every_row_of_the_fixtures_can_be_read_and_never_overlaps_another() -> None:
    rows = load_rules()
    assert len({(row.jurisdiction, row.topic, row.valid_from) for row in rows}) == len(rows)
    days = {row.valid_from for row in rows} | {date(2026, 11, 25)}
    for row in rows:
        for day in days:
            assert len(rules_on(rows, (row.jurisdiction,), row.topic, day)) <= 1


def test_every_row_says_where_it_is_from_and_whether_that_was_seen() -> None:
    for row in load_rules():
        assert "[S]" in row.text or "[M]" in row.text or "Invented" in row.source, row
        assert ("from memory" in row.text.lower() or "[S]" in row.text) or "Invented" in row.source, row
        assert row.checked_on >= date(2026, 11, 25)


def test_faults_of_a_rule_file_are_all_named(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text(
        '[[rules]]\njurisdiction = ""\ntopic = 3\nvalid_from = 2026-01-01T00:00:00\nvalue = 1\n'
        'source = "s"\nextra = 1\n'
    )
    with pytest.raises(BadRecord) as caught:
        load_rules(tmp_path)
    named = [fault.path.removeprefix("bad.toml.rules[0].") for fault in caught.value.faults]
    assert sorted(named) == ["checked_on", "extra", "jurisdiction", "text", "topic", "valid_from"]


def test_a_last_day_before_the_first_and_broken_files_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(
        '[[rules]]\njurisdiction = "US"\ntopic = "t"\nvalid_from = 2026-01-02\nvalid_to = 2026-01-01\nvalue = 1\n'
        'text = "x"\nsource = "s"\nchecked_on = 2026-01-01\n'
    )
    with pytest.raises(BadRecord, match="before valid_from"):
        load_rules(tmp_path)
    (tmp_path / "a.toml").write_text("rules = [")
    with pytest.raises(BadRecord, match="not valid TOML"):
        load_rules(tmp_path)

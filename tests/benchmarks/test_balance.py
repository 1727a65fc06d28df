"""Detection and false alarms of the bay balance: python3 manage.py test -m benchmark -s tests/benchmarks

Simulated walls of 36 bays of 2.7 ft3, four mix runs of nine bays; errors of measuring as `Errors` has them.
"""

from __future__ import annotations

import pytest

from jobs.balance import Source
from jobs.balance_trials import trial_rates

pytestmark = pytest.mark.benchmark

TRIALS = 60

CASES = (
    ("nothing wrong", {}, {}),
    ("a quarter of one bay empty", {14: 0.25}, {}),
    ("half of one bay empty", {14: 0.5}, {}),
    ("one bay empty", {14: 1.0}, {}),
    ("two bays of one run empty", {12: 1.0, 14: 1.0}, {}),
    ("one bay's volume escaped", {}, {14: 2.7}),
    ("three bays' volume escaped", {}, {14: 8.1}),
)


def test_rates_of_detection_and_of_false_alarms() -> None:
    print(f"\n{'suspected in':42}{'void':>8}{'wall':>8}{'named':>8}{'escape':>8}{'record':>8}   [% of {TRIALS} walls]")
    found = {}
    for source in Source:
        print(f"{source.value}:")
        for words, voids, escapes in CASES:
            rates = trial_rates(voids=voids, escapes=escapes, source=source, trials=TRIALS)
            found[source, words] = rates
            row = (rates.void, rates.void_wall, rates.named, rates.escape, rates.record)
            print(f"  {words:40}" + "".join(f"{100 * share:8.0f}" for share in row))
    for source in Source:
        shares = [found[source, words].void for words, _, _ in CASES[:4]]
        assert shares == sorted(shares), f"{source.value}: a larger void must not be found less often"

"""What every check against the outside compared, when asked for with --checks FILE."""

from __future__ import annotations

import contextlib
import inspect
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

MARK = re.compile(r"(?<![A-Za-z0-9_])(S|M|D|CP)(?=[\s,:;.)\]]|$)")

# The class behind pytest.approx of a number, of which arrays and mappings are compared one by one as well.
ApproxScalar: Any = type(pytest.approx(1.0))

_rows: dict[str, dict[str, Any]] = {}


def source_of(item: Any) -> str:
    """The words beside a check: comments in and above its test, else the head of its module."""
    lines = inspect.getsource(item.function).splitlines()
    module = Path(inspect.getsourcefile(item.function) or "").read_text(encoding="utf-8").splitlines()
    start = inspect.getsourcelines(item.function)[1] - 2
    above: list[str] = []
    while start >= 0 and module[start].lstrip().startswith("#"):
        above.insert(0, module[start])
        start -= 1
    comments = [line.strip().lstrip("# ") for line in above + lines if line.strip().startswith("#")]
    inline = [line.split("  # ", 1)[1] for line in lines if "  # " in line]
    words = " ".join(dict.fromkeys([*comments, *inline, item.name.partition("[")[2].rstrip("]")])).strip()
    if MARK.search(words):
        return words
    return " ".join([words, inspect.getdoc(inspect.getmodule(item.function)) or ""]).strip()


@pytest.fixture(autouse=True)
def _remembered(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A check without a source mark is none; with --checks, note every comparison with pytest.approx."""
    words = source_of(request.node)
    mark = MARK.search(words)
    assert mark, "mark the source beside this check: S seen, M from memory, D derived, CP common practice"
    if not request.config.getoption("--checks", default=None):
        yield
        return
    seen: list[tuple[float, float, float]] = []
    compare = ApproxScalar.__eq__

    def noted(self: Any, actual: Any) -> bool:
        with contextlib.suppress(TypeError, ValueError, OverflowError):
            seen.append((abs(float(actual) - float(self.expected)), float(self.expected), float(self.tolerance)))
        return compare(self, actual)

    monkeypatch.setattr(ApproxScalar, "__eq__", noted)
    yield
    worst, expected, allowed = max(seen, default=(0.0, 0.0, 0.0))
    row = _rows.setdefault(
        request.node.nodeid.partition("[")[0],
        {"mark": mark.group(1), "source": words[:300], "values": 0, "worst": 0.0, "expected": 0.0, "allowed": 0.0},
    )
    row["values"] += len(seen)
    if worst >= row["worst"]:
        row |= {"worst": worst, "expected": expected, "allowed": allowed}


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Write the rows."""
    path = session.config.getoption("--checks", default=None)
    if path:
        rows = [{"test": test} | row for test, row in sorted(_rows.items())]
        Path(path).write_text(json.dumps(rows, indent=1), encoding="utf-8")

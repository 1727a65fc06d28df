"""What every check against the outside compared, when asked for with --checks FILE."""

from __future__ import annotations

import ast
import contextlib
import functools
import inspect
import json
import re
import textwrap
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

NO_WORDS = ("type:", "noqa", "fmt:")
"""Comments for tools, which say nothing of a source."""

MARK = re.compile(r"(?<![A-Za-z0-9_])(S|M|D|CP)(?=[\s,:;.)\]]|$)")

# The class behind pytest.approx of a number, of which arrays and mappings are compared one by one as well.
ApproxScalar: Any = type(pytest.approx(1.0))

_rows: dict[str, dict[str, Any]] = {}


def source_of(item: Any) -> str:
    """The words beside a check: in and above its test and its class, else those beside what it stands on.

    A check may stand on numbers, helpers and fixtures of its module. The head of the module serves last, and only
    where it names one mark: a key to all the marks says nothing of one check.
    """
    lines = _module_lines(inspect.getsourcefile(item.function) or "")
    case = item.name.partition("[")[2].rstrip("]")
    words = " ".join(dict.fromkeys([*_words_beside(item.function, lines), case])).strip()
    if MARK.search(words):
        return words
    if item.cls is not None:
        words = f"{words} {' '.join(_words_above(inspect.getsourcelines(item.cls)[1] - 1, lines))}".strip()
        words = f"{words} {inspect.getdoc(item.cls) or ''}".strip() if item.cls.__doc__ else words
        if MARK.search(words):
            return words
    under = " ".join(_words_under(item, lines))
    if MARK.search(under):
        return f"{words} {under}".strip()
    head = inspect.getdoc(item.module) or ""
    return f"{words} {head}".strip() if len(set(MARK.findall(head))) == 1 else ""


@functools.cache
def _module_lines(path: str) -> tuple[str, ...]:
    return tuple(Path(path).read_text(encoding="utf-8").splitlines())


def _words_above(line: int, lines: Sequence[str]) -> list[str]:
    """Comments that stand right above a line, which is counted from 0."""
    above: list[str] = []
    while line > 0 and lines[line - 1].lstrip().startswith("#"):
        line -= 1
        above.insert(0, lines[line].strip().lstrip("# "))
    return above


def _words_beside(function: Any, lines: Sequence[str]) -> list[str]:
    """Comments above, in and at the ends of lines of a function."""
    source, start = inspect.getsourcelines(function)
    return [*_words_above(start - 1, lines), *_words_in(source)]


def _words_in(source: Sequence[str]) -> list[str]:
    """Comments on lines of their own, then those at the ends of lines."""
    inside = [line.strip().lstrip("# ") for line in source if line.strip().startswith("#")]
    inline = [line.rstrip().split("  # ", 1)[1] for line in source if "  # " in line]
    return [words for words in (*inside, *inline) if not words.startswith(NO_WORDS)]


def _words_under(item: Any, lines: Sequence[str]) -> Iterator[str]:
    """Comments beside the constants, helpers and fixtures of its own module that a test uses, and that those use."""
    tree = ast.parse("\n".join(lines))
    made: dict[str, ast.stmt] = {}
    for statement in tree.body:
        for name in _made_by(statement):
            made[name] = statement
    waiting = [item.function.__name__] if item.cls is None else []
    waiting += sorted({node.id for node in ast.walk(_tree_of(item.function)) if isinstance(node, ast.Name)})
    waiting += [argument for argument in item.fixturenames if argument in made]
    seen: set[str] = set()
    while waiting:
        name = waiting.pop(0)
        if name in seen or name not in made:
            continue
        seen.add(name)
        statement = made[name]
        if name != item.function.__name__:
            first = min([statement.lineno, *(d.lineno for d in getattr(statement, "decorator_list", []))]) - 1
            yield from _words_above(first, lines)
            yield from _words_in(lines[first : statement.end_lineno])
        waiting += sorted({node.id for node in ast.walk(statement) if isinstance(node, ast.Name)})


def _made_by(statement: ast.stmt) -> list[str]:
    if isinstance(statement, ast.FunctionDef | ast.ClassDef):
        return [statement.name]
    if isinstance(statement, ast.Assign | ast.AnnAssign):
        targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
        return [node.id for target in targets for node in ast.walk(target) if isinstance(node, ast.Name)]
    return []


def _tree_of(function: Any) -> ast.AST:
    return ast.parse(textwrap.dedent(inspect.getsource(function)))


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
    # worst is what comes nearest to its limit, not what is largest: a test may compare thousands and hundredths
    worst, expected, allowed = max(seen, key=_share, default=(0.0, 0.0, 0.0))
    row = _rows.setdefault(
        request.node.nodeid.partition("[")[0],
        {"mark": mark.group(1), "source": words[:300], "values": 0, "worst": 0.0, "expected": 0.0, "allowed": 0.0},
    )
    row["values"] += len(seen)
    if _share((worst, expected, allowed)) >= _share((row["worst"], row["expected"], row["allowed"])):
        row |= {"worst": worst, "expected": expected, "allowed": allowed}


def _share(compared: tuple[float, float, float]) -> float:
    """Difference over what is allowed."""
    difference, _, allowed = compared
    return difference / allowed if allowed else float(difference > 0)


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Write the rows."""
    path = session.config.getoption("--checks", default=None)
    if path:
        rows = [{"test": test} | row for test, row in sorted(_rows.items())]
        Path(path).write_text(json.dumps(rows, indent=1), encoding="utf-8")

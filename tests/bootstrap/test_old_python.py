"""An old Python gets a sentence that says which one is needed, not a traceback."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

MANAGE = Path(__file__).resolve().parents[2] / "manage.py"

PRETEND = """
import sys
sys.version_info = {version}
sys.argv = ["manage.py", "demo"]
text = open(sys.orig_argv[-1]).read()
exec(compile(text, "manage.py", "exec"), {{"__name__": "__main__", "__file__": "manage.py"}})
"""


@pytest.mark.parametrize(
    ("version", "shown"), [("(2, 7, 18)", "2.7"), ("(3, 6, 15)", "3.6"), ("(3, 8, 0)", "3.8"), ("(3, 10, 13)", "3.10")]
)
def test_an_old_python_is_told_which_one_is_needed(version: str, shown: str, tmp_path: Path) -> None:
    command = [sys.executable, "-c", PRETEND.format(version=version), str(MANAGE)]
    result = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=30)
    assert result.returncode == 2
    assert result.stderr.startswith(f"Cavitybook needs Python 3.11 or newer; this is {shown} (")
    assert result.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_the_file_parses_in_python_3_of_any_age() -> None:
    ast.parse(MANAGE.read_text(encoding="ascii"), feature_version=(3, 7))


def test_the_file_holds_no_word_that_python_2_cannot_read() -> None:
    newer: list[str] = []
    for node in ast.walk(ast.parse(MANAGE.read_text(encoding="ascii"))):
        line = getattr(node, "lineno", 0)
        if isinstance(
            node, ast.JoinedStr | ast.Nonlocal | ast.AnnAssign | ast.NamedExpr | ast.Await | ast.YieldFrom | ast.Match
        ):
            newer.append(f"line {line}: {type(node).__name__}")
        if isinstance(node, ast.Raise) and node.cause is not None:
            newer.append(f"line {line}: raise ... from")
        if isinstance(node, ast.arguments) and (node.kwonlyargs or node.posonlyargs):
            newer.append("keyword-only or positional-only argument")
        if isinstance(node, ast.arg) and node.annotation is not None:
            newer.append(f"line {line}: annotation")
        if isinstance(node, ast.FunctionDef) and node.returns is not None:
            newer.append(f"line {line}: annotation")
        if isinstance(node, ast.ClassDef) and node.keywords:
            newer.append(f"line {line}: class keyword")
        if isinstance(node, ast.List | ast.Tuple | ast.Set) and any(isinstance(e, ast.Starred) for e in node.elts):
            newer.append(f"line {line}: unpacking in a display")
    assert newer == []

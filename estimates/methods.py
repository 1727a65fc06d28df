"""The methods of the engine as its docstrings state them, and the checks against the outside, as one printable page.

The docstrings are read strictly, so the page cannot fall behind the code: what is not in the form of the house, or
leaves out a section or an argument, fails a test. Records and constants stand beside the functions that use them.
"""

from __future__ import annotations

import ast
import dataclasses
import functools
import importlib
import inspect
import itertools
import json
import pkgutil
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from types import ModuleType
from typing import Any

from estimates.equation import equation_html

PHYSICS = "estimates.physics"

BESIDE = ("takeoff", "cost_columns", "money")
"""Modules of `estimates` beside the physics that belong on the page: quantities and money."""

SECTIONS = ("Parameters", "Returns", "Raises", "Notes", "References", "Examples")
"""What every function tells, in this order."""

MARKS: Mapping[str, str] = {
    "S": "the printed number was seen",
    "M": "from memory, unconfirmed",
    "D": "derived by a second, independent method",
    "CP": "common practice of the trade, no source",
}
"""Source marks of a check."""


_NUMBER = re.compile(r"\b(ArrayLike|Values|NDArray|float|int)\b")


class BadDocstring(ValueError):
    """A docstring that is not in the form of the house; names whose it is and what is wrong."""


@dataclass(frozen=True, slots=True)
class Method:
    """A public function: its arguments in order, which of them are numbers, its first words, its sections by name."""

    module: str
    name: str
    arguments: tuple[str, ...]
    summary: str
    sections: Mapping[str, str]
    call: str = ""
    numbers: tuple[str, ...] = ()

    def faults(self) -> list[str]:
        """What the docstring leaves out or has too much.

        All sections are owed, also by functions of names, text and records. One without arguments has nothing to
        limit and owes its first words only. A number owes its unit: in square brackets, where [-] and [1] say that it
        has none, by the word "unit", or by pointing to another function ("as `other`"); `validity` takes any.
        """
        if not self.arguments:
            return []
        where = f"{self.module}.{self.name}"
        missing = [f"{where}: no {section}" for section in SECTIONS if not self.sections.get(section)]
        told = {name: text for names, text in entries(self.sections.get("Parameters", "")) for name in names}
        missing += [f"{where}: argument {name} not told" for name in self.arguments if name not in told]
        missing += [f"{where}: {name} is no argument" for name in told if name not in self.arguments]
        missing += [
            f"{where}: unit of {name} not told"
            for name in self.numbers
            if self.module != "validity"
            and name in told
            and not re.search(r"\[[^\]]+\]|\bunits?\b|\bas (in |for |of )?`", told[name])
        ]
        if self.sections.get("Examples") and ">>> " not in self.sections["Examples"]:
            missing.append(f"{where}: Examples hold nothing that runs")
        return missing


@dataclass(frozen=True, slots=True)
class Check:
    """A test against the outside: its mark and source, how many values it compared, and the worst of them."""

    test: str
    mark: str
    source: str
    values: int
    worst: float
    expected: float
    allowed: float


# --- Reading ----------------------------------------------------------------------------------------------------------


def read_sections(text: str, name: str) -> tuple[str, dict[str, str]]:
    """Split a docstring into what stands before its sections and the sections.

    Parameters
    ----------
    text : the docstring, indented or not.
    name : whose it is, for the message.

    Returns
    -------
    The text before the first section, and section -> text.

    Raises
    ------
    BadDocstring : no words at the beginning, a section that is unknown, empty or out of order, an underline of another
        length than its heading.

    Examples
    --------
    >>> read_sections('''Area.
    ...
    ... Parameters
    ... ----------
    ... side : > 0. [ft]
    ... ''', "area")
    ('Area.', {'Parameters': 'side : > 0. [ft]'})
    """
    lines = inspect.cleandoc(text).splitlines()
    parts: dict[str, str] = {}
    heading, start = "", 0
    for i, line in enumerate(lines):
        if i == 0 or not line or set(line) != {"-"}:
            continue
        parts[heading] = "\n".join(lines[start : i - 1]).strip("\n")
        heading, start = lines[i - 1], i + 1
        if heading not in SECTIONS:
            raise BadDocstring(f"{name}: {heading!r} is no section; use {', '.join(SECTIONS)}")
        if len(line) != len(heading):
            raise BadDocstring(f"{name}: the line under {heading} has {len(line)} dashes, not {len(heading)}")
        if any(other in SECTIONS[SECTIONS.index(heading) :] for other in parts):
            raise BadDocstring(f"{name}: {heading} stands too late; the order is {', '.join(SECTIONS)}")
    parts[heading] = "\n".join(lines[start:]).strip("\n")
    for section, body in parts.items():
        if not body:
            raise BadDocstring(f"{name}: {section or 'what it does'} is empty")
    return parts.pop(""), parts


def entries(body: str) -> list[tuple[tuple[str, ...], str]]:
    """Entries `name, name : text` of a section; lines that are indented go on with the entry above.

    A line of another form is a sentence, which has no names.

    Examples
    --------
    >>> entries("x, y : the point. [in]")
    [(('x', 'y'), 'the point. [in]')]
    """
    found: list[tuple[tuple[str, ...], str]] = []
    for line in body.splitlines():
        if line.startswith(" ") and found:
            found[-1] = (found[-1][0], f"{found[-1][1]} {line.strip()}")
            continue
        names, colon, text = line.partition(" : ")
        if colon and all(re.fullmatch(r"\*{0,2}[\w.]+", name.strip()) for name in names.split(",")):
            found.append((tuple(name.strip() for name in names.split(",")), text.strip()))
        else:
            found.append(((), line.strip()))
    return found


@functools.cache
def methods() -> tuple[Method, ...]:
    """Every public function of the physics, module by module in the order of the files, then those beside it."""
    return tuple(_method(module, function) for module in _modules() for function in _functions(module))


def _modules() -> Iterator[ModuleType]:
    package = importlib.import_module(PHYSICS)
    for name in sorted(found.name for found in pkgutil.iter_modules(package.__path__)):
        yield importlib.import_module(f"{PHYSICS}.{name}")
    for name in BESIDE:
        yield importlib.import_module(f"estimates.{name}")


def _short(module: ModuleType) -> str:
    return module.__name__.rpartition(".")[2]


def _functions(module: ModuleType) -> Iterator[Any]:
    for name, thing in vars(module).items():
        # A cached function is none by its type, but by what it wraps.
        is_function = callable(thing) and inspect.isfunction(inspect.unwrap(thing))
        if is_function and thing.__module__ == module.__name__ and not name.startswith("_"):
            yield thing


def _method(module: ModuleType, function: Any) -> Method:
    short, name = _short(module), function.__name__
    words, sections = read_sections(function.__doc__ or "", f"{short}.{name}")
    arguments = inspect.signature(inspect.unwrap(function)).parameters.values()
    return Method(
        module=short,
        name=name,
        arguments=tuple(a.name for a in arguments),
        summary=words,
        sections=sections,
        call=f"{name}({_call(arguments)})",
        numbers=tuple(a.name for a in arguments if _NUMBER.search(str(a.annotation))),
    )


def _call(arguments: Any) -> str:
    """Arguments as they are written; a default that is more than a number or a word is named, not spelled out."""
    parts: list[str] = []
    for argument in arguments:
        if argument.kind is argument.KEYWORD_ONLY and "*" not in parts:
            parts.append("*")
        default = argument.default
        shown = repr(default) if type(default) in (bool, int, float, str, tuple, type(None)) else str(default)
        if dataclasses.is_dataclass(default):
            shown = f"{type(default).__name__}(...)"
        parts.append(argument.name + ("" if default is argument.empty else f"={shown}"))
    return ", ".join(parts)


def read_checks(path: Path) -> tuple[Check, ...]:
    """Checks written by `manage.py test tests/reference --checks FILE`."""
    return tuple(Check(**row) for row in json.loads(path.read_text(encoding="utf-8")))


# --- Writing ----------------------------------------------------------------------------------------------------------

_STYLE = (
    "body{font:16px/1.5 Georgia,serif;max-width:56rem;margin:2rem auto;padding:0 1rem}code,pre{font:14px/1.4 monospace}"
    "pre{white-space:pre-wrap;border-left:3px solid #999;padding-left:1rem}.equation{margin:.8rem 2rem;font-size:17px}"
    "h3 code{font-size:18px}h3{border-top:1px solid #999;padding-top:.6rem}h4,h4+p,h4+dl,h4+pre{margin:.3rem 0}"
    "dt{font-weight:bold}table{border-collapse:collapse;font-size:14px}td,th{border:1px solid #999;padding:.2rem .5rem;"
    "text-align:left;vertical-align:top}h2{border-bottom:2px solid #000;margin-top:3rem}.over{text-decoration:overline}"
    ".fraction{display:inline-flex;flex-direction:column;vertical-align:middle;text-align:center;padding:0 .2rem}"
    ".bar{border-top:1px solid;height:0;overflow:hidden}"
    ".number{text-align:right}@media print{h2{break-before:page}article,tr{break-inside:avoid}}"
)


def methods_page(found: Sequence[Method], checks: Sequence[Check]) -> str:
    """The page: contents, a chapter for each module, the table of checks. No scripts, nothing from elsewhere."""
    chapters = [_chapter(module, [m for m in found if m.module == _short(module)]) for module in _modules()]
    contents = "".join(
        f'<li><a href="#{_short(module)}">{escape(_first_words(module))}</a></li>' for module in _modules()
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>Methods of the engine</title>'
        f"<style>{_STYLE}</style></head>\n<body><h1>Methods of the engine</h1>\n"
        "<p>What every function of the building physics does, in which units, within which limits, by which equation "
        "and after which source; printed from the program itself. Units stand in square brackets; [-] and [1] say that "
        "a number has none. Outside its limits a function refuses, naming the argument.</p>\n"
        f'<nav><h2>Contents</h2><ol>{contents}<li><a href="#checks">Checks against the outside</a></li></ol></nav>\n'
        + "\n".join(chapters)
        + "\n"
        + _checks(checks)
        + "\n</body></html>\n"
    )


def _first_words(module: ModuleType) -> str:
    return " ".join((module.__doc__ or "").partition("\n\n")[0].split())


def _chapter(module: ModuleType, functions: Sequence[Method]) -> str:
    short = _short(module)
    rest = inspect.cleandoc(module.__doc__ or "").partition("\n\n")[2]
    records = "".join(f"<dt><code>{name}</code></dt><dd>{_prose(text)}</dd>" for name, text in _records(module))
    constants = "".join(
        f"<tr><td><code>{escape(name)}</code></td><td><code>{escape(value)}</code></td><td>{_prose(text)}</td></tr>"
        for name, value, text in _constants(module)
    )
    return (
        f'<section id="{short}"><h2>{escape(_first_words(module))}</h2>\n<p>Module <code>{short}</code></p>'
        + (_prose(rest) if rest else "")
        + "\n".join(_article(function) for function in functions)
        + (f"\n<h4>Records</h4><dl>{records}</dl>" if records else "")
        + (f"\n<h4>Constants</h4><table><tbody>{constants}</tbody></table>" if constants else "")
        + "</section>"
    )


def _article(method: Method) -> str:
    parts = [f'<article id="{method.module}-{method.name}"><h3><code>{escape(method.call)}</code></h3>']
    parts.append(_prose(method.summary))
    for section, body in method.sections.items():
        parts.append(f"<h4>{section}</h4>")
        if section in ("Parameters", "Raises"):
            parts.append(_list(body))
        elif section == "Examples":
            parts.append(f"<pre>{escape(body)}</pre>")
        else:
            parts.append(_prose(body))
    return "\n".join(parts) + "</article>"


def _list(body: str) -> str:
    rows = []
    for names, text in entries(body):
        said = ", ".join(f"<code>{escape(name)}</code>" for name in names)
        rows.append(f"<dt>{said}</dt><dd>{_inline(text)}</dd>" if names else f"<dd>{_inline(text)}</dd>")
    return f"<dl>{''.join(rows)}</dl>"


def _prose(text: str) -> str:
    """Paragraphs, equations and lists of sources."""
    blocks = []
    for block in re.split(r"\n\s*\n|\n(?=\.\. )", text.strip("\n")):
        words = " ".join(block.split())
        if words.startswith(".. math::"):
            blocks.append(f'<p class="equation">{equation_html(words.removeprefix(".. math::").strip())}</p>')
        elif words:
            blocks.append(f"<p>{_inline(words.removeprefix('.. '))}</p>")
    return "".join(blocks)


def _inline(text: str) -> str:
    plain = re.sub(r"\[(\d+)\]_", r"[\1]", text)
    return re.sub(r"`+([^`]+)`+", r"<code>\1</code>", escape(plain, quote=False))


def _records(module: ModuleType) -> Iterator[tuple[str, str]]:
    for name, thing in vars(module).items():
        if inspect.isclass(thing) and not name.startswith("_") and thing.__module__ == module.__name__:
            yield name, read_sections(thing.__doc__ or "", f"{module.__name__}.{name}")[0]


def _constants(module: ModuleType) -> Iterator[tuple[str, str, str]]:
    """Constants with the text under them; a long table is read in the code, its text says what it holds."""
    body = ast.parse(inspect.getsource(module)).body
    for statement, following in itertools.pairwise(body):
        if not isinstance(statement, ast.Assign | ast.AnnAssign) or statement.value is None:
            continue
        if not (isinstance(following, ast.Expr) and isinstance(following.value, ast.Constant)):
            continue
        targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
        value = ast.unparse(statement.value)
        yield ast.unparse(targets[0]).strip("()"), value if len(value) <= 80 else "a table", str(following.value.value)


def _checks(checks: Sequence[Check]) -> str:
    if not checks:
        return (
            '<h2 id="checks">Checks against the outside</h2>\n<p>Not measured for this printing: give '
            "<code>--checks FILE.json</code>, written by <code>python3 manage.py test tests/reference --checks "
            "FILE.json</code>.</p>"
        )
    marks = "; ".join(f"<b>{mark}</b> {escape(words)}" for mark, words in MARKS.items())
    rows = "".join(
        f"<tr><td>{escape(_sentence(c.test))}</td><td>{escape(c.mark)}</td><td>{_inline(c.source)}</td>"
        f'<td class="number">{c.values}</td><td class="number">{c.expected:.6g}</td>'
        f'<td class="number">{c.worst:.2g}</td><td class="number">{c.allowed:.2g}</td></tr>'
        for c in checks
    )
    return (
        f'<h2 id="checks">Checks against the outside</h2>\n<p>{marks}. Worst is the greatest difference found, from '
        "the value beside it; a printed number is never tested tighter than half its last digit.</p>\n"
        "<table><thead><tr><th>Check</th><th>Mark</th><th>Source</th><th>Values</th><th>Published</th><th>Worst</th>"
        f"<th>Allowed</th></tr></thead><tbody>{rows}</tbody></table>"
    )


def _sentence(test: str) -> str:
    """A test's name as words: `file: class, sentence`."""
    file, *names = test.split("::")
    words = ", ".join(re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", n).removeprefix("test_").replace("_", " ") for n in names)
    return f"{Path(file).stem.removeprefix('test_')}: {words.removeprefix('Test ')}"

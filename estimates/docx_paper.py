"""Papers from Word templates: filling one in, and checking a changed one before it is used.

A template is a .docx with tags in it: {{ name }} for a value, {%p for x in list %} ... {%p endfor %} round paragraphs,
{%tr ... %} round table rows, {%tc ... %} round table cells, {%p if name %} ... {%p endif %} for what may be missing.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from functools import lru_cache
from html import escape, unescape
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

if TYPE_CHECKING:
    from docxtpl import DocxTemplate
    from jinja2 import Template, nodes
    from jinja2.sandbox import SandboxedEnvironment

MM_PER_IN = 25.4

ZIP_EPOCH = (0, 1 << 5 | 1)
"""Time and date of every part of a paper, 1980-01-01 as a zip writes it: a clock would make two equal papers differ.

Source: the zip format's local header (offset 10) and directory entry (offset 12, lengths at 28), from memory; the tests
read the stamps back with the standard library.
"""

NOT_IN_XML = re.compile("[^\n\t\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that no XML document can hold."""

KEPT_PARTS = 64
"""Parts of templates (body, header, footer, properties) kept ready in memory."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture in a paper: its file, its width on paper [mm], and what it shows in words."""

    path: Path
    width_mm: float
    says: str


def fill_in(template: Path, context: Mapping[str, Any], *, issued_on: date, author: str) -> bytes:
    """Fill a template in.

    Parameters
    ----------
    template : a .docx that `template_faults` has nothing against.
    context : values by name: text, lists, dicts and `Picture`; everything is escaped.
    issued_on, author : for the properties of the document.

    Returns
    -------
    The .docx; the same bytes for the same arguments.

    Raises
    ------
    jinja2.TemplateError : a tag that cannot be read, or a name that the context lacks.
    """
    document = _template()(str(template))
    document.render({name: _ready(document, value) for name, value in context.items()}, _environment())
    properties = document.core_properties
    properties.created = properties.modified = datetime.combine(issued_on, time(), UTC).replace(tzinfo=None)
    properties.author = properties.last_modified_by = author
    # The properties are no XML where the template engine escapes them.
    properties.title, properties.subject = unescape(properties.title), unescape(properties.subject)
    properties.revision = 1
    raw = io.BytesIO()
    document.save(raw)
    return _without_clock(raw.getvalue())


def text_of(paper: Path) -> str:
    """Every word of a paper, one line for each paragraph: body and tables, headers and footers."""
    from docx import Document

    document = Document(str(paper))
    parts = [document.element.body]
    for section in document.sections:
        parts += [section.header._element, section.footer._element]
    lines = ("".join(run.text or "" for run in line.iter("{*}t")) for part in parts for line in part.iter("{*}p"))
    return "\n".join(lines)


def _without_clock(package: bytes) -> bytes:
    """The package with ZIP_EPOCH in the two places where a zip keeps the time of a part; nothing is packed again."""
    stamped = bytearray(package)
    with zipfile.ZipFile(io.BytesIO(package)) as read:
        entry, parts = read.start_dir, read.infolist()
    for part in parts:
        struct.pack_into("<HH", stamped, part.header_offset + 10, *ZIP_EPOCH)
        struct.pack_into("<HH", stamped, entry + 12, *ZIP_EPOCH)
        entry += 46 + sum(struct.unpack_from("<HHH", stamped, entry + 28))
    return bytes(stamped)


def _ready(document: DocxTemplate, value: Any) -> Any:
    """The value as the template takes it: pictures placed, characters that XML cannot hold dropped."""
    if isinstance(value, Picture):
        return _inline_picture()(document, value)
    if isinstance(value, str):
        return NOT_IN_XML.sub("", value)
    if isinstance(value, Mapping):
        return {name: _ready(document, item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_ready(document, item) for item in value]
    return value


@lru_cache(maxsize=1)
def _inline_picture() -> type:
    from docx.shared import Mm
    from docxtpl import InlineImage

    class SpokenImage(InlineImage):  # type: ignore[misc]
        """A picture that tells people who cannot see it what it shows."""

        def __init__(self, document: DocxTemplate, picture: Picture) -> None:
            super().__init__(document, str(picture.path), width=Mm(picture.width_mm))
            self.says = picture.says

        def _insert_image(self) -> str:
            written: str = super()._insert_image()
            return written.replace("<wp:docPr ", f'<wp:docPr descr="{escape(self.says)}" ', 1)

        __str__ = __html__ = __unicode__ = _insert_image

    return SpokenImage


@lru_cache(maxsize=1)
def _template() -> type[DocxTemplate]:
    from docxtpl import DocxTemplate

    class KeptTemplate(DocxTemplate):  # type: ignore[misc]
        """Cleans the same template text once only: that is a third of the time a paper takes."""

        def patch_xml(self, src_xml: str) -> str:
            return _patched(src_xml)

    @lru_cache(maxsize=KEPT_PARTS)
    def _patched(source: str) -> str:
        return str(DocxTemplate.patch_xml(KeptTemplate.__new__(KeptTemplate), source))

    return KeptTemplate


@lru_cache(maxsize=1)
def _environment() -> SandboxedEnvironment:
    """A template comes from an office's upload: it may look at the context and at nothing else."""
    from jinja2 import StrictUndefined
    from jinja2.sandbox import SandboxedEnvironment

    class KeptEnvironment(SandboxedEnvironment):
        """Compiles the same template text once only."""

        compiled: ClassVar[dict[Any, Template]] = {}

        def from_string(self, source: Any, *args: Any, **options: Any) -> Template:
            found = None if args or options else self.compiled.get(source)
            if found is None:
                found = super().from_string(source, *args, **options)
                if len(self.compiled) >= KEPT_PARTS:
                    self.compiled.clear()
                self.compiled[source] = found
            return found

    return KeptEnvironment(autoescape=True, undefined=StrictUndefined)


# --- checking a template -----------------------------------------------------------------------------------------

Shape = Mapping[str, Any]
"""Names a template may use: "" for text, [shape] for a list, a mapping for what has named parts."""


def template_faults(path: Path, shape: Shape, needed: Iterable[tuple[str, str]]) -> list[str]:
    """What is wrong with a template, each as a sentence that names the variable.

    Parameters
    ----------
    path : the template.
    shape : the names it may use.
    needed : dotted name, such as "options.price", and what it is, for what must not be missing.

    Returns
    -------
    Sentences; none for a template that can be used.
    """
    from jinja2 import TemplateSyntaxError

    try:
        source = _tags(path)
    except (OSError, KeyError, ValueError, zipfile.BadZipFile):
        return ["The file is not a Word document (.docx). Save it as .docx and try again."]
    try:
        tree = _environment().parse(source)
    except TemplateSyntaxError as error:
        return [f"A tag cannot be read: {error.message}. Look for a tag that is not closed: {_near(source, error)}"]
    reader = _NameReader(shape)
    reader.block(tree.body, {})
    missing = [
        f"The template does not show {{{{ {name} }}}}, {what}. Put it back." for name, what in needed
        if name not in reader.seen
    ]  # fmt: skip
    return list(dict.fromkeys(reader.faults)) + missing


def _tags(path: Path) -> str:
    """The text of body, headers, footers and properties as jinja reads it."""
    from docx import Document
    from docx.opc.exceptions import PackageNotFoundError

    try:
        document = Document(str(path))
    except PackageNotFoundError:
        raise ValueError("no package") from None
    blank = _template()(str(path))
    parts = [document.element.body]
    for section in document.sections:
        parts += [section.header._element, section.footer._element]
    properties = document.core_properties
    texts = [blank.patch_xml(blank.xml_to_string(part)) for part in parts]
    return "\n".join([*texts, properties.title, properties.subject, properties.comments])


def _near(source: str, error: Any) -> str:
    lines = source.splitlines()
    line = lines[min(error.lineno, len(lines)) - 1] if lines else ""
    tags = re.findall(r"{[{%].{0,80}?[%}]}", re.sub(r"<[^>]+>", "", line))
    return ", ".join(tags[:3]) or "the text round it holds no whole tag"


class _NameReader:
    """Follows every name of a template through its loops to the shape of the context."""

    def __init__(self, shape: Shape) -> None:
        self.shape = shape
        self.faults: list[str] = []
        self.seen: set[str] = set()

    def block(self, body: Iterable[nodes.Node], local: Mapping[str, tuple[str, Any]]) -> None:
        from jinja2 import nodes

        scope = dict(local)
        for node in body:
            if isinstance(node, nodes.For):
                name, shape = self.value(node.iter, scope)
                inner = shape[0] if isinstance(shape, list) else None
                if shape is not None and not isinstance(shape, list):
                    self.faults.append(f"{{{{ {name} }}}} is not a list; write it without a loop.")
                target = node.target.name if isinstance(node.target, nodes.Name) else ""
                self.block(node.body, scope | {target: (name, inner), "loop": ("loop", None)})
                self.block(node.else_, scope)
            elif isinstance(node, nodes.If):
                self.value(node.test, scope)
                for part in (node.body, node.elif_, node.else_):
                    self.block(part, scope)
            elif isinstance(node, nodes.Assign) and isinstance(node.target, nodes.Name):
                scope[node.target.name] = self.value(node.node, scope)
            else:
                self.value(node, scope)

    def value(self, node: nodes.Node, scope: Mapping[str, tuple[str, Any]]) -> tuple[str, Any]:
        """Dotted name and shape of an expression; shape None where it cannot be told."""
        from jinja2 import nodes

        if isinstance(node, nodes.Name):
            if node.name in scope:
                return scope[node.name]
            return self.known(node.name, self.shape, node.name)
        if isinstance(node, nodes.Getattr):
            name, shape = self.value(node.node, scope)
            dotted = f"{name}.{node.attr}"
            if shape is None:
                return dotted, None
            return self.known(node.attr, shape if isinstance(shape, Mapping) else {}, dotted)
        for child in node.iter_child_nodes():
            self.value(child, scope)
        return "", None

    def known(self, name: str, among: Mapping[str, Any], dotted: str) -> tuple[str, Any]:
        if name in among:
            self.seen.add(dotted)
            return dotted, among[name]
        import difflib

        near = difflib.get_close_matches(name, among, n=1, cutoff=0.6)
        hint = f" Did you mean {near[0]}?" if near else ""
        self.faults.append(f"{{{{ {dotted} }}}} is not known.{hint} Take it out or write a known name.")
        return dotted, None

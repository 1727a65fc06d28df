"""Elements of an HPXML file, one by one."""

from __future__ import annotations

import re

from lxml import etree

from reports.exports.hpxml_words import NAMESPACE

# What XML 1.0 cannot hold.
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def put(parent: etree._Element, name: str, text: str | float | None = None, **attributes: str) -> etree._Element:
    """Append an element of the standard and return it.

    Parameters
    ----------
    parent : gets the new element as its last child.
    name : local name.
    text : its text; a number is written with nine significant digits.
    attributes : its attributes.
    """
    element = etree.SubElement(parent, f"{{{NAMESPACE}}}{name}", attributes)
    if isinstance(text, str):
        element.text = _NOT_XML.sub("\ufffd", text)
    elif text is not None:
        element.text = f"{text:.9g}"
    return element


def put_id(parent: etree._Element, element: str, id_: str, *, name: str = "", sameas: str = "") -> None:
    """Append the identifier of a part: `id_` for references, `name` as people call it, `sameas` in another building."""
    attributes = {"id": id_} | ({"sameas": sameas} if sameas else {})
    identifier = put(parent, element, **attributes)
    if name:
        put(identifier, "SendingSystemIdentifierType", "name")
        put(identifier, "SendingSystemIdentifierValue", name)


def put_truth(parent: etree._Element, name: str, truth: bool) -> None:
    """Append an element that is true or false."""
    put(parent, name, "true" if truth else "false")

"""Nested parts to an XML document; empty ones are left out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias, Union

from lxml import etree

Part: TypeAlias = tuple[str, Union[str, "Sequence[Part]"]]


def document(root: etree.QName, parts: Sequence[Part]) -> bytes:
    """UTF-8 with its declaration.

    Parameters
    ----------
    root : QName
        Name of the root; its namespace is that of all parts.
    parts : sequence of (name, text or parts)
        In the order of the schema.
    """
    namespace = str(root.namespace)
    top = etree.Element(root, nsmap={None: namespace})  # type: ignore[dict-item]  # as lxml has it
    add(top, namespace, parts)
    made: bytes = etree.tostring(top, xml_declaration=True, encoding="UTF-8", pretty_print=True)
    return made


def add(parent: etree._Element, namespace: str, parts: Sequence[Part]) -> None:
    """Add parts to an element."""
    for name, content in parts:
        if not content:
            continue
        element = etree.SubElement(parent, etree.QName(namespace, name))
        if isinstance(content, str):
            element.text = content
        else:
            add(element, namespace, content)

"""XML documents from bytes: parsed without network, entities or surprises, and what is wrong with them, by line."""

from dataclasses import dataclass
from typing import Any

from lxml import etree


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing wrong with a document."""

    line: int  # from 1, 0 where the whole document is meant
    what: str


def parse(raw: bytes) -> tuple[Any, tuple[Problem, ...]]:
    """(root element, ()) or (None, problems) if the bytes are not well-formed XML."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False)
    try:
        return etree.fromstring(raw, parser), ()
    except etree.XMLSyntaxError as error:
        return None, (Problem(line=int(error.lineno or 0), what=f"not well-formed XML: {error.msg}"),)


def local(element: Any) -> str:
    """Name of an element without its namespace; "" for comments."""
    return str(etree.QName(element).localname) if isinstance(element.tag, str) else ""


def space(element: Any) -> str:
    """Namespace of an element."""
    return str(etree.QName(element).namespace or "") if isinstance(element.tag, str) else ""


def text(element: Any) -> str:
    """Text of an element without white space around it."""
    return (element.text or "").strip()


def lacking(element: Any, attributes: tuple[str, ...]) -> list[Problem]:
    """A problem for each attribute that is missing."""
    have = set(element.attrib)
    return [
        Problem(line=int(element.sourceline or 0), what=f"{local(element)} lacks the attribute {name}")
        for name in attributes
        if name not in have
    ]

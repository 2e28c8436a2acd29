"""Reads and checks inspection results in QIF 3.0 (ISO 23952:2020) documents.

The check here is our own list of rules after the public schema, not a run of the schema itself (which is not shipped):
version and id, unit lists, unique ids, references that lead somewhere, the parts a feature or characteristic must
have, and closed word lists. As in the schema, the `n` counts are not compared with what follows.
Source: QIF 3.0 schema, public (word lists from memory).
"""

import math
import re
from dataclasses import dataclass
from typing import Any

from halfthou.base.errors import CannotAnswer
from halfthou.files.xml import Problem, lacking, local, parse, space, text

NAMESPACE = "http://qifstandards.org/xsd/qif3"
_UUID = re.compile(r"[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}")
STATUS = frozenset(["PASS", "FAIL", "REWORK", "SYSTEM_ERROR", "UNKNOWN", "NOT_CALCED", "NOT_SPECIFIED", "UNDEFINED"])
WORDS: dict[str, frozenset[str]] = {
    "CharacteristicStatusEnum": STATUS,
    "InspectionStatusEnum": STATUS | {"INCOMPLETE"},
    "InternalExternal": frozenset(["INTERNAL", "EXTERNAL", "NOT_APPLICABLE"]),
    "DefinedAsLimit": frozenset(["true", "false", "1", "0"]),
}
#: A reference element must lead to an element whose name ends so.
LEADS_TO = {
    "FeatureDefinitionId": "FeatureDefinition",
    "FeatureNominalId": "FeatureNominal",
    "FeatureItemId": "FeatureItem",
    "CharacteristicDefinitionId": "CharacteristicDefinition",
    "CharacteristicNominalId": "CharacteristicNominal",
    "CharacteristicItemId": "CharacteristicItem",
    "FormalStandardId": "Standard",
}
#: Elements (by the end of their name) and the children they cannot be without.
NEEDS = (
    (re.compile(r"\w+FeatureItem"), ("FeatureName", "DeterminationMode")),
    (re.compile(r"\w+FeatureNominal"), ("FeatureDefinitionId",)),
    (re.compile(r"\w+CharacteristicNominal"), ("CharacteristicDefinitionId",)),
    (re.compile(r"\w+CharacteristicMeasurement"), ("Status", "CharacteristicItemId")),
    (re.compile(r"MeasurementResults"), ("InspectionStatus",)),
    (re.compile(r"LinearUnit|AngularUnit|AreaUnit|ForceUnit|MassUnit"), ("SIUnitName",)),
    (re.compile(r"UnitConversion"), ("Factor",)),
)
NUMBERS = frozenset(["MaxValue", "MinValue", "TargetValue", "Factor", "Offset", "Diameter", "Value"])
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|INF|-INF|NaN")


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One measured characteristic; numbers in the document's own units, nan where not given."""

    name: str
    status: str
    value: float
    u: float  # combined uncertainty
    target: float
    low: float  # as written: a deviation from the target unless `as_limit`
    high: float
    as_limit: bool


def problems(raw: bytes) -> tuple[Problem, ...]:
    """Everything the rules find wrong with a document; empty if nothing."""
    root, found = parse(raw)
    if root is None:
        return found
    if local(root) != "QIFDocument" or space(root) != NAMESPACE:
        return (Problem(line=int(root.sourceline or 0), what="this is not a QIF 3 document"),)
    out = lacking(root, ("versionQIF", "idMax"))
    version, most = root.get("versionQIF"), root.get("idMax")
    if version is not None and not re.fullmatch(r"3\.\d+\.\d+", version):
        out.append(Problem(line=int(root.sourceline), what=f"version {version!r} is not 3.x.y"))
    if most is not None and not re.fullmatch(r"\d+", most):
        out.append(Problem(line=int(root.sourceline), what=f"idMax {most!r} is not a whole number"))
    own = [child for child in root if local(child) == "QPId"]
    if len(own) != 1:
        out.append(Problem(line=int(root.sourceline), what=f"there must be one QPId, not {len(own)}"))
    out += [
        Problem(line=int(e.sourceline), what=f"{text(e)!r} is not a UUID")
        for e in root.iter()
        if local(e) == "QPId" and not _UUID.fullmatch(text(e))
    ]
    return tuple(out + _ids(root) + _elements(root))


def _ids(root: Any) -> list[Problem]:
    """Ids used twice, and references that lead nowhere or to the wrong kind."""
    out: list[Problem] = []
    kinds: dict[str, str] = {}
    for element in root.iter():
        number = element.get("id") if local(element) else None
        if number is None:
            continue
        if not re.fullmatch(r"\d+", number):
            out.append(Problem(line=int(element.sourceline), what=f"id {number!r} is not a whole number"))
        elif number in kinds:
            out.append(Problem(line=int(element.sourceline), what=f"id {number} is used twice"))
        kinds.setdefault(number, local(element))
    for element in root.iter():
        name = local(element)
        if name not in LEADS_TO or element.get("xId") is not None:
            continue
        kind = kinds.get(text(element))
        if kind is None or not kind.endswith(LEADS_TO[name]):
            what = f"{name} {text(element)!r} leads to no {LEADS_TO[name]}"
            out.append(Problem(line=int(element.sourceline), what=what))
    return out


def _elements(root: Any) -> list[Problem]:
    """Missing children, words outside their list, numbers that are none."""
    out: list[Problem] = []
    for element in root.iter():
        name, line = local(element), int(element.sourceline or 0)
        if not name:
            continue
        children = {local(child) for child in element}
        for pattern, needed in NEEDS:
            if pattern.fullmatch(name):
                out += [Problem(line=line, what=f"{name} lacks {n}") for n in needed if n not in children]
        if name in WORDS and text(element) not in WORDS[name]:
            out.append(
                Problem(line=line, what=f"{name}: {text(element)!r} is not one of {', '.join(sorted(WORDS[name]))}")
            )
        if name in NUMBERS and not children and not _NUMBER.fullmatch(text(element)):
            out.append(Problem(line=line, what=f"{name}: {text(element)!r} is not a number"))
    return out


def read(raw: bytes) -> tuple[Measured, ...]:
    """Every measured characteristic with its limits; CannotAnswer with the first problem if the rules find one."""
    wrong = problems(raw)
    if wrong:
        raise CannotAnswer(f"line {wrong[0].line}: {wrong[0].what}")
    root, _ = parse(raw)
    by_id = {e.get("id"): e for e in root.iter() if local(e) and e.get("id") is not None}
    out = []
    for element in root.iter():
        if not local(element).endswith("CharacteristicMeasurement"):
            continue
        item = by_id[_child(element, "CharacteristicItemId")]
        nominal = by_id.get(_child(item, "CharacteristicNominalId"))
        definition = by_id.get(_child(nominal, "CharacteristicDefinitionId")) if nominal is not None else None
        value = next((e for e in element if local(e) == "Value"), None)
        out.append(
            Measured(
                name=_child(item, "Name"),
                status=_deep(element, "CharacteristicStatusEnum"),
                value=_number(text(value) if value is not None else ""),
                u=_number(value.get("combinedUncertainty", "") if value is not None else ""),
                target=_number(_child(nominal, "TargetValue")),
                low=_number(_deep(definition, "MinValue")),
                high=_number(_deep(definition, "MaxValue")),
                as_limit=_deep(definition, "DefinedAsLimit") in ("true", "1"),
            )
        )
    return tuple(out)


def _child(element: Any, name: str) -> str:
    """Text of the first child of this name, "" if there is none."""
    return next((text(e) for e in element if local(e) == name), "") if element is not None else ""


def _deep(element: Any, name: str) -> str:
    """Text of the first descendant of this name, "" if there is none."""
    return next((text(e) for e in element.iter() if local(e) == name), "") if element is not None else ""


def _number(word: str) -> float:
    """A number, nan for an empty word."""
    return float(word) if word else math.nan

"""A mesh as 3MF: core model in mm with exact coordinates, labels in an attached table, deviations as colours."""

import io
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from halfthou.base.watch import QUIET, Watch
from halfthou.files.out_colour import Scale, hex_of, palette, scale_of
from halfthou.files.out_mesh import OutFile, not_closed, not_empty, put
from halfthou.nouns.mesh import LABELS, Mesh

#: Names fixed by the open 3MF Core Specification 1.3 and its Materials and Properties Extension (from memory).
CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
COLOURS = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
MODEL_KIND = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
RELATIONS_KIND = "application/vnd.openxmlformats-package.relationships+xml"
MODEL_RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
#: Ours: what the attached tables are.
LABELS_RELATION, DEVIATION_RELATION = "urn:halfthou:labels:1", "urn:halfthou:deviation:1"
LABELS_PART, DEVIATION_PART = "Metadata/labels.csv", "Metadata/deviation.csv"
BLOCK = 20_000  # rows written between two looks at the watch
_XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_DATE = (1980, 1, 1, 0, 0, 0)  # the first a zip can hold: equal meshes give equal bytes


def threemf_of(mesh: Mesh, limit_mm: float | None = None, watch: Watch = QUIET) -> OutFile:
    """The mesh as 3MF. Coordinates are written so that reading gives the same 64-bit floats.

    `Metadata/labels.csv` has one line a triangle, in the order of the model: operation, tool, move. With deviations,
    `Metadata/deviation.csv` has one line a point (empty = not known), and the corners carry colours with full colour at
    ± limit_mm (None: the largest one). Raises ValueError for an empty mesh or a limit not above 0, Cancelled.
    """
    not_empty(mesh, "3MF")
    open_ = not_closed(mesh)
    said = [*open_, *(["it is written as a surface, not as a solid"] if open_ else [])]
    scale = None if mesh.deviation_mm is None else scale_of(mesh.deviation_mm, limit_mm)
    relations = [(LABELS_RELATION, LABELS_PART)]
    parts = [("3D/3dmodel.model", _model(mesh, scale, closed=not open_)), (LABELS_PART, _labels(mesh))]
    if scale is not None and mesh.deviation_mm is not None:
        said.append(scale.words())
        relations.append((DEVIATION_RELATION, DEVIATION_PART))
        parts.append((DEVIATION_PART, _deviations(mesh.deviation_mm)))
    package = [
        ("[Content_Types].xml", iter([_kinds()])),
        ("_rels/.rels", iter([_relations([(MODEL_RELATION, "3D/3dmodel.model")])])),
        *parts,
        ("3D/_rels/3dmodel.model.rels", iter([_relations(relations)])),
    ]
    return OutFile(data=_zip(package, watch), said=tuple(said))


def write_3mf(mesh: Mesh, path: Path, limit_mm: float | None = None, watch: Watch = QUIET) -> tuple[str, ...]:
    """Write it; returns what is to be said about the file. Raises as `threemf_of`, and InputError (F591)."""
    return put(path, threemf_of(mesh, limit_mm, watch))


def _blocks(rows: NDArray[Any]) -> Iterator[list[Any]]:
    """The rows as lists, some at a time."""
    for first in range(0, len(rows), BLOCK):
        yield rows[first : first + BLOCK].tolist()


def _model(mesh: Mesh, scale: Scale | None, closed: bool) -> Iterator[str]:
    name = "".join(one if one.isprintable() else " " for one in mesh.name)  # XML takes no control characters
    space = f' xmlns:m="{COLOURS}"' if scale else ""
    yield f'{_XML}<model unit="millimeter" xml:lang="en" xmlns="{CORE}"{space}>\n'
    yield '<metadata name="Application">halfthou</metadata>\n'
    group, own, slot = "", "", np.zeros(0, dtype=np.int64)
    if scale is not None and mesh.deviation_mm is not None:
        used, slot = np.unique(scale.step_of(mesh.deviation_mm), return_inverse=True)
        colours = "".join(f'<m:color color="{hex_of(one)}FF"/>' for one in palette()[used])
        yield f'<metadata name="Description">{escape(scale.words())}</metadata>\n'
        group, own = f'<m:colorgroup id="2">{colours}</m:colorgroup>\n', ' pid="2" pindex="0"'
    kind = "model" if closed else "surface"
    yield f'<resources>\n{group}<object id="1" type="{kind}" name={quoteattr(name)}{own}><mesh>\n<vertices>\n'
    for points in _blocks(mesh.points_mm + 0.0):
        yield "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>\n' for x, y, z in points)
    yield "</vertices>\n<triangles>\n"
    if scale is None:
        for rows in _blocks(mesh.triangles):
            yield "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n' for a, b, c in rows)
    else:
        for rows in _blocks(np.concatenate([mesh.triangles, slot.reshape(-1)[mesh.triangles]], axis=1)):
            yield "".join(
                f'<triangle v1="{a}" v2="{b}" v3="{c}" pid="2" p1="{p}" p2="{q}" p3="{r}"/>\n'
                for a, b, c, p, q, r in rows
            )
    yield '</triangles>\n</mesh></object>\n</resources>\n<build><item objectid="1"/></build>\n</model>\n'


def _labels(mesh: Mesh) -> Iterator[str]:
    yield ",".join(LABELS) + "\n"
    for rows in _blocks(np.stack([getattr(mesh, name) for name in LABELS], axis=1)):
        yield "".join(f"{op},{tool},{move}\n" for op, tool, move in rows)


def _deviations(deviation_mm: NDArray[np.float64]) -> Iterator[str]:
    yield "deviation_mm\n"
    for values in _blocks(deviation_mm + 0.0):
        yield "".join("\n" if v != v else f"{v!r}\n" for v in values)


def _kinds() -> str:
    kinds = {"rels": RELATIONS_KIND, "model": MODEL_KIND, "csv": "text/csv"}
    inner = "".join(f'<Default Extension="{end}" ContentType="{kind}"/>' for end, kind in kinds.items())
    return f'{_XML}<Types xmlns="{_PACKAGE}/content-types">{inner}</Types>\n'


def _relations(targets: list[tuple[str, str]]) -> str:
    inner = "".join(
        f'<Relationship Id="rel{k}" Type="{kind}" Target="/{part}"/>' for k, (kind, part) in enumerate(targets)
    )
    return f'{_XML}<Relationships xmlns="{_PACKAGE}/relationships">{inner}</Relationships>\n'


def _zip(parts: list[tuple[str, Iterator[str]]], watch: Watch) -> bytes:
    """The package; dates, system and rights are fixed, so that equal parts give equal bytes on one version of zlib."""
    box = io.BytesIO()
    with zipfile.ZipFile(box, "w", compression=zipfile.ZIP_DEFLATED, compresslevel=6) as package:
        for k, (name, texts) in enumerate(parts):
            info = zipfile.ZipInfo(name, date_time=_DATE)
            info.compress_type, info.create_system, info.external_attr = zipfile.ZIP_DEFLATED, 0, 0
            with package.open(info, "w") as part:
                for text in texts:
                    watch.step("writing 3MF", k, len(parts))
                    part.write(text.encode("utf-8"))
    return box.getvalue()

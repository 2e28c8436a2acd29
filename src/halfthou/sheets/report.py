"""The proof report as PDF: verdict, pictures of the part after each operation, findings, time, cautions."""

from pathlib import Path
from typing import Any

import numpy as np

from halfthou.base.errors import Complaint, JobError
from halfthou.base.finding import Finding, Severity
from halfthou.base.place import Place
from halfthou.base.units import Display, duration
from halfthou.base.value import Unknown, Value
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.answers import Proof
from halfthou.nouns.revision import Revision
from halfthou.sheets.against_sheet import against_data
from halfthou.sheets.load_section import load_section
from halfthou.sheets.plots import depth_plot, time_plot
from halfthou.sheets.raster import PALETTE, View, picture, png
from halfthou.sheets.relief import relief
from halfthou.sheets.typeset import set_pages

CAUTIONS = (
    "A proof is not a guard: interlocks, guards, door and emergency stop follow the machine builder's manual and local rules.",
    '"No contact found" holds only for what the files say: tool seating, clamp tightness, chips, hoses and a wrong part loaded '
    "are not seen. The first run is watched, at reduced rapid, with a hand at feed hold.",
    "Never exceed the marked maximum speed of a tool or holder. Clamp forces: vise builder.",
    "Running without anyone beside the machine: fire, coolant loss, chip build-up, thrown parts. Ask machine builder, insurer "
    "and fire code first, above all with magnesium, or titanium and oil.",
    "Nothing here is written to a machine. A person reads, loads and answers for the program.",
    "This is a record, not an approval: airworthiness and release stay with those authorised.",
)


def write_report(proof: Proof, path: Path, watch: Watch = QUIET, revision: Revision | None = None) -> None:
    """Write the report, with a section on what differs from another revision where one is given.

    Raises JobError if the file cannot be written.
    """
    data, pictures = report_data(proof, watch)
    if revision is not None:
        data["against"] = against_data(revision)
    write_pages(set_pages("proof.typ", data, pictures)[0], path)


def write_pages(pdf: bytes, path: Path) -> None:
    """Put a report on the disk; raises JobError (F902)."""
    try:
        path.write_bytes(pdf)
    except OSError as error:
        raise JobError(
            [
                Complaint(
                    code="F902",
                    place=Place(file=str(path)),
                    what=f"The report cannot be written: {error.strerror}.",
                    do="Name a file in a folder that exists and may be written to.",
                )
            ]
        ) from error


def report_data(proof: Proof, watch: Watch = QUIET) -> tuple[dict[str, Any], dict[str, bytes]]:
    """What the layout needs: plain data, and pictures by file name."""
    show = Display(length_unit=proof.job.length_unit)
    pictures: dict[str, bytes] = {}
    shown, legend = _part_pictures(proof, pictures, watch)
    bars = depths = ""
    if proof.tool_times:
        bars, depths = "bars.svg", "depths.svg"
        pictures[bars], pictures[depths] = time_plot(proof), depth_plot(proof, show)
    job = proof.job
    data: dict[str, Any] = {
        "title": f"{job.name} rev {job.revision}" if job.revision else job.name,
        "paper": "a4" if job.length_unit == "mm" else "us-letter",
        "stamp": proof.stamp.short,
        "machine": job.machine.name or "not stated",
        "material": job.material or "material not stated",
        "counts": f"{len(proof.moves.moves)} moves, {len(job.ops)} operation{'s' if len(job.ops) != 1 else ''}",
        "verdict": proof.verdict.name if proof.verdict is not None else "",
        "words": proof.words,
        "invented": job.invented,
        "pictures": shown,
        "legend": legend,
        "findings": [
            _finding(f, proof, show) for f in sorted(proof.findings, key=lambda f: (-f.severity, f.op, f.move))
        ],
        "cycle": _cycle(proof),
        "tools": _tools(proof, show),
        "bars": bars,
        "depths": depths,
        "approaches": _approaches(proof, show),
        "windows": _windows(proof, show),
        "design": f"{proof.design_points} points on the design compared; lengths in {show.length_unit}.",
        "surfaces": [
            [name, show.length(gouge, unit=False), show.length(left, unit=False)]
            for name, gouge, left in sorted(proof.design_worst, key=lambda row: -max(row[1], row[2]))[:12]
        ],
        "not_checked": list(proof.not_checked),
        "assumptions": list(proof.assumptions),
        "questions": list(proof.questions),
        "cautions": list(CAUTIONS),
        "version": proof.stamp.tool_version,
        "inputs": [f"{role} {sha[:10]}" for role, sha in proof.stamp.inputs],
    }
    if proof.loads is not None and proof.loads.tools:
        watch.step("drawing the loads", 0, 1)
        data["loads"], own = load_section(proof.loads, job, show)
        pictures.update(own)
    return data, pictures


def _part_pictures(
    proof: Proof, pictures: dict[str, bytes], watch: Watch
) -> tuple[list[dict[str, str]], list[dict[str, str]]]:
    """One picture a cut record, coloured by tool, from the side the tool came from."""
    numbers = sorted({int(t) for t in proof.moves.moves["tool"]}) if len(proof.moves.moves) else []
    index = {number: k for k, number in enumerate(numbers)}
    group = np.array([index[int(t)] for t in proof.moves.moves["tool"]], dtype=np.int32)
    colours = {k: PALETTE[k % len(PALETTE)] for k in range(len(numbers))}
    shown: list[dict[str, str]] = []
    used: set[int] = set()
    for k, record in enumerate(proof.cuts):
        watch.step("drawing the part", k, len(proof.cuts))
        shape = relief(record, group)
        used |= {int(g) for g in np.unique(shape.group)}
        name = f"part{k}.png"
        pictures[name] = png(picture(shape, view=View(), colours=colours))
        op = proof.job.ops[record.op]
        spot = op.places[record.place].name if len(op.places) > 1 else ""
        shown.append({"file": name, "caption": f"after {op.name}{', ' + spot if spot else ''}"})
    names = {tool.number: tool.name for tool in proof.job.tools}
    legend = [
        {"name": f"T{numbers[g]} {names.get(numbers[g], '')}".strip(), "colour": _hex(colours[g])}
        for g in sorted(used)
        if g >= 0
    ]
    if -1 in used:
        legend.append({"name": "raw stock", "colour": "#c7c9cc"})
    return shown, legend


def _hex(colour: tuple[float, float, float]) -> str:
    return "#" + "".join(f"{round(255 * c):02x}" for c in colour)


def _finding(finding: Finding, proof: Proof, show: Display) -> dict[str, Any]:
    place = finding.place
    at = [proof.job.ops[finding.op].name] if 0 <= finding.op < len(proof.job.ops) else []
    if place.file:
        at.append(f"{Path(place.file).name} line {place.line}" if place.line else Path(place.file).name)
    if finding.tool >= 0:
        at.append(f"T{finding.tool}")
    if finding.count > 1:
        at.append(f"{finding.count} blocks, the first shown")
    amount = ""
    if isinstance(finding.amount, Value):
        amount = _value(finding.amount, show)
    elif isinstance(finding.amount, Unknown):
        amount = f"Amount not known: {finding.amount.reason}"
    if finding.point_mm is not None:
        x, y, z = (show.length(v, unit=False) for v in finding.point_mm)
        amount = f"{amount} at X{x} Y{y} Z{z}".strip()
    return {
        "severity": finding.severity.name,
        "code": finding.code,
        "what": finding.what,
        "at": ", ".join(at),
        "text": place.text.strip()[:110] if place.line else "",
        "amount": amount,
        "why": finding.why,
        "do": finding.do,
        "more": list(finding.more),
    }


def _value(value: Value, show: Display) -> str:
    if value.unit == "mm":
        tail = f" (within {show.length(value.bound)})" if value.bound else ""
        return show.length(value.best) + tail
    if value.unit == "s":
        return duration(value.best)
    if value.unit == "1":
        return f"{100 * value.best:.3g} %" + (f" (within {100 * value.bound:.2g} %)" if value.bound > 0 else "")
    return f"{value.best:.4g} {value.unit}"


def _cycle(proof: Proof) -> str:
    parts = []
    for k, (op, result) in enumerate(zip(proof.job.ops, proof.cycle_ops, strict=True)):
        if isinstance(result, Value):
            parts.append(f"{op.name} {duration(result.best)}{_spread(proof.band_s(k))}")
        else:
            parts.append(f"{op.name} not known: {result.reason}")
    if len(parts) > 1 and isinstance(proof.cycle, Value):
        parts.append(f"together {duration(proof.cycle.best)}{_spread(proof.band_s())}")
    return "; ".join(parts) + "."


def _tools(proof: Proof, show: Display) -> list[list[str]]:
    return [
        [
            proof.job.ops[t.op].name,
            f"T{t.tool}",
            t.name[:30],
            duration(t.cutting_s),
            duration(t.rapid_s),
            duration(t.other_s),
            show.length(t.lowest_z_mm, unit=False) if t.lowest_z_mm is not None else "–",
            str(t.moves),
        ]
        for t in proof.tool_times
    ]


def _approaches(proof: Proof, show: Display) -> list[list[str]]:
    near = sorted((a for a in proof.approaches if a.clearance_mm >= 0), key=lambda a: a.clearance_mm)[:12]
    return [
        [
            proof.job.ops[a.op].name,
            f"T{a.tool}",
            a.part,
            a.body,
            show.length(a.clearance_mm),
            show.length(a.bound_mm, unit=False),
            f"{Path(a.file).name}:{a.line}",
        ]
        for a in near
    ]


def _windows(proof: Proof, show: Display) -> list[list[str]]:
    rows = []
    for w in proof.windows:
        for axis in range(3):
            low, high, given = w.low_mm[axis], w.high_mm[axis], w.given_mm[axis]
            if low is not None and high is not None:
                fits = show.length(given) if given is not None else "not given"
                rows.append(
                    [
                        proof.job.ops[w.op].name,
                        _system(w.system),
                        "XYZ"[axis],
                        show.length(low),
                        show.length(high),
                        fits if low <= high else "no value fits",
                    ]
                )
    return rows


def _system(system: int) -> str:
    if system > 100:
        return f"G54.1 P{system - 100}"
    return ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")[max(0, system - 1)]


def severity_words(severity: Severity | None) -> str:
    """The severity as a word for a heading."""
    return severity.name if severity is not None else "NOTHING FOUND"


def _spread(band_s: tuple[float, float]) -> str:
    """The band of a time in words."""
    return f" ({duration(band_s[0])} to {duration(band_s[1])})"

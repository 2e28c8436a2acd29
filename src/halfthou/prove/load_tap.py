"""Taps: does feed over speed give the pitch, and can the holder make up for what is missing?"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding, Severity
from halfthou.base.table import Rows
from halfthou.base.units import Display
from halfthou.base.value import Value
from halfthou.nouns.job import Job
from halfthou.nouns.loads import Loads, ToolLoads
from halfthou.nouns.moves import MoveList

RIGID_MM = 0.02
"""Drift between feed and thread over the depth that a rigid holder's own play takes (common practice, no source)."""
FLOATING_MM = 3.0
"""Travel that a floating holder has one way (common practice, no source: see the holder's sheet)."""


def tap_findings(loads: Loads, own: ToolLoads, mine: NDArray[np.int64], moves: MoveList, job: Job) -> Iterator[Finding]:
    """P707: over the tapped depth, feed and pitch drift apart by more than the holder can take."""
    tool = next(t for t in job.tools if t.number == own.tool)
    if tool.kind != "tap":
        return
    if tool.pitch_mm <= 0:
        return
    table: Rows = loads.table[mine]
    rows = moves.moves[table["move"]]
    per_turn = rows["feed_mm_per_s"] / (np.abs(rows["spindle_rpm"]) / 60.0)
    depth = np.abs(rows["end_mm"][:, 2] - rows["start_mm"][:, 2])
    drift = depth * (per_turn / tool.pitch_mm - 1.0)
    k = int(np.argmax(np.abs(drift)))
    limit = FLOATING_MM if tool.floating else RIGID_MM
    if abs(drift[k]) <= limit:
        return
    show = Display(length_unit=job.length_unit)
    right = tool.pitch_mm * float(np.abs(rows["spindle_rpm"][k])) / 60.0
    holder = "a floating holder gives way about 3 mm (look at its sheet)" if tool.floating else "its holder is rigid"
    move = int(table["move"][k])
    yield Finding(
        code="P707", severity=Severity.STOP if abs(drift[k]) > 10 * limit or not tool.floating else Severity.CARE,
        place=moves.place(move, "F"), move=move, op=own.op, tool=own.tool, part="cutter",
        what=f"T{own.tool} {own.name}: {show.length(float(per_turn[k]))} a turn on a thread of {show.length(tool.pitch_mm)}: {show.length(float(abs(drift[k])))} off over the depth.",
        why=f"The thread pulls the tap, the feed pushes it; {holder}. A synchronous cycle takes the pitch from F and S.",
        do=f"F for this speed and pitch is {show.feed(right)}.",
        amount=Value(best=float(abs(drift[k])), u=0.0, unit="mm", bound=0.001), limit_mm=limit,
        count=int((np.abs(drift) > limit).sum()),
    )  # fmt: skip

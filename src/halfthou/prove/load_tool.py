"""What of a tool decides its loads: teeth, chip angle, stiffness at the tip with holder and spindle, each with its reason."""

import math
from dataclasses import dataclass

from halfthou.nouns.job import Job
from halfthou.nouns.tool import Tool, Zone
from halfthou.physics.deflect import CARBIDE_MPA, STEEL_MPA, Step, fluted_mm, stepped_stiffness_n_per_mm

NOSE_N_PER_MM = 5000.0
"""Lateral stiffness of a compact machine at the spindle nose, where none is stated (university notes)."""
STIFF_RATIO = 0.5  # an estimated stiffness may be off by this share either way (flute form, clamping, joint)
LIPS = 2  # edges of a drill whose list does not say
MILLS = (
    "flat",
    "ball",
    "bull",
    "face",
    "chamfer",
    "countersink",
    "counterbore",
    "dovetail",
    "tslot",
    "thread",
    "other",
)
POINTED = ("drill", "spot", "chamfer", "countersink")


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadTool:
    """One tool as the load model sees it."""

    tool: Tool
    teeth: int  # 0 not stated
    lead_rad: float  # angle of the edge to the axis direction of feed, π/2 where it is level
    helix_rad: float
    stiffness_n_per_mm: float
    stiffness_low_n_per_mm: float
    stiffness_high_n_per_mm: float
    said: str  # where the stiffness comes from
    open_questions: tuple[str, ...]


def load_tool(tool: Tool, job: Job) -> LoadTool:
    """The tool of a job with everything its loads need."""
    asked: list[str] = []
    teeth = tool.teeth
    if teeth == 0 and tool.kind in ("drill", "spot"):
        teeth = LIPS
        asked.append(f"T{tool.number}: teeth not stated, {LIPS} lips taken")
    elif teeth == 0 and tool.kind not in ("probe", "tap"):
        asked.append(f"T{tool.number}: teeth not stated, no chip thickness and no load of one tooth")
    lead = tool.point_rad / 2 if tool.kind in POINTED and tool.point_rad > 0 else math.pi / 2
    k, low, high, said = _stiffness(tool, job)
    return LoadTool(
        tool=tool, teeth=teeth, lead_rad=lead, helix_rad=tool.helix_rad, stiffness_n_per_mm=k,
        stiffness_low_n_per_mm=low, stiffness_high_n_per_mm=high, said=said, open_questions=tuple(asked),
    )  # fmt: skip


def _stiffness(tool: Tool, job: Job) -> tuple[float, float, float, str]:
    """(best, low, high, said) in N/mm: measured at the tip, or profile and spindle in series."""
    if tool.stiffness_n_per_mm:
        return (
            tool.stiffness_n_per_mm,
            0.9 * tool.stiffness_n_per_mm,
            1.1 * tool.stiffness_n_per_mm,
            "measured at the tip",
        )
    if tool.modes:
        soft = sum(1.0 / k for _, k, _ in tool.modes)
        return 1.0 / soft, 0.8 / soft, 1.2 / soft, "from the modes of a tap test"
    e = STEEL_MPA if tool.edge == "hss" else CARBIDE_MPA
    own = stepped_stiffness_n_per_mm(steps_of(tool, e))
    nose = job.machine.spindle.stiffness_n_per_mm or NOSE_N_PER_MM
    k = 1.0 / (1.0 / own + 1.0 / nose)
    edge = tool.edge or "carbide taken, not stated"
    at = "stated" if job.machine.spindle.stiffness_n_per_mm else "5 N/µm taken, not stated"
    said = f"estimated: turned profile ({edge}) and spindle nose ({at}), ± {100 * STIFF_RATIO:.0f} %"
    return k, k * (1 - STIFF_RATIO), k * (1 + STIFF_RATIO), said


def steps_of(tool: Tool, e_mpa: float) -> list[Step]:
    """Pieces from the gauge line down to the tip; the fluted part bends like a rod of 0.8 times its diameter."""
    steps: list[Step] = []
    points = tool.profile_mm
    for k in range(len(points) - 2, -1, -1):
        length = float(points[k + 1, 1] - points[k, 1])
        low, high = float(points[k, 0]), float(points[k + 1, 0])
        zone = int(tool.zone[k])
        if length <= 1e-9 or max(low, high) <= 0 or zone == Zone.NOSE:
            continue
        diameter = max(low + high, 0.2 * tool.diameter_mm)
        if zone == Zone.CUTTING and tool.kind != "face":
            diameter = fluted_mm(min(diameter, tool.diameter_mm) if diameter > 0 else tool.diameter_mm)
        own = STEEL_MPA if zone == Zone.HOLDER or tool.kind == "face" else e_mpa
        steps.append(Step(length_mm=length, diameter_mm=diameter, e_mpa=own))
    return steps or [Step(length_mm=max(tool.stick_out_mm, 1.0), diameter_mm=tool.diameter_mm, e_mpa=e_mpa)]

"""Every code of the prove room: its title and usual severity. Each has a page in docs/codes."""

from halfthou.base.finding import Code, Severity

#: Contacts of tool, holder and spindle with bodies and stock (clash*.py).
CONTACT_CODES = {
    code.code: code
    for code in (
        Code(code="P201", title="Cutter into a standing body"),
        Code(code="P202", title="Cutter into a standing body at rapid"),
        Code(code="P203", title="Neck or shank into a standing body"),
        Code(code="P204", title="Holder into a standing body"),
        Code(code="P205", title="Spindle nose into a standing body"),
        Code(code="P206", title="Probe into a standing body outside a probe move"),
        Code(code="P211", title="Rapid through material"),
        Code(code="P212", title="Neck or shank into the stock"),
        Code(code="P213", title="Holder into the stock"),
        Code(code="P214", title="Spindle nose into the stock"),
        Code(code="P215", title="Cutting with the spindle stopped"),
        Code(code="P216", title="Cutting with the spindle turning the wrong way"),
        Code(code="P217", title="Probe into the stock outside a probe move"),
        Code(code="P218", title="Spindle turns with the probe in it"),
        Code(code="P219", title="Coolant under pressure with the probe in the spindle"),
        Code(code="P220", title="Hole deeper than the cutting length", severity=Severity.CARE),
        Code(code="P221", title="Contact not ruled out", severity=Severity.CARE),
        Code(code="P222", title="Contact with the stock not decided", severity=Severity.CARE),
    )
}

#: The machined part against the design (compare*.py).
DESIGN_CODES = {
    code.code: code
    for code in (
        Code(code="P301", title="Gouge: cut into the design"),
        Code(code="P302", title="Left-over on the design", severity=Severity.CARE),
        Code(code="P303", title="Surface of the design not machined", severity=Severity.CARE),
        Code(code="P304", title="Left-over in inner corners", severity=Severity.NOTE),
        Code(code="P305", title="Raw stock does not reach the design"),
        Code(code="P306", title="Edge breaks differ from the design", severity=Severity.NOTE),
    )
}

#: Travels, spindle, magazine, lengths (reach.py).
REACH_CODES = {
    code.code: code
    for code in (
        Code(code="P207", title="Declared motion may meet a body", severity=Severity.CARE),
        Code(code="P101", title="Travel left"),
        Code(code="P102", title="Program longer than the travel"),
        Code(code="P103", title="Spindle speed out of range"),
        Code(code="P104", title="Speed above the marking of tool or holder"),
        Code(code="P105", title="Coolant through a tool without channel", severity=Severity.CARE),
        Code(code="P106", title="No length offset in force"),
        Code(code="P107", title="Rotary axis outside its range"),
        Code(code="P108", title="Cutting while the rotary axis turns"),
        Code(code="P109", title="Tool inside the turning circle", severity=Severity.CARE),
        Code(code="P110", title="Magazine position does not exist"),
        Code(code="P111", title="Tool too wide for the magazine"),
        Code(code="P112", title="Tool too long for the magazine"),
        Code(code="P113", title="Tool too heavy for the changer"),
    )
}

#: Time and feeds (motion.py).
TIME_CODES = {
    code.code: code
    for code in (
        Code(code="P401", title="Feed above the machine's limit", severity=Severity.CARE),
        Code(code="P402", title="Programmed feed hardly ever reached", severity=Severity.NOTE),
    )
}

#: The control's own tables against the plan (registers.py).
FOUND_CODES = {
    code.code: code
    for code in (
        Code(code="P501", title="Length register differs from the plan", severity=Severity.CARE),
        Code(code="P502", title="Radius register differs from the plan", severity=Severity.CARE),
        Code(code="P503", title="Work offset differs from the plan", severity=Severity.CARE),
        Code(code="P504", title="Register empty at the control", severity=Severity.CARE),
    )
}

#: The same job with one thing changed (whatif.py).
WHATIF_CODES = {
    code.code: code
    for code in (
        Code(code="P601", title="What if: datum shifted", severity=Severity.CARE),
        Code(code="P602", title="What if: neighbouring work-offset register", severity=Severity.CARE),
        Code(code="P603", title="What if: stock at its smallest or largest", severity=Severity.CARE),
        Code(code="P604", title="What if: block delete on or off", severity=Severity.CARE),
    )
}

#: What the cut asks of tool and spindle (load_findings.py, chatter.py).
LOAD_CODES = {
    code.code: code
    for code in (
        Code(code="P701", title="Spindle power", severity=Severity.CARE),
        Code(code="P702", title="Spindle torque", severity=Severity.CARE),
        Code(code="P703", title="Long overhang", severity=Severity.NOTE),
        Code(code="P704", title="Tool bends at a wall that stays", severity=Severity.CARE),
        Code(code="P705", title="Chips too thin: rubbing", severity=Severity.NOTE),
        Code(code="P706", title="Chips too thick", severity=Severity.CARE),
        Code(code="P707", title="Tap feed does not fit its pitch"),
        Code(code="P708", title="Edge ends within the batch", severity=Severity.CARE),
        Code(code="P709", title="Coolant through a spindle that has none", severity=Severity.CARE),
        Code(code="P710", title="Deep hole without pecks or through coolant", severity=Severity.CARE),
        Code(code="P711", title="Chatter likely", severity=Severity.CARE),
        Code(code="P712", title="Chatter possible", severity=Severity.NOTE),
        Code(code="P713", title="Spindle heats over the operation", severity=Severity.CARE),
    )
}

CODES: dict[str, Code] = {
    **CONTACT_CODES,
    **DESIGN_CODES,
    **REACH_CODES,
    **TIME_CODES,
    **FOUND_CODES,
    **WHATIF_CODES,
    **LOAD_CODES,
}

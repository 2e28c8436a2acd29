"""All findings into one verdict on the program, in words; never "safe"."""

from collections.abc import Sequence

from halfthou.base.finding import Finding, Severity, worst

#: What no proof of this kind can see; always named.
NEVER_CHECKED = (
    "clamp force and tightness, seating of tools and part",
    "chips, hoses, doors, the operator",
)


def verdict(findings: Sequence[Finding], not_checked: Sequence[str]) -> tuple[Severity | None, str]:
    """The worst severity and the verdict in words.

    "No contact found" is said only when no finding of contact (P2…) stands at STOP; what was not checked follows.
    """
    top = worst(tuple(findings))
    stops = [f for f in findings if f.severity is Severity.STOP]
    cares = [f for f in findings if f.severity is Severity.CARE]
    contacts = [f for f in stops if f.code.startswith("P2")]
    if contacts:
        first = contacts[0]
        head = f"{len(contacts)} contact finding{'s' if len(contacts) > 1 else ''} ({first.what.rstrip('.')})"
        rest = len(stops) - len(contacts)
        if rest:
            head += f" and {rest} other STOP finding{'s' if rest > 1 else ''}"
        head += ". Do not run this."
    elif stops:
        head = f"no contact found, but {len(stops)} STOP finding{'s' if len(stops) > 1 else ''}: do not run this."
    elif cares:
        head = f"no contact found; {len(cares)} finding{'s' if len(cares) > 1 else ''} to look at first."
    else:
        head = "no contact found."
    return top, f"{head} Not checked: {'; '.join(not_checked)}."

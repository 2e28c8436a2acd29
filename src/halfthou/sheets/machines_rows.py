"""A job on two machines as rows of text, for the terminal and the page alike."""

from halfthou.base.units import Display, duration
from halfthou.nouns.other_machine import OtherMachine
from halfthou.sheets.against_rows import spot, time_rows

YES_NO = {True: "yes", False: "NO", None: "not judged"}


def headline(sides: OtherMachine) -> str:
    """Whether the job runs on the other machine as it is, in one sentence."""
    if sides.refused:
        return sides.there_words
    if sides.runs_as_it_is:
        return f"On {sides.there_name}, as programmed: nothing found that must change."
    n = len(sides.must)
    tail = f"{n} thing{'s' if n != 1 else ''} must change" if n else "see the findings there"
    return f"On {sides.there_name}, as programmed: {tail}."


def fit_rows(sides: OtherMachine) -> list[list[str]]:
    """what, asked, here, there, fits there."""
    return [[f.what, f.asked, f.here, f.there, YES_NO[f.fits_there]] for f in sides.fits]


def mapped_rows(sides: OtherMachine) -> list[list[str]]:
    """kind, what, here, there, stays, note with the block."""
    rows = []
    for m in sides.mapped:
        at = f" ({spot(m.place)})" if m.fits is False and m.place.line else ""
        rows.append([m.kind, m.what, m.here, m.there, YES_NO[m.fits], f"{m.note}{at}"])
    return rows


def capped_rows(sides: OtherMachine) -> list[list[str]]:
    """tool, word, asked, there, share left, longest delay, block."""
    return [
        [f"T{c.tool}", c.what, c.asked, c.there, f"{100 * c.share_ratio:.1f} %", duration(c.slower_s), spot(c.place)]
        for c in sides.capped
    ]


def binding_rows(sides: OtherMachine) -> list[list[str]]:
    """limit, seconds here, seconds there."""
    return [[b.limit, duration(b.here_s), duration(b.there_s)] for b in sides.binding]


def both_times(sides: OtherMachine) -> list[list[str]]:
    """op, tool, name, here, there, change."""
    return time_rows(sides.times)


def placed_rows(sides: OtherMachine, show: Display) -> list[list[str]]:
    """op, offset, here, there."""

    def point(values: tuple[float | None, float | None, float | None]) -> str:
        return " ".join(
            f"{axis}{show.length(v, unit=False) if v is not None else ' not given'}"
            for axis, v in zip("XYZ", values, strict=True)
        )

    return [[p.op, p.system, point(p.here_mm), point(p.there_mm)] for p in sides.placed]


def habit_rows(sides: OtherMachine) -> list[list[str]]:
    """what, here, there."""
    return [[h.what, h.before, h.now] for h in sides.habits]


def finding_rows(sides: OtherMachine) -> list[list[str]]:
    """kind, code, op, finding, block."""
    names = {"gained": f"only on {sides.there_name}", "lost": f"only on {sides.here_name}", "amount": "other amount"}
    return [[names[c.kind], c.finding.code, c.op, c.finding.what, spot(c.finding.place)] for c in sides.findings]

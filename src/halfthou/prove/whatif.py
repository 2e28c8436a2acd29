"""What if: the same job with one thing changed, and only what is new in the answer."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from halfthou.base.finding import Finding, Severity
from halfthou.base.units import Display
from halfthou.nouns.job import Found, Job, Offset, Op
from halfthou.nouns.stock import Stock

DATUM_MM = 0.5
"""How far the datum is shifted where the job states no band (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """A changed job; words say what was changed. block_delete None = as in the job."""

    words: str
    code: str
    job: Job
    block_delete: bool | None = None


def variants(job: Job, has_slash: bool) -> tuple[Variant, ...]:
    """Datum shifted, neighbouring work-offset register, stock at its smallest and largest, block delete."""
    out: list[Variant] = []
    for axis in (0, 1, 2):
        for sign in (1.0, -1.0):
            moved = _shifted(job, axis, sign)
            if moved is not None:
                out.append(moved)
    neighbour = _neighbour(job)
    if neighbour is not None:
        out.append(neighbour)
    if any(any(place.stock.plus_mm) or any(place.stock.minus_mm) for op in job.ops for place in op.places):
        out.append(Variant(words="the stock comes at its largest", code="P603", job=_stocks(job, 1.0)))
        out.append(Variant(words="the stock comes at its smallest", code="P603", job=_stocks(job, -1.0)))
    if has_slash:
        for on in (True, False):
            state = "on" if on else "off"
            out.append(Variant(words=f"block delete is {state}", code="P604", job=job, block_delete=on))
    return tuple(out)


def _found(job: Job, offsets: Sequence[Offset]) -> Job:
    old = job.found or Found()
    kept = [offset for offset in old.offsets if offset.system not in {new.system for new in offsets}]
    return replace(job, found=replace(old, offsets=(*kept, *offsets)))


def _shifted(job: Job, axis: int, sign: float) -> Variant | None:
    new: list[Offset] = []
    most = 0.0
    for op in job.ops:
        for offset in op.offsets:
            value = offset.origin_mm[axis]
            if value is None or any(one.system == offset.system for one in new):
                continue
            by = sign * (offset.band_mm[axis] or DATUM_MM)
            origin = list(offset.origin_mm)
            origin[axis] = value + by
            most = max(most, abs(by))
            new.append(replace(offset, origin_mm=(origin[0], origin[1], origin[2])))
    if not new or len({offset.system for op in job.ops for offset in op.offsets}) < len(
        [o for op in job.ops for o in op.offsets]
    ):
        return None  # one register means different things in two operations: a shift of it is not one question
    way = "+" if sign > 0 else "-"
    return Variant(
        words=f"the datum lies {Display(length_unit=job.length_unit).length(most)} towards {'XYZ'[axis]}{way}",
        code="P601",
        job=_found(job, new),
    )


def _neighbour(job: Job) -> Variant | None:
    """Every place's register holds what its neighbour was given."""
    new: list[Offset] = []
    for op in job.ops:
        known = {offset.system: offset for offset in op.offsets if all(v is not None for v in offset.origin_mm)}
        for place in op.places:
            own = known.get(place.offset)
            beside = known.get(place.offset + 1) or known.get(place.offset - 1)
            if own is not None and beside is not None and beside.origin_mm != own.origin_mm:
                new.append(replace(own, origin_mm=beside.origin_mm))
    return (
        Variant(words="the neighbouring work-offset register is used", code="P602", job=_found(job, new))
        if new
        else None
    )


def _stocks(job: Job, sign: float) -> Job:
    def grown(stock: Stock) -> Stock:
        by = stock.plus_mm if sign > 0 else stock.minus_mm
        low = (stock.low_mm[0] - sign * by[0], stock.low_mm[1] - sign * by[2], stock.low_mm[2] - sign * by[4])
        high = (stock.high_mm[0] + sign * by[1], stock.high_mm[1] + sign * by[3], stock.high_mm[2] + sign * by[5])
        return replace(stock, low_mm=low, high_mm=high, diameter_mm=stock.diameter_mm + sign * (by[0] + by[1]))

    def op_of(op: Op) -> Op:
        return replace(op, places=tuple(replace(place, stock=grown(place.stock)) for place in op.places))

    return replace(job, ops=tuple(op_of(op) for op in job.ops))


def differences(base: Sequence[Finding], tried: Sequence[Finding], variant: Variant) -> list[Finding]:
    """STOP findings the variant has and the base has not, folded into one CARE finding a code."""
    seen = {_key(finding) for finding in base}
    new = [f for f in tried if f.severity == Severity.STOP and _key(f) not in seen]
    if not new:
        return []
    first = new[0]
    more = tuple(f"{f.place}: {f.code} {f.what}" for f in new[1:6])
    return [
        replace(
            first, code=variant.code, severity=Severity.CARE, what=f"If {variant.words}: {first.what}",
            why=f"{first.code} there; the job as planned does not do this. {first.why}".strip(), count=len(new), more=more,
        )
    ]  # fmt: skip


def _key(finding: Finding) -> tuple[object, ...]:
    return finding.code, finding.op, finding.place.file, finding.place.line, finding.tool, finding.body

"""Canned cycles: sticky numbers, levels, and the moves each one is made of.

Source: NISTIR 6556, 3.5.16 (strict); mill: common practice, from memory (language reference 9).
"""

import math

from halfthou.nc.arc import PLANES
from halfthou.nc.block import Said
from halfthou.nc.expr import whole
from halfthou.nc.fault import Fault
from halfthou.nc.run import Run
from halfthou.nc.state import Vec, turned
from halfthou.nc.tables import ROTARY, g_name
from halfthou.nouns.moves import DWELL_ASSUMED, STOP_RETRACT, TAPPING, Kind

AXES = "XYZ"
DWELLS = (820, 860, 880, 890)  # P is needed
DWELL_IF_GIVEN = (740, 760, 840, 830, 730)  # mill: P may be there
PECKS = (730, 830)
TAPS = {840: 1, 740: -1}
FEED_OUT = (850, 890)
PLAUSIBLE_PITCH_MM = (0.1, 8.0)
HAIR_MM = 1e-9


def run_cycle(run: Run, said: Said, code: int, explicit: bool) -> None:
    """The active cycle at the places this block names. Raises Fault."""
    modal, data = run.modal, run.cycle
    first, second, third = PLANES[modal.plane]
    depth_letter = AXES[third]
    where = [AXES[k] for k in (first, second) if said.has(AXES[k])]
    rotary = [letter for letter in ROTARY if said.has(letter)]
    if rotary:
        raise Fault("rotary-in-cycle", f"{rotary[0]} in a cycle", word=said.text(rotary[0]), do="turn before the cycle")
    if modal.feed_mode == 930:
        raise Fault("cycle-in-inverse-time", f"{g_name(code)} with G93", do="go back to G94")
    if run.comp is not None:
        raise Fault("not-with-comp", f"{g_name(code)} while compensation is on", do="G40 first")
    if run.strict and not where and not said.has(depth_letter):
        raise Fault("missing-axis-words", f"{g_name(code)} without a position", word=g_name(code))
    new = data.code != code
    if new:
        _enter(run, code)
    mode_before = (data.depth_mode, data.r_mode)
    _numbers(run, said, code, depth_letter, new)
    repeat = _repeat(run, said, bool(where), code)
    if not run.strict:
        stale = [
            m for m, given in zip(mode_before, (depth_letter in said.used, "R" in said.used), strict=True) if not given
        ]
        if any(mode != modal.distance for mode in stale) and not new:
            raise Fault("cycle-data-mode-change", "G90 and G91 changed inside a cycle, R and Z are from before",
                        why="controls differ: some keep the positions, some read the numbers anew",
                        do="write R and Z again")  # fmt: skip
    if repeat == 0:
        return
    if not explicit and not where and depth_letter not in said.used:
        return
    _check(run, code)
    _holes(run, said, code, repeat, where, (first, second, third))


def _enter(run: Run, code: int) -> None:
    """A new cycle: strict forgets all numbers, mill keeps R and depth while a cycle stays on."""
    modal, data = run.modal, run.cycle
    third = PLANES[modal.plane][2]
    if data.code == 0:
        data.initial = run.at[third]
    if run.strict or data.code == 0:
        data.depth = data.r = None
    data.dwell_s = data.peck = None
    data.ijk = {}
    data.code = code
    modal.cycle = code
    run.changed()


def _numbers(run: Run, said: Said, code: int, depth_letter: str, new: bool) -> None:
    modal, data = run.modal, run.cycle
    name = g_name(code)
    if said.has(depth_letter):
        data.depth, data.depth_mode = said.length(depth_letter), modal.distance
    if said.has("R"):
        data.r, data.r_mode = said.length("R"), modal.distance
    if said.has("P") and (code in DWELLS or (not run.strict and code in DWELL_IF_GIVEN)):
        data.dwell_s = dwell_of(run, said)
    if said.has("Q"):
        if code in PECKS:
            peck = said.length("Q") or 0.0
            if peck <= 0:
                raise Fault("bad-peck", f"{name} needs a Q above zero", word=said.text("Q"))
            data.peck = peck
        elif code == 760 and not run.strict:
            data.peck = said.length("Q")
        elif code == 870 and not run.strict:
            raise Fault("unsupported-g-code", "G87 with Q has another meaning on each control", word="G87")
    if code in (870, 760):
        for letter in "IJK":
            if said.has(letter):
                data.ijk[letter] = said.length(letter) or 0.0
    if data.depth is None:
        raise Fault("missing-word", f"{name} needs {depth_letter}", word=name, do=f"add {depth_letter}")
    if data.r is None:
        raise Fault("missing-word", f"{name} needs R", word=name, do="add R")
    if code in DWELLS and data.dwell_s is None:
        if run.strict or code == 820:
            raise Fault("missing-word", f"{name} needs P", word=name, do="add P")
        data.dwell_s = 0.0
    if code in PECKS and data.peck is None:
        raise Fault("missing-word", f"{name} needs Q", word=name, do="add Q")
    if code == 870 and not {"I", "J", "K"} <= set(data.ijk):
        raise Fault("missing-word", f"{name} needs I, J and K", word=name)


def dwell_of(run: Run, said: Said) -> float:
    """Seconds of a P word; the mill profile says which unit it took."""
    word, value = said.words["P"], said.take("P") or 0.0
    if value < 0:
        raise Fault("negative-value", "P must not be negative", word=word.text)
    if run.strict:
        return value
    if word.literal is not None and word.point:
        return value
    unit = run.control.dwell_unit
    if word.literal is None and unit is None and value != round(value):
        return value
    if unit is None:
        run.warn("dwell-unit-assumed", f"P{value:g} is read as milliseconds", word=word.text,
                 why="the machine file does not say what a whole number after P means",
                 do='write dwell = "ms" or "s" into the machine file')  # fmt: skip
    return value if unit == "s" else value / 1000.0


def _repeat(run: Run, said: Said, placed: bool, code: int) -> int:
    letter = "L" if said.has("L") else ""
    if not letter and not run.strict and said.has("K") and not (said.has("I") or said.has("J")) and code != 870:
        letter = "K"
    if not letter:
        return 1
    text = said.text(letter)
    count = whole(said.take(letter) or 0.0, letter)
    if count < 0 or (count == 0 and run.strict):
        raise Fault("bad-repeat", f"{letter}{count}: a repeat is 1 or more", word=text)
    if count == 0 and placed:
        raise Fault("ambiguous-repeat-zero", f"{letter}0 with a position", word=text,
                    why="some controls drill here, some only store the numbers", do="take the position out")  # fmt: skip
    return count


def _check(run: Run, code: int) -> None:
    modal = run.modal
    if modal.feed is None or modal.feed <= 0:
        raise Fault("feed-not-set", f"{g_name(code)} without a feed", do="add F")
    if code in TAPS:
        want = TAPS[code]
        if modal.rpm == 0:
            if run.strict or modal.speed_rpm <= 0:
                raise Fault("spindle-not-turning", f"{g_name(code)} with the spindle stopped", do="start it with M3")
            modal.spindle = want
            run.changed()
        if modal.rpm * want < 0:
            hand = "clockwise" if want > 0 else "counter-clockwise"
            raise Fault("spindle-wrong-way", f"{g_name(code)} needs the spindle to turn {hand}")
        pitch = modal.feed if modal.feed_mode == 950 else modal.feed / abs(modal.rpm)
        if not PLAUSIBLE_PITCH_MM[0] <= pitch <= PLAUSIBLE_PITCH_MM[1]:
            run.warn("tap-pitch-implausible", f"feed and speed give a pitch of {pitch:.4f} mm",
                     why="feed must be pitch times speed", do="check F and S")  # fmt: skip
    elif code in (860, 870, 880, 760) and modal.rpm == 0:
        raise Fault("spindle-not-turning", f"{g_name(code)} with the spindle stopped", do="start it with M3")


def _holes(run: Run, said: Said, code: int, repeat: int, where: list[str], plane: tuple[int, int, int]) -> None:
    modal, data = run.modal, run.cycle
    third = plane[2]
    now = run.at[third]
    before = now if run.strict else data.initial
    depth, r = data.depth or 0.0, data.r or 0.0
    if modal.distance == 910:
        r += now if run.strict else data.initial
        depth += r
    if r < depth - HAIR_MM:
        raise Fault("cycle-r-below-z", f"R {r / modal.unit_mm:.4f} lies below the bottom {depth / modal.unit_mm:.4f}",
                    word=g_name(code), do="check R and the depth")  # fmt: skip
    clear = r if modal.retract == 990 else max(before, r)
    steps = {letter: said.length(letter) or 0.0 for letter in where}
    if now < r - HAIR_MM and not run.strict and not run.control.cycle_prelim:
        run.warn("cycle-starts-below-r", f"the cycle starts {(r - now) / modal.unit_mm:.4f} below its R plane",
                 why="some controls go up first, some move over the part first", do="go up before the cycle")  # fmt: skip
    up_first = run.control.cycle_prelim != "plane-first"
    if run.at[third] < r and up_first:
        _to(run, third, r)
    for _ in range(repeat):
        target = _over(run, steps, plane)
        run.straight(run.row(Kind.RAPID), target)
        if abs(run.at[third] - r) > HAIR_MM:
            _to(run, third, r)
        _one(run, code, third, depth, r, clear)


def _over(run: Run, steps: dict[str, float], plane: tuple[int, int, int]) -> Vec:
    """The next hole's place at the present depth."""
    pos = list(run.modal.pos)
    x, y = turned(run.modal, pos[0], pos[1], back=True)
    flat = [x, y, pos[2]]
    for letter, value in steps.items():
        k = AXES.index(letter)
        flat[k] = flat[k] + value if run.modal.distance == 910 else value
    flat[0], flat[1] = turned(run.modal, flat[0], flat[1])
    flat[plane[2]] = run.at[plane[2]]
    return flat


def _to(run: Run, axis: int, value: float, feed: bool = False, flags: int = 0) -> None:
    target = list(run.at)
    target[axis] = value
    run.straight(run.row(Kind.LINE if feed else Kind.RAPID, flags=flags), target)


def _shift(run: Run, dx: float, dy: float, plane: tuple[int, int]) -> None:
    target = list(run.at)
    target[plane[0]] += dx
    target[plane[1]] += dy
    run.straight(run.row(Kind.RAPID), target)


def _dwell(run: Run) -> None:
    seconds = run.cycle.dwell_s or 0.0
    if seconds > 0:
        assumed = DWELL_ASSUMED if not run.strict and run.control.dwell_unit is None else 0
        run.put(run.row(Kind.DWELL, dwell=seconds, flags=assumed))


def _turn(run: Run, way: int) -> None:
    run.modal.spindle = way
    run.changed()


def _one(run: Run, code: int, third: int, depth: float, r: float, clear: float) -> None:
    """One hole, from R to the clear level."""
    if code in PECKS:
        _peck(run, code, third, depth, r, clear)
        return
    if code in TAPS:
        _tap(run, code, third, depth, r, clear)
        return
    if code == 870:
        _back_bore(run, third, depth, clear)
        return
    _to(run, third, depth, feed=True)
    _dwell(run)
    way = run.modal.spindle
    if code in FEED_OUT:
        _to(run, third, clear if run.strict else r, feed=True)
        _to(run, third, clear)
        return
    if code in (860, 760):
        _turn(run, 0)
    if code == 760:
        dx, dy = (
            (run.cycle.ijk.get("I", 0.0), run.cycle.ijk.get("J", 0.0))
            if run.cycle.ijk
            else (run.cycle.peck or 0.0, 0.0)
        )
        first, second, _ = PLANES[run.modal.plane]
        _shift(run, dx, dy, (first, second))
        _to(run, third, clear)
        _shift(run, -dx, -dy, (first, second))
    elif code == 880:
        _turn(run, 0)
        run.put(run.row(Kind.STOP, stop=STOP_RETRACT))
        run.warn("manual-retract", "G88 waits for a person to retract the tool by hand", word="G88",
                 do="use a cycle that retracts by itself if nobody stands by")  # fmt: skip
        _to(run, third, clear)
    else:
        _to(run, third, clear)
    if code in (860, 760, 880):
        _turn(run, way)


def _peck(run: Run, code: int, third: int, depth: float, r: float, clear: float) -> None:
    peck, back = run.cycle.peck or 0.0, run.control.peck_clearance_mm
    up = clear if run.strict else r
    bites = max(1, math.ceil((r - depth) / peck - 1e-9))
    for k in range(1, bites + 1):
        bottom = max(depth, r - k * peck)
        _to(run, third, bottom, feed=True)
        if k == bites:
            break
        if code == 830:
            _to(run, third, up)
        _to(run, third, min(bottom + back, r))
    _dwell(run)
    _to(run, third, clear)


def _tap(run: Run, code: int, third: int, depth: float, r: float, clear: float) -> None:
    way = TAPS[code]
    _to(run, third, depth, feed=True, flags=TAPPING)
    _turn(run, -way)
    _dwell(run)
    _to(run, third, clear if run.strict else r, feed=True, flags=TAPPING)
    _turn(run, way)
    _to(run, third, clear)


def _back_bore(run: Run, third: int, depth: float, clear: float) -> None:
    """G87 (NISTIR 6556, 3.5.16.8)."""
    data, way = run.cycle, run.modal.spindle
    first, second, _ = PLANES[run.modal.plane]
    letters = "IJK"
    dx, dy = data.ijk[letters[first]], data.ijk[letters[second]]
    top = data.ijk[letters[third]]
    if run.modal.distance == 910:
        top += depth
    _shift(run, dx, dy, (first, second))
    _turn(run, 0)
    _to(run, third, depth)
    _shift(run, -dx, -dy, (first, second))
    _turn(run, way)
    _to(run, third, top, feed=True)
    _to(run, third, depth, feed=True)
    _turn(run, 0)
    _shift(run, dx, dy, (first, second))
    _to(run, third, clear)
    _shift(run, -dx, -dy, (first, second))
    _turn(run, way)

"""One block after its values are known: everything it does, in the order of the report (or of the shop).

Source: NISTIR 6556, 3.8 table 8 (order), 3.5; mill: common practice, from memory (language reference 5.2).
"""

import math

from halfthou.nc.block import Said
from halfthou.nc.cycle import dwell_of, run_cycle
from halfthou.nc.declared import act_declared
from halfthou.nc.fault import Fault
from halfthou.nc.motion import go_home, machine_move, move, probe, rotary_words
from halfthou.nc.offsets import set_data, shift52, shift92
from halfthou.nc.registers import compensation_words, length_words
from halfthou.nc.rows import END, START
from halfthou.nc.run import Run, parts
from halfthou.nc.state import NO_MOTION
from halfthou.nc.tables import CYCLES, PROBES, SYSTEMS, g_name
from halfthou.nouns.moves import FLOOD, MIST, STOP_END, STOP_M0, STOP_M1, Kind


def act(run: Run, said: Said) -> None:
    """Execute a block except calls and jumps. Raises Fault."""
    run.changed()
    _rates(run, said)
    _tool(run, said)
    before = set(said.m)
    if not run.strict:
        before -= {5, 9}
    for effect in said.declared:
        if not effect.after_motion:
            act_declared(run, said, effect)
    _spindle(run, before)
    _coolant(run, before)
    if 48 in said.m or 49 in said.m:
        parts(run, overrides=1 if 48 in said.m else 0)
    if said.g.get("one-block") == 40:
        _dwell(run, said)
    _plane_units(run, said)
    compensation_words(run, said)
    length_words(run, said)
    _system(run, said)
    _modes(run, said)
    _motion(run, said)
    for effect in said.declared:
        if effect.after_motion:
            act_declared(run, said, effect)
    if not run.strict:
        _spindle(run, {5} & set(said.m))
        _coolant(run, {9} & set(said.m))
    _leftovers(run, said)
    _stop(run, said)


def _rates(run: Run, said: Said) -> None:
    modal = run.modal
    mode = said.g.get("feed mode")
    if mode is not None and mode != modal.feed_mode:
        parts(run, feed_mode=mode, feed=None)
    if said.has("F"):
        text, value = said.text("F"), said.take("F") or 0.0
        if value < 0:
            raise Fault("negative-value", "F must not be negative", word=text)
        modal.feed = value if modal.feed_mode == 930 else value * said.unit_mm
    if said.has("S"):
        text, speed = said.text("S"), said.take("S") or 0.0
        if speed < 0:
            raise Fault("negative-value", "S must not be negative", word=text)
        modal.speed_rpm = speed


def _tool(run: Run, said: Said) -> None:
    modal, start = run.modal, run.start
    if said.has("T"):
        text = said.text("T")
        number = said.integer("T") or 0
        if number < 0:
            raise Fault("negative-value", "T must not be negative", word=text)
        most = max([run.control.magazine_positions, *start.tools]) if start.tools else run.control.magazine_positions
        if number > most:
            raise Fault("tool-out-of-range", f"T{number}: the magazine has {most} positions", word=text)
        modal.next_tool = number
    if 6 in said.m:
        if run.comp is not None:
            raise Fault("not-with-comp", "tool change while compensation is on", word="M6", do="G40 first")
        number = modal.next_tool
        if number < 0:
            if not run.strict:
                raise Fault("missing-word", "M6 and no tool was called before", word="M6", do="add T")
            number = modal.tool
        if number and start.tools and number not in start.tools:
            known = ", ".join(f"T{n}" for n in sorted(start.tools))
            raise Fault("tool-not-in-table", f"T{number} is not in the tool list", word="M6", do=f"there are {known}")
        parts(run, tool=number, spindle=0)
        _change(run)


def _change(run: Run) -> None:
    """The row of a tool change, with the way to the change position where the machine file gives one."""
    row = run.row(Kind.TOOL_CHANGE)
    machine, target = run.machine(), list(run.at)
    for k, value in enumerate(run.start.change_at_mm):
        if value is not None:
            target[k] += value - machine[k]
    row[START], row[END] = tuple(run.at), tuple(target)
    run.put(row)
    run.at = list(target)
    run.modal.pos = list(target)


def _spindle(run: Run, codes: set[int]) -> None:
    for code, way in ((3, 1), (4, -1), (5, 0), (19, 0)):
        if code in codes:
            parts(run, spindle=way)


def _coolant(run: Run, codes: set[int]) -> None:
    bits = run.modal.coolant
    bits = bits | (MIST if 7 in codes else 0) | (FLOOD if 8 in codes else 0)
    if 9 in codes:
        bits = 0
    if bits != run.modal.coolant:
        parts(run, coolant=bits)


def _dwell(run: Run, said: Said) -> None:
    letter = next((a for a in "PXU" if said.has(a)), "") if not run.strict else ("P" if said.has("P") else "")
    if not letter:
        raise Fault("missing-word", "G4 needs P", word="G4", do="add P and a time")
    if letter == "P":
        seconds = dwell_of(run, said)
    else:
        text, seconds = said.text(letter), said.take(letter) or 0.0
        if seconds < 0:
            raise Fault("negative-value", f"{letter} must not be negative", word=text)
    run.put(run.row(Kind.DWELL, dwell=seconds))


def _plane_units(run: Run, said: Said) -> None:
    modal = run.modal
    plane, units = said.g.get("plane"), said.g.get("units")
    if plane is not None:
        if run.comp is not None and plane != 170:
            raise Fault(
                "not-with-comp", f"{g_name(plane)} while compensation is on", word=g_name(plane), do="G40 first"
            )
        if modal.rotated and plane != 170:
            raise Fault("unsupported-g-code", "another plane while G68 is on", word=g_name(plane), do="G69 first")
        modal.plane = plane
    if units is not None:
        run.units_stated = True
        if run.comp is not None:
            raise Fault(
                "not-with-comp", f"{g_name(units)} while compensation is on", word=g_name(units), do="G40 first"
            )
        if units != modal.units:
            modal.units = units
            if not run.strict and "F" not in said.values and modal.feed_mode != 930:
                modal.feed = None


def _system(run: Run, said: Said) -> None:
    code, modal = said.g.get("work offset"), run.modal
    if code is None:
        return
    if code == 541:
        number = said.integer("P")
        if number is None:
            raise Fault("missing-word", "G54.1 needs P", word="G54.1")
        system = 100 + number
        if system not in run.store.origins:
            raise Fault("bad-coord-system", f"G54.1 P{number}: the machine has {run.control.extra_offsets} further offsets",
                        word="G54.1", do="write extra_offsets into the machine file")  # fmt: skip
    else:
        system = SYSTEMS[code]
    if run.comp is not None:
        raise Fault("not-with-comp", f"{g_name(code)} while compensation is on", word=g_name(code), do="G40 first")
    if system != modal.system:
        machine = run.machine()
        modal.system = system
        run.stand(machine)


def _modes(run: Run, said: Said) -> None:
    modal = run.modal
    for group, name in (
        ("path", "path"),
        ("distance", "distance"),
        ("return level", "retract"),
        ("arc centre", "arc_centre"),
    ):
        if group in said.g:
            setattr(modal, name, said.g[group])
    if said.g.get("path") == 640 and not run.strict:
        said.take("P")
    rotation = said.g.get("rotation")
    if rotation == 690 and modal.rotated:
        parts(run, rotated=False, rotation_rad=0.0)
    if rotation == 680:
        _rotate(run, said)


def _rotate(run: Run, said: Said) -> None:
    modal = run.modal
    if modal.rotated or modal.plane != 170 or modal.distance != 900 or run.comp is not None:
        raise Fault("unsupported-g-code", "G68 nested, in G91, in another plane or with compensation", word="G68")
    if not (said.has("X") and said.has("Y")):
        raise Fault("unsupported-g-code", "G68 without X and Y: controls take different centres", word="G68",
                    do="write the centre with X and Y")  # fmt: skip
    if not said.has("R"):
        raise Fault("missing-word", "G68 needs R", word="G68")
    centre = (said.length("X") or 0.0, said.length("Y") or 0.0)
    parts(run, rotated=True, rotation_rad=math.radians(said.take("R") or 0.0), rotation_centre=centre)


def _motion(run: Run, said: Said) -> None:
    """Axis words to whoever claims them."""
    modal = run.modal
    one, motion, cycle = said.g.get("one-block"), said.g.get("motion"), said.g.get("cycle")
    if run.strict and motion is not None and (motion in CYCLES or motion == 800):
        motion, cycle = None, motion
    if cycle == 800:
        _cycle_off(run)
        cycle = None
        if run.strict and said.axes("XYZABC"):
            raise Fault("no-motion-mode", "axis words with G80", word=said.text(said.axes("XYZABC")[0]))
    claims = one in (100, 280, 300, 920, 520)
    if claims and (motion is not None or cycle is not None) and one is not None:
        other = motion if motion is not None else cycle or 0
        raise Fault("axis-word-conflict", f"{g_name(one)} and {g_name(other)} both use the axis words",
                    word=g_name(one), why="it is not said which of them moves", do="write two blocks")  # fmt: skip
    if one is not None and _one_block(run, said, one):
        _remember(run, motion)
        return
    if motion in PROBES and motion is not None:
        probe(run, said, motion)
        if run.strict:
            modal.motion = motion
        return
    if motion is not None:
        if modal.cycle:
            _cycle_off(run)
        modal.motion = motion
    if said.also_g53:
        machine_move(run, said, modal.motion)
        return
    code = cycle if cycle is not None else modal.cycle
    if code:
        if cycle is not None or said.axes() or (any(said.has(a) for a in "RPQLKIJ") and not run.strict):
            run_cycle(run, said, code, cycle is not None)
        return
    _plain(run, said, motion)


def _remember(run: Run, motion: int | None) -> None:
    if motion is not None and motion in (0, 10, 20, 30):
        run.modal.motion = motion


def _plain(run: Run, said: Said, motion: int | None) -> None:
    modal = run.modal
    words = said.axes("XYZABC")
    arc_words = modal.motion in (20, 30) and any(said.has(letter) for letter in "IJKR")
    if not words and not arc_words:
        if motion is not None and run.strict:
            raise Fault("missing-axis-words", f"{g_name(motion)} without axis words", word=g_name(motion))
        return
    if modal.motion == NO_MOTION:
        zero = all(said.values[w] == 0 for w in words if w in "ABC")
        if not run.strict and zero and all(w in "ABC" for w in words):
            rotary_words(run, said)
            return
        raise Fault("no-motion-mode", f"{said.text(words[0] if words else 'I')} and no motion code is active",
                    word=said.text(words[0]) if words else "", do="write G0 or G1")  # fmt: skip
    if modal.motion in PROBES:
        probe(run, said, modal.motion)
        return
    move(run, said, modal.motion)


def _cycle_off(run: Run) -> None:
    run.cycle.code = 0
    run.cycle.depth = run.cycle.r = None
    parts(run, cycle=0)
    if run.strict:
        run.modal.motion = NO_MOTION


def _one_block(run: Run, said: Said, code: int) -> bool:
    """One-block codes; True if the axis words are spoken for."""
    if code in (280, 300):
        go_home(run, said, code)
    elif code == 100:
        set_data(run, said)
    elif code in (920, 921, 922, 923):
        shift92(run, said, code)
        return code == 920
    elif code == 520:
        shift52(run, said)
    else:
        return False  # G4, G53 (strict), G65
    return True


def _leftovers(run: Run, said: Said) -> None:
    """Every word must have been used by something."""
    modal = run.modal
    if not run.strict and said.has("D") and not said.declared:
        modal.d_slot = said.integer("D") or 0
    for letter in said.values:
        if letter in said.used or letter in "ON":
            continue
        text = said.text(letter)
        if letter in "EUVW":
            raise Fault("unknown-letter", f"{letter} is not a word here", word=text)
        if letter in "XYZ" and modal.motion == NO_MOTION:
            raise Fault("no-motion-mode", f"{text} and no motion code is active", word=text)
        raise Fault("unused-word", f"nothing in this block uses {text}", word=text, do="take it out, or add its code")
    run.words_used += said.words_read - len(said.empty) - len(said.ignored)
    run.words_reported += len(said.empty) + len(said.ignored)
    for letter in said.empty:
        run.warn("empty-variable", f"{letter} gets an empty variable and is left out", word=letter,
                 why="the control ignores such a word", key=letter)  # fmt: skip
    for name in said.ignored:
        run.warn(
            "code-without-effect", f"{name} switches off what is never on: read without effect", word=name, key=name
        )


def _stop(run: Run, said: Said) -> None:
    if 0 in said.m or 60 in said.m:
        run.put(run.row(Kind.STOP, stop=STOP_M0))
        if run.start.stop_at_m0:
            run.ended = True
            if run.comp is not None:
                run.comp.finish(run)
    if 1 in said.m:
        run.put(run.row(Kind.STOP, stop=STOP_M1))
    if 2 in said.m or 30 in said.m:
        end_program(run)


def end_program(run: Run) -> None:
    """M2 and M30 (NISTIR 6556, 3.6.1): what they reset; units, tool length, feed and speed stay."""
    modal = run.modal
    if run.comp is not None:
        run.comp.finish(run)
        run.comp = None
    run.changed()
    run.put(run.row(Kind.STOP, stop=STOP_END))
    machine = run.machine()
    modal.system = 1
    modal.shift92 = [0.0, 0.0, 0.0]
    modal.shift52 = [0.0, 0.0, 0.0]
    modal.rotated = False
    run.stand(machine)
    parts(run, plane=170, distance=900, feed_mode=940, overrides=1, comp=400, spindle=0, coolant=0, cycle=0, motion=10)
    run.ended = True

"""Straight moves, arcs, machine-coordinate moves and probing: from the words of a block to rows.

Source: NISTIR 6556, 3.5.1 to 3.5.3, 3.5.9, 3.5.12, 3.7; mill: common practice, from memory.
"""

import math

from halfthou.base.limits import SAME_POINT_MM
from halfthou.nc.arc import arc_of
from halfthou.nc.block import Said
from halfthou.nc.fault import Fault
from halfthou.nc.rows import FEED
from halfthou.nc.run import Run
from halfthou.nc.state import Vec, turned
from halfthou.nc.tables import ROTARY, g_name
from halfthou.nouns.moves import MACHINE_POINT, PROBE_CONTACT, PROBE_MAY_MISS, Kind

AXES = "XYZ"
SHORTEST_PROBE_MM = 0.254
MAY_MISS = (310, 383, 385)


def rotary_words(run: Run, said: Said) -> bool:
    """Take A, B, C: turn an axis the machine has; True if one turned."""
    turned_one = False
    for letter in ROTARY:
        if not said.has(letter):
            continue
        value = said.take(letter) or 0.0
        if letter in run.control.rotary_axes and letter in "AB":
            k = "AB".index(letter)
            angle = math.radians(value)
            run.modal.turn[k] = angle if run.modal.distance == 900 else run.modal.turn[k] + angle
            turned_one = True
            continue
        if run.strict or value != 0.0:
            raise Fault("axis-not-on-machine", f"the machine has no {letter} axis", word=said.text(letter),
                        do=f"take {letter} out, or list it under rotary in the machine file")  # fmt: skip
        run.warn(
            "axis-ignored",
            f"{letter}0 is ignored: the machine has no {letter} axis",
            word=said.text(letter),
            key=letter,
        )
        run.words_reported += 1
        run.words_used -= 1
    return turned_one


def target_of(run: Run, said: Said) -> tuple[Vec, list[str]]:
    """Programmed target in real work coordinates, and which axes were given."""
    modal = run.modal
    given = said.axes()
    pos = modal.pos
    if not modal.rotated:
        target = list(pos)
        for letter in given:
            k = AXES.index(letter)
            value = said.length(letter) or 0.0
            target[k] = target[k] + value if modal.distance == 910 else value
        return target, given
    x, y = turned(modal, pos[0], pos[1], back=True)
    target = [x, y, pos[2]]
    for letter in given:
        k = AXES.index(letter)
        value = said.length(letter) or 0.0
        target[k] = target[k] + value if modal.distance == 910 else value
    if "X" in given or "Y" in given:
        target[0], target[1] = turned(modal, target[0], target[1])
    else:
        target[0], target[1] = pos[0], pos[1]
    return target, given


def check_feed(run: Run, said: Said, name: str) -> None:
    """A feed move needs a feed."""
    modal = run.modal
    if modal.feed_mode == 930:
        if "F" not in said.values:
            raise Fault("missing-feed-word", f"{name} in G93 needs its own F", word=name)
        if not modal.feed:
            raise Fault("feed-not-set", "F0: the move would take for ever", word=said.text("F"))
        return
    if modal.feed is None or modal.feed <= 0:
        why = "F is void after a change of unit or feed mode" if modal.feed is None else ""
        raise Fault("feed-not-set", f"{name} without a feed", why=why, do="add F", word=name)
    if modal.feed_mode == 950 and modal.rpm == 0:
        raise Fault("spindle-not-turning", "feed per turn with the spindle stopped", do="start it with M3")


def h_check(run: Run, deep: bool) -> None:
    """Does the length register belong to the tool? Said at the first move that goes down or cuts.

    A move in XY at height between the tool change and its G43 is usual; it is kept in mind until the end.
    """
    modal = run.modal
    slot = modal.length_slot
    if run.strict or not slot or not modal.tool or slot == modal.tool:
        return
    pair = modal.tool * 10000 + slot
    if deep:
        say_h(run, pair)
    elif run.h_pending is None:
        run.h_pending = (pair, run.program, run.line)


def say_h(run: Run, pair: int) -> None:
    """Warn once a pair of tool and register."""
    tool, slot = divmod(pair, 10000)
    run.warn("h-differs-from-tool", f"tool {tool} moves with the length in register H{slot}",
             why="most shops keep the length of tool n in register n", do=f"check H{slot}, or write H{tool}",
             key=str(pair))  # fmt: skip
    run.h_pending = None


def move(run: Run, said: Said, code: int) -> None:
    """G0 to G3 with the axis words of the block."""
    modal = run.modal
    stood = list(run.modal.turn)
    rotated = rotary_words(run, said)
    if code in (20, 30):
        _arc(run, said, code)
        return
    target, given = target_of(run, said)
    if not given and not rotated:
        return
    h_check(run, code == 10 or "Z" in given)
    if code == 10:
        check_feed(run, said, "G1")
    run.changed()
    row = run.row(Kind.RAPID if code == 0 else Kind.LINE)
    if rotated and (not given or (run.modal.turn != stood and math.dist(target, run.at) <= 1e-12)):
        run.put(row)
    elif run.comp is not None:
        run.comp.line(run, row, target)
    else:
        run.straight(row, target)
    if "X" in given or "Y" in given:
        run.blind = 0
    modal.motion = code


def _arc(run: Run, said: Said, code: int) -> None:
    modal = run.modal
    name = g_name(code)
    given = said.axes()
    centred = any(said.has(letter) for letter in "IJKR")
    if not given and not centred:
        return
    if not given and said.has("R") and not any(said.has(letter) for letter in "IJK"):
        raise Fault("arc-missing-end", f"{name} with R needs an end point", word=name)
    target, _ = target_of(run, said)
    h_check(run, True)
    check_feed(run, said, name)
    centre, normal, sweep = arc_of(run, said, code == 20, given, target)
    for letter in "IJKR":
        said.take(letter)
    run.changed()
    row = run.row(Kind.ARC)
    if run.comp is not None:
        run.comp.arc(run, row, target, (centre[0], centre[1]), sweep)
    else:
        if math.dist(run.at, modal.pos) > SAME_POINT_MM:
            # just after compensation: the tool stands beside the contour, an arc can not lead back
            raise Fault(
                "comp-entry-on-arc", "the first move after G40 is an arc", do="leave the contour on a straight move"
            )
        run.curve(row, target, centre, normal, sweep)
        modal.pos = list(target)
    run.blind = 0
    modal.motion = code


def machine_move(run: Run, said: Said, code: int) -> None:
    """G53: to machine coordinates of the gauge point."""
    if run.comp is not None:
        raise Fault("not-with-comp", "G53 while compensation is on", do="G40 first")
    if code not in (0, 10):
        raise Fault("g53-without-g0-g1", "G53 needs G0 or G1", word="G53", do="write G0 on the line")
    given = said.axes()
    if not given:
        if run.strict:
            raise Fault("missing-axis-words", "G53 without axis words", word="G53")
        return
    if code == 10:
        check_feed(run, said, "G1")
    machine = run.machine()
    shift = run.store.shift(run.modal)
    target = list(run.at)
    for letter in given:
        k = AXES.index(letter)
        value = said.length(letter) or 0.0
        target[k] += value - machine[k]
        if k == 2:
            target[k] = value - shift[k] - run.modal.length_mm
        else:
            target[k] = value - shift[k]
    run.changed()
    run.straight(run.row(Kind.RAPID if code == 0 else Kind.LINE, flags=MACHINE_POINT), target)
    run.modal.motion = code


def go_home(run: Run, said: Said, code: int) -> None:
    """G28 and G30: over the programmed point to the home position."""
    modal = run.modal
    if run.comp is not None:
        raise Fault("not-with-comp", f"{g_name(code)} while compensation is on", do="G40 first")
    given = said.axes()
    home = run.store.home28 if code == 280 else run.store.home30
    run.changed()
    if given:
        via = list(run.at)
        x, y = turned(modal, via[0], via[1], back=True)
        flat = [x, y, via[2]]
        for letter in given:
            k = AXES.index(letter)
            value = said.length(letter) or 0.0
            flat[k] = flat[k] + value if modal.distance == 910 else value
        if "X" in given or "Y" in given:
            flat[0], flat[1] = turned(modal, flat[0], flat[1])
        else:
            flat[0], flat[1] = via[0], via[1]
        if modal.distance == 900 and math.dist(flat, via) > SAME_POINT_MM and not run.strict:
            down = flat[2] < via[2] - SAME_POINT_MM
            run.warn(
                "g28-via-point", f"{g_name(code)} passes over the work position of its words on the way home",
                why="in G90 they are a point in work coordinates" + (", and it lies lower than the tool now" if down else ""),
                do=f"write G91 {g_name(code)} {given[-1]}0", key="down" if down else "over",
            )  # fmt: skip
        run.straight(run.row(Kind.RAPID), flat)
    turning = [letter for letter in run.control.rotary_axes if letter in "AB" and (run.strict or said.has(letter))]
    axes = [AXES.index(letter) for letter in given] if (given or turning) and not run.strict else [0, 1, 2]
    stood = list(modal.turn)
    rotary_words(run, said)
    for letter in turning:
        modal.turn["AB".index(letter)] = 0.0
    shift = run.store.shift(modal)
    target = list(run.at)
    for k in axes:
        target[k] = home[k] - shift[k] - (modal.length_mm if k == 2 else 0.0)
    if modal.turn != stood and math.dist(target, run.at) <= 1e-12:
        run.put(run.row(Kind.RAPID, flags=MACHINE_POINT))
    run.straight(run.row(Kind.RAPID, flags=MACHINE_POINT), target)


def probe(run: Run, said: Said, code: int) -> None:
    """G38.2 and its kin: straight at feed until the probe meets something."""
    modal, store = run.modal, run.store
    name = g_name(code)
    if run.comp is not None:
        raise Fault("not-with-comp", f"{name} while compensation is on", do="G40 first")
    if modal.feed_mode == 930:
        raise Fault("probe-in-inverse-time", f"{name} with G93", do="go back to G94")
    for letter in ROTARY:
        if said.has(letter) and said.values[letter] != 0:
            raise Fault("axis-not-on-machine", f"{name} may not turn an axis", word=said.text(letter))
    if not said.axes():
        raise Fault("missing-axis-words", f"{name} without axis words", word=name)
    target, _ = target_of(run, said)
    if modal.rpm != 0:
        raise Fault("probe-spindle-turning", f"{name} with the spindle turning", why="the probe would be destroyed",
                    do="M5 before the probe is used")  # fmt: skip
    check_feed(run, said, name)
    if math.dist(target, run.at) < SHORTEST_PROBE_MM:
        raise Fault("probe-too-short", f"{name} moves less than {SHORTEST_PROBE_MM} mm", word=name)
    may_miss = code in MAY_MISS
    if run.contact is None:
        run.warn("depends-on-probe", f"{name}: what the probe meets is not worked out here", word=name)
        store.probe_unknown = True
        point: Vec | None = None
    else:
        met = run.contact(run.ask(target))
        if met is None and not may_miss:
            raise Fault("probe-no-contact", f"{name} meets nothing on its way", word=name,
                        why="the control would stop with an alarm", do="check stock, offset and target")  # fmt: skip
        point = list(met) if met is not None else None
        store.probe_unknown = False
        if may_miss:
            run.warn("depends-on-probe", f"{name} goes on when it meets nothing", word=name, key="miss")
    run.changed()
    flags = (PROBE_CONTACT if point is not None else 0) | (PROBE_MAY_MISS if may_miss else 0)
    row = run.row(Kind.PROBE, flags=flags)
    end = point if point is not None else target
    row[FEED] = run.feed(math.dist(end, run.at))
    run.straight(row, end)
    store.probe[:3] = end

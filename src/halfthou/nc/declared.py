"""Codes the machine file declares: their stated effect, and nothing else."""

from halfthou.nc.block import Said
from halfthou.nc.fault import Fault
from halfthou.nc.rows import END
from halfthou.nc.run import Run, parts
from halfthou.nouns.machine import CodeEffect
from halfthou.nouns.moves import AIR, FLOOD, MIST, STOP_DECLARED, THROUGH, Kind

COOLANT = {"flood": FLOOD, "mist": MIST, "through": THROUGH, "air": AIR}
SPINDLE = {"cw": 1, "ccw": -1, "stop": 0, "orient": 0}


def act_declared(run: Run, said: Said, effect: CodeEffect) -> None:
    """Apply one declared code. Its arguments are taken; undeclared ones stay and are refused as unused."""
    for letter in effect.arguments:
        said.take(letter)
    if effect.coolant:
        bits = 0 if effect.coolant == "off" else run.modal.coolant | COOLANT[effect.coolant]
        parts(run, coolant=bits)
    if effect.spindle:
        parts(run, spindle=SPINDLE[effect.spindle])
    if effect.changes_tool and run.modal.next_tool >= 0:
        parts(run, tool=run.modal.next_tool, spindle=0)
        run.put(run.row(Kind.TOOL_CHANGE))
    _moves(run, effect)
    if effect.stop:
        run.put(run.row(Kind.STOP, stop=STOP_DECLARED))
    _unknowns(run, effect)


def _moves(run: Run, effect: CodeEffect) -> None:
    stands = all(v is None for v in effect.ends_at_mm)
    if stands and not effect.time_s and effect.sweeps_low_mm is None:
        return
    if run.comp is not None and not stands:
        raise Fault("not-with-comp", f"{effect.word} moves while compensation is on", word=effect.word, do="G40 first")
    row = run.row(Kind.DECLARED, dwell=effect.time_s)
    if stands:
        run.put(row)
        return
    machine = run.machine()
    target = list(run.at)
    for k, value in enumerate(effect.ends_at_mm):
        if value is not None:
            target[k] += value - machine[k]
    row[END] = tuple(target)
    run.put(row)
    run.at = list(target)
    run.modal.pos = list(target)


def _unknowns(run: Run, effect: CodeEffect) -> None:
    """Numbers that only the machine will know."""
    store = run.store
    for number in effect.sets_parameters:
        store.values.pop(number, None)
    if effect.sets_parameters or effect.sets_offset or effect.sets_length:
        store.unknown.update(effect.sets_parameters)
        what = "variables" if effect.sets_parameters else "an offset" if effect.sets_offset else "a tool length"
        run.warn("value-not-known", f"{effect.word} sets {what} at the machine: the job's value is used", word=effect.word,
                 why="what it measures is known only at the machine", key=effect.word)  # fmt: skip
    if effect.sets_offset and effect.sets_offset in store.known:
        run.changed()

"""H and D words: which register's length and radius are in force, and compensation switched on and off.

Source: NISTIR 6556, 3.5.10, 3.5.11; lone H and D words are common practice, from memory.
"""

from halfthou.nc.block import Said
from halfthou.nc.comp import StrictCompensation
from halfthou.nc.comp_mill import MillCompensation
from halfthou.nc.fault import Fault
from halfthou.nc.run import Run, parts
from halfthou.nc.tables import g_name


def compensation_words(run: Run, said: Said) -> None:
    """G40, G41, G42 and D. Raises Fault."""
    code, modal = said.g.get("compensation"), run.modal
    if code is None:
        return
    if code == 400:
        if run.comp is not None:
            run.comp.finish(run)
            run.comp = None
        parts(run, comp=400, radius_mm=0.0)
        return
    name = g_name(code)
    if modal.plane != 170:
        raise Fault("comp-plane", f"{name} needs the XY plane", word=name, do="G17 first")
    slot = (
        said.integer("D") if said.has("D") else (modal.d_slot if modal.d_slot >= 0 and not run.strict else modal.tool)
    )
    slot = slot or 0
    if slot < 0:
        raise Fault("negative-value", "D must not be negative", word=said.text("D"))
    if slot > run.control.register_slots:
        raise Fault(
            "tool-out-of-range", f"D{slot}: there are {run.control.register_slots} registers", word=said.text("D")
        )
    if run.comp is not None:
        if not run.strict and code == modal.comp and slot == modal.radius_slot:
            return
        raise Fault("comp-already-on", f"{name} while compensation is on", word=name, do="G40 first")
    if said.also_g53 or said.g.get("cycle", 800) != 800:
        raise Fault("not-with-comp", f"{name} with G53 or a cycle", word=name)
    radius = run.store.registers.get(slot, [0.0, 0.0])[1] if slot else 0.0
    if slot and slot not in run.store.registers:
        _no_register(run, "D", slot)
    side = 1 if code == 410 else -1
    if radius < 0:
        side = -side
    modal.comp, modal.radius_slot, modal.radius_mm = code, slot, abs(radius)
    run.comp = StrictCompensation(side, abs(radius)) if run.strict else MillCompensation(side, abs(radius))
    run.blind = 0
    run.changed()


def _no_register(run: Run, letter: str, slot: int) -> None:
    run.warn("register-not-given", f"register {letter}{slot} is not in the job: taken as zero", word=f"{letter}{slot}",
             why="the value at the machine decides where the tool goes",
             do="give it with the tool (length_register, radius_register)", key=f"{letter}{slot}")  # fmt: skip


def length_words(run: Run, said: Said) -> None:
    """G43, G49 and H. Raises Fault."""
    code, modal = said.g.get("tool length"), run.modal
    if code is None:
        if not run.strict and said.has("H"):
            slot = _h_slot(run, said)
            modal.h_slot = slot
            if modal.length == 430:
                _use_length(run, slot)
        return
    if code == 490:
        _use_length(run, 0)
        parts(run, length=490)
        return
    if not said.has("H"):
        if run.strict or modal.h_slot < 0:
            raise Fault("missing-word", "G43 needs H", word="G43", do=f"write G43 H{modal.tool or 1}")
        slot = modal.h_slot
    else:
        slot = _h_slot(run, said)
    modal.length = 430
    modal.h_slot = slot
    _use_length(run, slot)


def _h_slot(run: Run, said: Said) -> int:
    text = said.text("H")
    slot = said.integer("H") or 0
    if slot < 0:
        raise Fault("negative-value", "H must not be negative", word=text)
    if slot > run.control.register_slots:
        raise Fault("tool-out-of-range", f"H{slot}: there are {run.control.register_slots} registers", word=text)
    return slot


def _use_length(run: Run, slot: int) -> None:
    modal = run.modal
    value = run.store.registers.get(slot, [0.0, 0.0])[0] if slot else 0.0
    if slot and slot not in run.store.registers:
        _no_register(run, "H", slot)
    old = modal.length_mm
    modal.length_slot, modal.length_mm = slot, value
    run.h_pending = None
    if value != old:
        modal.pos = [modal.pos[0], modal.pos[1], modal.pos[2] + old - value]
        run.at = [run.at[0], run.at[1], run.at[2] + old - value]
    run.changed()

"""Setting offsets from a program: G10, G92 and its kin, G52.

Source: NISTIR 6556, 3.5.5, 3.5.18; G10 L20, the tool forms and G52 are common practice, from memory.
"""

from halfthou.nc.block import Said
from halfthou.nc.fault import Fault
from halfthou.nc.run import Run

AXES = "XYZ"


def set_data(run: Run, said: Said) -> None:
    """G10 L2 and L20 (work offsets); L1, L10 to L13 (tool table) only where the machine file allows it."""
    number = said.integer("L")
    if number is None:
        raise Fault("missing-word", "G10 needs L", word="G10")
    if number in (1, 10, 11, 12, 13):
        _tool_data(run, said, number)
        return
    if number not in (2, 20) or (run.strict and number != 2):
        raise Fault("unsupported-g-code", f"G10 L{number} is not read", word=said.text("L"))
    if run.comp is not None:
        raise Fault("not-with-comp", "G10 while compensation is on", do="G40 first")
    system = said.integer("P")
    if system is None:
        raise Fault("missing-word", "G10 needs P", word="G10")
    if system not in run.store.origins or not 1 <= system <= 9:
        raise Fault("bad-coord-system", f"G10 P{system}: work offsets are numbered 1 to 9", word=said.text("P"))
    if run.modal.distance == 910 and not run.strict and number == 2:
        raise Fault("ambiguous-incremental-g10", "G10 L2 in G91", why="some controls set the value, some add it",
                    do="write G90 on the line")  # fmt: skip
    machine = run.machine()
    origin, known = run.store.origins[system], list(run.store.known[system])
    for letter in said.axes():
        k = AXES.index(letter)
        value = said.length(letter) or 0.0
        if number == 2:
            origin[k], known[k] = value, True
        else:
            length = run.modal.length_mm if k == 2 else 0.0
            origin[k] = machine[k] - run.modal.shift92[k] - run.modal.shift52[k] - length - value
            known[k] = run.store.known[run.modal.system][k]
    run.store.known[system] = (known[0], known[1], known[2])
    run.stand(machine)


def _tool_data(run: Run, said: Said, number: int) -> None:
    if run.strict or not run.control.g10_tools:
        raise Fault("unsupported-g-code", f"G10 L{number} writes the tool table", word="G10",
                    why="tool data decide collisions, so a program may not change them unseen",
                    do="allow it in the machine file (g10_tools), or take the line out")  # fmt: skip
    slot, value = said.integer("P"), said.length("R")
    if slot is None or value is None:
        raise Fault("missing-word", f"G10 L{number} needs P and R", word="G10")
    if not 1 <= slot <= run.control.register_slots:
        raise Fault(
            "tool-out-of-range", f"G10 P{slot}: there are {run.control.register_slots} registers", word=said.text("P")
        )
    register = run.store.registers.setdefault(slot, [0.0, 0.0])
    part = 1 if number in (12, 13) else 0
    if part and run.control.radius_register == "diameter":
        value /= 2
    add = run.modal.distance == 910 or number in (11, 13)
    register[part] = register[part] + value if add else value
    run.changed()


def shift92(run: Run, said: Said, code: int) -> None:
    """G92: the present position gets the given numbers; G92.1 clears, G92.2 switches off, G92.3 switches on."""
    if run.comp is not None:
        raise Fault("not-with-comp", "G92 while compensation is on", do="G40 first")
    modal, store = run.modal, run.store
    machine = run.machine()
    if code == 920:
        given = said.axes()
        if not given:
            raise Fault("missing-axis-words", "G92 needs an axis word", word="G92")
        for letter in given:
            k = AXES.index(letter)
            value = said.length(letter) or 0.0
            modal.shift92[k] += run.at[k] - value
            store.saved92[k] = modal.shift92[k]
        run.stand(machine)
        return
    if code == 923:
        modal.shift92 = list(store.saved92)
    else:
        modal.shift92 = [0.0, 0.0, 0.0]
        if code == 921:
            store.saved92[:] = [0.0, 0.0, 0.0]
    run.stand(machine)


def shift52(run: Run, said: Said) -> None:
    """G52: a local shift, absolute; zero cancels (mill)."""
    if run.comp is not None:
        raise Fault("not-with-comp", "G52 while compensation is on", do="G40 first")
    given = said.axes()
    if not given:
        raise Fault("missing-axis-words", "G52 needs an axis word", word="G52")
    machine = run.machine()
    for letter in given:
        run.modal.shift52[AXES.index(letter)] = said.length(letter) or 0.0
    run.stand(machine)

"""Subprograms, macro calls, jumps and loops (mill profile).

Common practice, from memory (language reference 13); the letters of G65 are from one public page.
"""

from dataclasses import dataclass, field

from halfthou.nc.block import Said
from halfthou.nc.book import Book, Routine
from halfthou.nc.declared import act_declared
from halfthou.nc.expr import evaluate, whole
from halfthou.nc.fault import Fault
from halfthou.nc.run import Run
from halfthou.nc.words import Block

MOST_DEPTH = 10
PACKED = 10000
ARGUMENTS = {
    "A": 1, "B": 2, "C": 3, "I": 4, "J": 5, "K": 6, "D": 7, "E": 8, "F": 9, "H": 11, "M": 13, "Q": 17, "R": 18,
    "S": 19, "T": 20, "U": 21, "V": 22, "W": 23, "X": 24, "Y": 25, "Z": 26,
}  # fmt: skip


@dataclass(slots=True)
class Level:
    """One routine being run. pc: the next line (0-based)."""

    routine: Routine
    pc: int
    locals: dict[int, float]
    call: int = -1
    left: int = 0  # repeats still to do
    repeat: int = 1
    caller_line: int = 0
    loops: list[tuple[int, int]] = field(default_factory=list)


@dataclass(slots=True)
class Wanted:
    """A call or return that a block asks for, done after everything else on it."""

    kind: str  # "call", "macro", "return"
    number: int = 0
    count: int = 1
    label: int | None = None
    arguments: dict[int, float] = field(default_factory=dict)


def wanted(run: Run, said: Said) -> Wanted | None:
    """M98, M99 or G65 on this block; their words are taken."""
    if run.strict:
        return None
    if said.g.get("one-block") == 650:
        number = said.integer("P")
        if number is None:
            raise Fault("missing-word", "G65 needs P", word="G65")
        count = said.integer("L")
        arguments = {}
        for letter in list(said.values):
            if letter in ARGUMENTS and letter not in said.used:
                arguments[ARGUMENTS[letter]] = said.take(letter) or 0.0
        return Wanted("macro", number, 1 if count is None else count, arguments=arguments)
    if 98 in said.m and 99 in said.m:
        raise Fault("modal-group-conflict", "M98 and M99 in one block", word="M99")
    if 98 in said.m:
        number = said.integer("P")
        if number is None:
            raise Fault("missing-word", "M98 needs P", word="M98")
        count = said.integer("L")
        return Wanted("call", number, -1 if count is None else count)
    if 99 in said.m:
        return Wanted("return", label=said.integer("P"))
    return None


def resolve(book: Book, want: Wanted) -> tuple[Routine, int]:
    """The routine a call means, and how often; raises Fault."""
    number, count = want.number, want.count
    direct = book.routines.get(number)
    if want.kind == "call" and count < 0 and number >= PACKED:
        packed = book.routines.get(number % PACKED)
        if direct is not None and packed is not None:
            raise Fault("ambiguous-subprogram", f"P{number}: O{number} once, or O{number % PACKED} "
                        f"{number // PACKED} times?", word=f"P{number}", do="write the count with L")  # fmt: skip
        if direct is None and packed is not None:
            return packed, number // PACKED
    if direct is None:
        raise Fault("subprogram-not-found", f"O{number} is in none of the files", word=f"P{number}",
                    why="its moves are unknown, so it is never skipped",
                    do="add its file to the job, or declare its effect in the machine file")  # fmt: skip
    return direct, 1 if count < 0 else count


def enter(run: Run, book: Book, stack: list[Level], want: Wanted, said: Said) -> None:
    """Do a call: push the routine, or apply its declared effect."""
    declared = next((e for e in run.control.codes if e.word == f"O{want.number}"), None)
    if declared is not None and want.number not in book.routines:
        for _ in range(max(1, want.count)):
            act_declared(run, said, declared)
        return
    routine, count = resolve(book, want)
    if count < 1:
        return
    if len(stack) > MOST_DEPTH:
        raise Fault("call-depth", f"calls nested deeper than {MOST_DEPTH}", word=f"P{want.number}")
    top = stack[-1]
    top.locals = run.store.locals
    inner = dict(want.arguments) if want.kind == "macro" else run.store.locals
    call = run.rows.call(run.program, run.line, run.call, 1)
    stack.append(Level(routine, routine.first, inner, call, count - 1, 1, run.line))
    run.store.locals = inner
    run.call = call


def leave(run: Run, book: Book, stack: list[Level], label: int | None) -> None:
    """M99: repeat, or back to the caller; raises Fault in the main program."""
    top = stack[-1]
    if len(stack) == 1:
        if label is not None:
            top.pc = book.find_label(top.routine, label, top.pc - 1)
            return
        raise Fault("endless-program", "M99 in the main program starts it again for ever", word="M99",
                    why="the cycle has no end to report", do="end it with M30, or run one cycle")  # fmt: skip
    caller = stack[-2]
    if label is None and top.left > 0:
        top.left -= 1
        top.repeat += 1
        top.pc = top.routine.first
        top.loops.clear()
        top.call = run.rows.call(caller.routine.program, top.caller_line, caller.call, top.repeat)
        run.call = top.call
        return
    target = None if label is None else book.find_label(caller.routine, label, caller.pc - 1)
    stack.pop()
    run.store.locals = caller.locals
    run.call = caller.call
    if target is not None:
        caller.pc = target


def flow(run: Run, book: Book, level: Level, block: Block) -> bool:
    """IF, GOTO, WHILE, END. True when the rest of the block is to be executed."""
    line = level.pc - 1

    def true() -> bool:
        if block.condition is None:
            return True
        value = evaluate(block.condition, lambda n: run.store.read(n, run.modal), run.rules, condition=True)
        return bool(value)

    if block.flow in ("goto", "if-goto"):
        if block.flow == "goto" or true():
            assert block.target is not None
            value = evaluate(block.target, lambda n: run.store.read(n, run.modal), run.rules)
            level.pc = book.find_label(level.routine, whole(value or 0.0, "a jump target"), line)
        return False
    if block.flow == "if-then":
        return true()
    if block.flow == "while":
        end = book.loop_end(level.routine, line, block.loop)
        level.loops[:] = [pair for pair in level.loops if pair[0] != block.loop]
        if true():
            level.loops.append((block.loop, line))
        else:
            level.pc = end + 1
        return False
    number = block.loop
    while level.loops and level.loops[-1][0] != number:
        level.loops.pop()
    if not level.loops:
        raise Fault("unmatched-loop", f"END{number} without its DO{number}", word=f"END{number}")
    level.pc = level.loops[-1][1]
    return False

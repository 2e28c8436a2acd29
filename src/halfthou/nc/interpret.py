"""A program into moves: reads block after block and does what the control would do.

Promise: every file ends in moves or in a ProgramError with one complaint that names the block; nothing is guessed, and
every word is either used or reported. The plain-block path gives the same rows as the full one.
"""

from collections.abc import Sequence

from halfthou.base.errors import ProgramError
from halfthou.base.watch import QUIET, Watch
from halfthou.nc.act import act
from halfthou.nc.block import Said, say
from halfthou.nc.book import Book
from halfthou.nc.calls import Level, enter, flow, leave, wanted
from halfthou.nc.expr import Number, evaluate, index_of
from halfthou.nc.fault import Fault
from halfthou.nc.motion import h_check, say_h
from halfthou.nc.run import Run
from halfthou.nc.start import Contact, Start
from halfthou.nc.words import PLAIN, Block
from halfthou.nouns.machine import Control
from halfthou.nouns.moves import STOP_M0, Kind, Reading
from halfthou.nouns.program import Program

KEEP_LINES = 50_000
EVERY = 4096
BLIND = 2


def interpret(
    program: Program, library: Sequence[Program], control: Control, start: Start, *, op: int = 0,
    contact: Contact | None = None, watch: Watch = QUIET, plain: bool = True,
) -> Reading:  # fmt: skip
    """Read `program` (subprograms also from `library`) to its end.

    plain=False reads every block the long way (the twin of the plain-block path). Raises ProgramError, Cancelled.
    """
    programs = (program, *library)
    run = Run(programs, control, start, op, contact)
    try:
        book = Book(programs, run.strict)
        _Loop(run, book, watch, plain).go()
        _ends(run, book)
    except Fault as fault:
        line = fault.line or run.line or max(1, len(program.lines))
        raise ProgramError([fault.complaint(programs[run.program], line)]) from None
    except RecursionError:
        raise ProgramError(
            [Fault("bad-number", "a formula is nested too deep").complaint(programs[run.program], run.line or 1)]
        ) from None
    return _reading(run)


class _Loop:
    """Fetches blocks until the program ends."""

    def __init__(self, run: Run, book: Book, watch: Watch, plain: bool) -> None:
        self.run, self.book, self.watch = run, book, watch
        self.total = sum(len(p.lines) for p in run.programs)
        self.keep = self.total <= KEEP_LINES
        self.plain = plain and not run.strict and run.control.decimal_mode == "as_written"
        self.stack = [Level(book.main, book.main.first, run.store.locals)]
        switch = run.start.block_delete
        self.all_off, self.switches = switch is True, switch if isinstance(switch, frozenset) else frozenset()

    def go(self) -> None:
        """Until M2, M30 or the end of the text."""
        run, budget = self.run, self.run.control.block_budget + self.total
        while not run.ended:
            level = self.stack[-1]
            if level.pc >= level.routine.last:
                if len(self.stack) == 1:
                    return
                run.line = level.routine.last
                raise Fault("no-program-end", "the subprogram ends without M99", do="end it with M99")
            run.program, run.line = level.routine.program, level.pc + 1
            level.pc += 1
            run.blocks_run += 1
            if run.blocks_run % EVERY == 0:
                self.watch.step("reading the program", min(run.blocks_run, self.total), self.total)
                if run.blocks_run > budget:
                    raise Fault("endless-program", f"more than {run.control.block_budget} blocks were repeated")
            elif run.blocks_run > budget:
                raise Fault("endless-program", f"more than {run.control.block_budget} blocks were repeated")
            text = run.programs[run.program].lines[run.line - 1]
            if self.plain and self._quick(text):
                continue
            self._block(level, text)

    def _quick(self, text: str) -> bool:
        """A block of only G0/G1, X, Y, Z, F in the plain state; False = read it the long way."""
        run, modal = self.run, self.run.modal
        if (
            run.comp is not None or modal.cycle or modal.distance != 900 or modal.rotated or modal.feed_mode != 940
            or modal.motion not in (0, 10) or run.at != modal.pos
        ):  # fmt: skip
            return False
        match = PLAIN.fullmatch(text)
        if match is None:
            return False
        g, x, y, z, f = match.groups()
        if x is None and y is None and z is None:
            return False
        if run.decimals[0] and not run.decimals[1]:
            return False
        motion = modal.motion if g is None else (10 if g == "1" else 0)
        feed = modal.feed
        unit = modal.unit_mm
        if f is not None:
            feed = float(f) * unit
        if motion == 10 and not feed:
            return False
        if f is not None or motion != modal.motion:
            modal.motion, modal.feed = motion, feed
            run.state_row = -1
        run.words_read += 5 - match.groups().count(None)
        run.words_used += 5 - match.groups().count(None)
        run.path_id += 1
        h_check(run, motion == 10 or z is not None)
        for value in (x, y, z):
            if value is not None and "." in value:
                run.decimals[1] = True
                break
        pos = modal.pos
        target = [
            pos[0] if x is None else float(x) * unit, pos[1] if y is None else float(y) * unit,
            pos[2] if z is None else float(z) * unit,
        ]  # fmt: skip
        run.straight(run.row(Kind.RAPID if motion == 0 else Kind.LINE), target)
        return True

    def _block(self, level: Level, text: str) -> None:
        """One block the long way."""
        run = self.run
        if not text.strip(" \t\0"):
            return
        block = self.book.block(run.program, run.line - 1, self.keep)
        if block.delete is not None:
            run.slashes = True
            if self.all_off or block.delete in self.switches:
                return
        if block.spaced and not run.strict:
            run.warn("space-in-number", "a number has a space inside: it is read as one number",
                     do="take the space out")  # fmt: skip
        for message in block.messages:
            run.messages.append((run.line, message))
        if block.flow and not flow(run, self.book, level, block):
            return
        if block.empty:
            return
        self._execute(block)

    def _execute(self, block: Block) -> None:
        run, modal = self.run, self.run.modal
        seen: set[int] = set()

        def read(number: int) -> Number:
            seen.add(number)
            return run.store.read(number, modal)

        said = say(block, run.control, read, run.rules, modal.unit_mm)
        settings = self._settings(block, read, seen)
        run.words_read += said.words_read
        if not run.strict:
            _decimals(run, said)
        run.path_id += 1
        xy = bool(said.values.keys() & {"X", "Y", "I", "J"})
        want = wanted(run, said)
        act(run, said)
        self._apply(settings, block)
        if run.comp is not None and said.words_read:
            run.blind = 0 if xy else run.blind + 1
            if run.blind > BLIND and not run.strict:
                run.warn("comp-blind-blocks", "more than two blocks without XY motion while compensation is on",
                         why="some controls then lose the corner ahead")  # fmt: skip
        if want is not None and not run.ended:
            if want.kind == "return":
                leave(run, self.book, self.stack, want.label)
            else:
                enter(run, self.book, self.stack, want, said)

    def _settings(self, block: Block, read: object, seen: set[int]) -> list[tuple[int, Number]]:
        """All indexes and values first, with the old variables (NISTIR 6556, 3.3.3)."""
        run = self.run
        if not block.settings:
            return []
        out: list[tuple[int, Number]] = []
        by_words = set(seen)
        earlier: set[int] = set()
        clash: set[int] = set()
        for setting in block.settings:
            used: set[int] = set()

            def note(number: int, used: set[int] = used) -> Number:
                used.add(number)
                return run.store.read(number, run.modal)

            index = index_of(setting.index, note, run.rules)
            out.append((index, evaluate(setting.value, note, run.rules)))
            clash |= used & earlier
            earlier.add(index)
        clash |= by_words & earlier
        if clash and not run.strict:
            names = ", ".join(f"#{n}" for n in sorted(clash))
            run.warn("set-and-used-in-block", f"{names} is set and used in one block: the old value is used", word="#",
                     why="some controls set first, then use", do="write two blocks")  # fmt: skip
        if run.strict:
            out = [(n, 0.0 if v is None else v) for n, v in out]
        return out

    def _apply(self, settings: list[tuple[int, Number]], block: Block) -> None:
        run, store = self.run, self.run.store
        for index, value in settings:
            if not run.strict and index == 3000 and store.depends:
                run.warn(
                    "depends-on-probe",
                    "whether the program alarms here depends on the probe",
                    word="#3000",
                    key="alarm",
                )
                continue
            if not run.strict and index == 3000:
                raise Fault("program-alarm", f"the program raises its alarm {value or 0:g}: {block.comment.strip()}",
                            word="#3000", do="find out why it got here")  # fmt: skip
            if not run.strict and index == 3006:
                run.put(run.row(Kind.STOP, stop=STOP_M0))
                run.messages.append((run.line, block.comment.strip()))
                continue
            machine = run.machine()
            store.write(index, value, run.modal.unit_mm)
            if 5221 <= index <= 5383:
                run.stand(machine)
        if store.timer_reads or store.unset_reads:
            numbers = sorted({*store.timer_reads, *store.unset_reads})
            names = ", ".join(f"#{n}" for n in numbers[:6])
            run.warn("value-not-known", f"{names}: known only at the machine, read as zero or empty", word="#",
                     do="check what the program does with it", key=names)  # fmt: skip
            store.timer_reads.clear()
            store.unset_reads.clear()


def _decimals(run: Run, said: Said) -> None:
    """Lengths with and without a point in one program: a factor 1000 on some controls."""
    seen = run.decimals
    if seen[0] and seen[1]:
        return
    for letter in ("X", "Y", "Z", "I", "J", "K", "R"):
        word = said.words.get(letter)
        if word is not None and word.literal:
            seen[1 if word.point else 0] = True
    if seen[0] and seen[1]:
        run.warn("mixed-decimal-style", "lengths stand with and without a decimal point",
                 why="some controls read a length without point as thousandths",
                 do="write a point in every length, or state the habit in the machine file")  # fmt: skip


def _ends(run: Run, book: Book) -> None:
    """Does the text end as it must?"""
    if run.comp is not None:
        run.comp.finish(run)
    if run.h_pending is not None:
        pair, run.program, run.line = run.h_pending
        say_h(run, pair)
    last = max(1, len(run.programs[0].lines))
    if run.strict:
        if book.open_percent and run.start.end_needed:
            run.program, run.line = 0, last
            raise Fault("missing-end-marker", "the text opens with % and no second % closes it")
        if not run.ended and not book.closed and run.start.end_needed:
            run.program, run.line = 0, last
            raise Fault("no-program-end", "neither M2, M30 nor a pair of % ends the program")
    else:
        run.program, run.line = 0, last
        if book.open_percent:
            run.warn("missing-end-marker", "the text opens with % and no second % closes it")
        if not run.ended and not book.closed and run.start.end_needed:
            run.warn("no-program-end", "the program ends without M2, M30 or %", do="end it with M30")
        if not run.units_stated:
            unit = "inch" if run.modal.units == 200 else "mm"
            run.line = book.main.first + 1
            run.warn("units-not-stated", f"neither G20 nor G21: read in {unit}", why="the machine's last unit would count",
                     do="write G21 or G20 at the top")  # fmt: skip


def _reading(run: Run) -> Reading:
    store, modal = run.store, run.modal
    numbers = {5211, 5212, 5213, 5061, 5062, 5063, *store.values, *store.locals}
    values = ((n, store.read(n, modal)) for n in sorted(numbers))
    at, machine = run.at, run.machine()
    coolant = [name for bit, name in ((1, "mist"), (2, "flood"), (4, "through"), (8, "air")) if modal.coolant & bit]
    turning = {1: "cw", -1: "ccw", 0: "stopped"}[modal.spindle]
    final = (
        ("units", f"G{modal.units // 10}"), ("coord", _system_name(modal.system)),
        ("tool_length", f"G{modal.length // 10}"), ("plane", f"G{modal.plane // 10}"),
        ("distance", f"G{modal.distance // 10}"), ("feed_mode", f"G{modal.feed_mode // 10}"),
        ("comp", f"G{modal.comp // 10}"), ("retract", f"G{modal.retract // 10}"), ("tool", str(modal.tool)),
        ("spindle", f"{turning} {modal.speed_rpm:g}"), ("coolant", " ".join(coolant)),
        ("motion", f"G{modal.motion / 10:g}" if modal.motion >= 0 else "none"),
        ("feed", "none" if modal.feed is None else repr(modal.feed)),
    )  # fmt: skip
    return Reading(
        moves=run.rows.moves(run.programs), findings=run.findings(), messages=tuple(run.messages),
        parameters=tuple((n, v) for n, v in values if v is not None), blocks_run=run.blocks_run,
        words_read=run.words_read, words_used=run.words_used, words_reported=run.words_reported,
        end_work_mm=(at[0], at[1], at[2]), end_machine_mm=(machine[0], machine[1], machine[2]),
        has_block_delete=run.slashes, final=final,
    )  # fmt: skip


def _system_name(system: int) -> str:
    if system > 100:
        return f"G54.1 P{system - 100}"
    return f"G{53 + system}" if system <= 6 else f"G59.{system - 6}"

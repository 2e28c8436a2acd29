"""Which F and S words of the programs a suggestion changes: found by reading the programs once with every number marked.

Every literal F (then every literal S) gets a number of its own, the program is read again, and the feed (speed) of each
move tells the word that governs it. A feed that carries no mark comes from a variable or a formula.
Promise: `differences` lists every move of the copy whose feed, speed or anything else is not what the words ask for.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.base.units import MM_PER_INCH
from halfthou.nc.rewrite import Edit, Spot, edited_lines, like, spots
from halfthou.nouns.feeds import NotWritten, WordChange
from halfthou.nouns.moves import Kind, MoveList
from halfthou.nouns.program import Program

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
Key = tuple[int, int]
Ratios = Mapping[Key, tuple[float, float]]

FIRST = 1_000_000  # the first mark; marks in inch programs arrive 25.4 times as large, so the two never meet
MOST_WORDS = 20_000_000
TURN, INVERSE = 95, 93
SAME_RATIO = 1e-9


@dataclass(frozen=True, slots=True)
class Site:
    """One literal F or S word of one file."""

    file: str
    spot: Spot


@dataclass(frozen=True, slots=True)
class Governed:
    """Moves of one operation (its own rows) and the site of the F and of the S that governs each; -1: none, a variable."""

    op: int
    moves: MoveList
    feed_site: I8
    speed_site: I8


def sites_of(programs: Sequence[Sequence[Program]], letter: str, *, strict: bool) -> tuple[Site, ...]:
    """Every literal word of a letter in every file, arguments of macro calls left out."""
    files = {program.file: program for own in programs for program in own}
    return tuple(
        Site(file, spot)
        for file, program in files.items()
        for spot in spots(program, letter, strict=strict)
        if not spot.argument
    )  # fmt: skip


def marked(programs: Sequence[Program], sites: Sequence[Site]) -> tuple[Program, ...]:
    """The same programs with the number of site k written as FIRST + k, for reading only."""
    edits: dict[str, list[Edit]] = {}
    for k, site in enumerate(sites):
        edits.setdefault(site.file, []).append(Edit(site.spot.line, site.spot.start, site.spot.end, f"{FIRST + k}."))
    return tuple(replace(one, lines=edited_lines(one, edits.get(one.file, []))) for one in programs)


def same_path(a: MoveList, b: MoveList) -> bool:
    """Do two readings make the same moves, feeds and speeds aside?"""
    return not _other(a.moves, b.moves)


def _other(a: Rows, b: Rows) -> list[str]:
    """Columns (feed, speed and state aside) in which two tables differ; ["rows"] when their lengths do."""
    if len(a) != len(b):
        return ["rows"]
    names = [n for n in a.dtype.names or () if n not in ("feed_mm_per_s", "spindle_rpm", "state")]
    return [n for n in names if not np.array_equal(a[n], b[n])]


def feed_sites(read: MoveList, count: int) -> I8:
    """Site of the F word of every row of a reading with marked F words; -1 where the feed carries no mark."""
    rows, states = read.moves, read.states
    state = states[rows["state"]]
    value = rows["feed_mm_per_s"] * 60.0
    turn = np.abs(state["speed_rpm"])
    per_turn = (state["feed_mode"] == TURN) & (turn > 0)
    value = np.where(per_turn, value / np.where(turn > 0, turn, 1.0), value)
    site = _site(value, count)
    bare = (site < 0) & (state["feed_mode"] != INVERSE)
    return np.where(bare, _site(state["feed"], count), site)


def speed_sites(read: MoveList, count: int) -> I8:
    """The same for S words; -1 also where the spindle stands."""
    return _site(np.abs(read.moves["spindle_rpm"]), count, inch=False)


def _site(value: F8, count: int, *, inch: bool = True) -> I8:
    found = np.full(len(value), -1, dtype=np.int64)
    for unit in (1.0, MM_PER_INCH) if inch else (1.0,):
        own = value / unit - FIRST
        near = np.rint(own)
        hit = (np.abs(own - near) < 1e-3) & (near >= 0) & (near < count)
        found[hit] = near[hit].astype(np.int64)
    return found


# -- which words change ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Plan:
    """What is written: new text of each changed site; what is not, and why."""

    feed: dict[int, str]
    speed: dict[int, str]
    words: tuple[WordChange, ...]
    not_written: tuple[NotWritten, ...]


@dataclass(frozen=True, slots=True)
class _Use:
    """One sort of moves that a site governs."""

    site: int
    key: Key
    factor: float
    line: int


def plan(governed: Sequence[Governed], feeds: Sequence[Site], speeds: Sequence[Site], ratios: Ratios) -> Plan:
    """The words to change, after tools whose words cannot be changed alone are taken out, one after another."""
    active = dict(ratios)
    refused: list[NotWritten] = []
    while True:
        why = _refusals(governed, feeds, speeds, active)
        if not why:
            break
        refused += [NotWritten(op=key[0], tool=key[1], why=text) for key, text in why.items()]
        active = {key: value for key, value in active.items() if key not in why}
    of_feed, of_speed = _uses(governed, active, "F"), _uses(governed, active, "S")
    feed, by_feed = _texts(of_feed, feeds)
    speed, by_speed = _texts(of_speed, speeds)
    touched = {u.key for u in of_feed if u.site in feed} | {u.key for u in of_speed if u.site in speed}
    refused += [
        NotWritten(
            op=key[0], tool=key[1], why="its numbers are too coarse for the change: every word would stay as it is"
        )
        for key in active
        if key not in touched
    ]
    words = [
        WordChange(
            file=sites[k].file, line=sites[k].spot.line, column=sites[k].spot.column,
            before=letter + sites[k].spot.text, after=letter + text, op=by[k][0], tool=by[k][1],
        )
        for letter, sites, texts, by in (("F", feeds, feed, by_feed), ("S", speeds, speed, by_speed))
        for k, text in texts.items()
    ]  # fmt: skip
    order = {file: k for k, file in enumerate(dict.fromkeys(site.file for site in (*feeds, *speeds)))}
    words.sort(key=lambda w: (order[w.file], w.line, w.column))
    return Plan(feed, speed, tuple(words), tuple(refused))


def _uses(governed: Sequence[Governed], ratios: Ratios, letter: str) -> list[_Use]:
    """Every (site, tool) pair with the factor that tool asks of that word; 1 for tools and moves that stay."""
    out: list[_Use] = []
    for own in governed:
        rows = own.moves.moves
        site = own.feed_site if letter == "F" else own.speed_site
        mode = own.moves.states["feed_mode"][rows["state"]]
        kinds = np.isin(rows["kind"], (Kind.LINE, Kind.ARC))
        if letter == "F":
            mine = kinds | (rows["kind"] == Kind.PROBE)
        else:
            mine = rows["spindle_rpm"] != 0
        pick = np.flatnonzero(mine)
        if not len(pick):
            continue
        facts = np.stack([site[pick], rows["tool"][pick], mode[pick] == TURN, kinds[pick]], axis=1).astype(np.int64)
        each, first = np.unique(facts, axis=0, return_index=True)
        for (k, tool, turn, travels), at in zip(each.tolist(), first.tolist(), strict=True):
            feed, speed = ratios.get((own.op, tool), (1.0, 1.0))
            factor = speed if letter == "S" else (feed / speed if turn else feed) if travels else 1.0
            out.append(_Use(k, (own.op, tool), factor, int(rows["line"][pick[at]])))
    return out


def _refusals(
    governed: Sequence[Governed], feeds: Sequence[Site], speeds: Sequence[Site], ratios: Ratios
) -> dict[Key, str]:
    """Tools that cannot be written as things stand, each with its first reason."""
    why: dict[Key, str] = {}
    for own in governed:
        rows = own.moves.moves
        inverse = own.moves.states["feed_mode"][rows["state"]] == INVERSE
        for tool in np.unique(rows["tool"][inverse & np.isin(rows["kind"], (Kind.LINE, Kind.ARC))]).tolist():
            if (own.op, tool) in ratios:
                why.setdefault((own.op, tool), "feed as a share of a minute a move (G93) is not rewritten")
    for letter, sites in (("F", feeds), ("S", speeds)):
        uses = _uses(governed, ratios, letter)
        wanted: dict[int, set[float]] = {}
        for use in uses:
            if use.site >= 0:
                wanted.setdefault(use.site, set()).add(round(use.factor, 12))
        for use in uses:
            if use.key not in ratios or use.key in why or (letter == "S" and use.factor == 1.0):
                continue
            if use.site < 0:
                noun = "feed" if letter == "F" else "speed"
                why[use.key] = f"its {noun} in line {use.line} comes from a variable, a formula or an argument"
                continue
            spot, file = sites[use.site].spot, sites[use.site].file
            word = f"{letter}{spot.text} in {file}:{spot.line}"
            if len(wanted[use.site]) > 1:
                others = [u.key for u in uses if u.site == use.site and abs(u.factor - use.factor) > SAME_RATIO]
                if use.factor != 1.0:
                    why[use.key] = f"{word} also governs {_who(others, use.key)} with another factor"
            elif use.factor != 1.0 and not spot.whole:
                why[use.key] = f"{word} has a space or a comment inside its number"
            elif use.factor != 1.0 and float(like(spot.text, spot.value * use.factor)) <= 0.0:
                why[use.key] = f"{word} would become zero"
    return why


def _who(others: Sequence[Key], own: Key) -> str:
    names = dict.fromkeys(
        "other moves of this tool" if key == own else f"T{key[1]}" + (f" of operation {key[0] + 1}" if key[0] != own[0] else "")
        for key in others
    )  # fmt: skip
    return ", ".join(names) or "other moves"


def _texts(uses: Sequence[_Use], sites: Sequence[Site]) -> tuple[dict[int, str], dict[int, Key]]:
    """New text of each site that changes, and one tool that asks for it."""
    texts: dict[int, str] = {}
    by: dict[int, Key] = {}
    for use in uses:
        if use.site < 0 or use.factor == 1.0 or use.site in texts:
            continue
        spot = sites[use.site].spot
        text = like(spot.text, spot.value * use.factor)
        if text != spot.text:
            texts[use.site], by[use.site] = text, use.key
    return texts, by


def edits_of(texts: Mapping[int, str], sites: Sequence[Site]) -> dict[str, list[Edit]]:
    """The edits of every file."""
    out: dict[str, list[Edit]] = {}
    for k, text in texts.items():
        site = sites[k]
        out.setdefault(site.file, []).append(Edit(site.spot.line, site.spot.start, site.spot.end, text))
    return out


# -- the copy read again --------------------------------------------------------------------------------------


def differences(own: Governed, read: MoveList, done: Plan, feeds: Sequence[Site], speeds: Sequence[Site]) -> list[str]:
    """What a reading of the copy does that the changed words do not ask for; [] when every move is as it should be."""
    base, now = own.moves.moves, read.moves
    other = _other(base, now)
    if other:
        return [f"its moves differ in {', '.join(other)}"]
    rate = _rates(done.feed, feeds)[own.feed_site]
    spin = _rates(done.speed, speeds)[own.speed_site]
    turn = own.moves.states["feed_mode"][base["state"]] == TURN
    travel = np.isin(base["kind"], (Kind.LINE, Kind.ARC, Kind.PROBE))
    want = base["feed_mm_per_s"] * np.where(travel, rate * np.where(turn, spin, 1.0), 1.0)
    wrong: list[str] = []
    for name, asked in (("feed_mm_per_s", want), ("spindle_rpm", base["spindle_rpm"] * spin)):
        bad = np.flatnonzero(np.abs(now[name] - asked) > SAME_RATIO * np.maximum(np.abs(asked), 1.0))
        if len(bad):
            wrong.append(f"line {int(base['line'][bad[0]])}: {name} {now[name][bad[0]]:g}, asked for {asked[bad[0]]:g}")
    names = [n for n in own.moves.states.dtype.names or () if n not in ("feed", "speed_rpm")]
    a, b = own.moves.states[base["state"]], read.states[now["state"]]
    wrong += [f"modal {n} differs" for n in names if not np.array_equal(a[n], b[n])]
    return wrong


def _rates(texts: Mapping[int, str], sites: Sequence[Site]) -> F8:
    """New over old number of every site, and 1 at the end for -1."""
    rate = np.ones(len(sites) + 1)
    for k, text in texts.items():
        rate[k] = float(text) / sites[k].spot.value
    return rate

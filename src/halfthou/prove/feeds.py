"""Suggested feeds: how far the stated limits let each tool of each operation go, and what that saves.

Law: at one speed every force, torque and power of the load model goes with the chip as c^(1−mc) (specific force
kc1.1·h^(−mc)), chips go with c, power also with the speed. Limits are taken at the highest load of the coefficients'
band. Chips at the floor of the model (`strip_force.THIN_MM`) go with c itself: the loads are worked out anew with the
suggested feeds, and the feed is taken back where they pass a limit.
Promise: no suggestion passes a limit named in it, at the highest load, in this model; the rest is named as not judged.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import lock
from halfthou.base.units import Display
from halfthou.base.value import Value
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.feeds import FeedLimit, Feeds, FeedSuggestion
from halfthou.nouns.loads import NO_TEETH
from halfthou.nouns.material import Cutting
from halfthou.nouns.moves import TAPPING, Kind, MoveList
from halfthou.prove.feed_limits import LEAST_RATIO, SMALL_RATIO, Bounded, FeedCase, Key, limits_of, speed_of
from halfthou.prove.loads import loads_of
from halfthou.prove.motion import Motion, motion_of

Ratios = Mapping[Key, tuple[float, float]]  # feed, speed

SAVED_S = 0.5
"""A raise that saves less than this is not worth a word (our rule, no source)."""
SPEEDS = 26  # speeds tried between the programmed one and the one its life allows
BY_FINISH = ("reamer", "boring")
BY_THRUST = (
    "drill",
    "spot",
    "countersink",
    "counterbore",
)  # they break by thrust and torsion, which no limit here sees
JUDGES_NOT = (
    "strength of edge and shank, drills' thrust, clamping of tool and part, chips, coolant",
    "surface finish (feed marks grow with the square of the feed per tooth), burrs",
    "bending where a later pass takes the wall away",
)


def scaled(moves: MoveList, ratios: Ratios) -> MoveList:
    """The same moves with the feeds and spindle speeds of some (operation, tool) multiplied."""
    rows = moves.moves.copy()
    travel = np.isin(rows["kind"], (Kind.LINE, Kind.ARC))
    for (op, tool), (feed, speed) in ratios.items():
        own = (rows["op"] == op) & (rows["tool"] == tool)
        rows["feed_mm_per_s"][own & travel] *= feed
        rows["spindle_rpm"][own] *= speed
    return replace(moves, moves=lock(rows))


def suggest(case: FeedCase, watch: Watch = QUIET) -> Feeds:
    """A suggestion, or the reason to leave it, for every tool that has feed moves, in the order of use."""
    rows = case.moves.moves
    feeds = np.isin(rows["kind"], (Kind.LINE, Kind.ARC))
    keys = list(dict.fromkeys(zip(rows["op"][feeds].tolist(), rows["tool"][feeds].tolist(), strict=True)))
    found: dict[Key, FeedSuggestion] = {}
    owns: dict[Key, Bounded] = {}
    for k, key in enumerate(keys):
        watch.step("suggested feeds", k, len(keys))
        own = _own(case, key)
        if isinstance(own, FeedSuggestion):
            found[key] = own
        else:
            owns[key] = own
            found[key] = _one(case, own)
    found = _taken_back(case, found, owns, watch)
    found = _timed(case, found, watch)
    before, after = _motions(case, {}), _motions(case, _ratios(found))
    low, high = case.loads.cutting.spread()
    return Feeds(
        suggestions=tuple(found.values()), saved=_saved(before, after, None),
        before_s=float(sum(m.timing["dur_s"].sum() for m in before)), low_ratio=low, high_ratio=high,
        source=case.loads.cutting.source, said=JUDGES_NOT,
    )  # fmt: skip


def _ratios(found: Mapping[Key, FeedSuggestion]) -> dict[Key, tuple[float, float]]:
    return {key: (one.feed_ratio, one.speed_ratio) for key, one in found.items() if not one.leave}


def _own(case: FeedCase, key: Key) -> Bounded | FeedSuggestion:
    """What bounds a tool, or why it is left as it is."""
    op, number = key
    rows = case.moves.moves
    mine = (rows["op"] == op) & (rows["tool"] == number)
    travel = mine & np.isin(rows["kind"], (Kind.LINE, Kind.ARC))
    tool = next((t for t in case.loads.tools if t.tool.number == number), None)
    table = case.loads.table
    at = np.flatnonzero((table["op"] == op) & (table["tool"] == number))
    top_feed = float(rows["feed_mm_per_s"][travel].max())
    rpm = float(np.abs(rows["spindle_rpm"][mine]).max())

    def leave(why: str) -> FeedSuggestion:
        name = tool.tool.name if tool is not None else f"T{number}"
        return _left(key, name, why, top_feed, rpm)

    if tool is None:
        return leave("it is not in the tool list")
    if tool.tool.kind == "probe":
        return leave("a probe")
    if tool.tool.kind == "tap" or np.any(rows["flags"][mine] & TAPPING):
        return leave("its feed is tied to the spindle by the pitch")
    if not len(at):
        return leave("it meets no stock with the spindle turning")
    if np.any(table["inside"][at] & NO_TEETH):
        return leave("its teeth are not stated: no chip, no load of one tooth")
    if tool.tool.kind in BY_THRUST and not tool.tool.chip_high_mm:
        return leave("what it stands is not judged here, and the tool list states no chip range of its maker")
    if tool.tool.kind in BY_FINISH:
        return leave("its feed makes the surface and the size of the bore, which are not judged here")
    speeds = np.abs(rows["spindle_rpm"][table["move"][at]])
    return Bounded(key, table[at], speeds, case.walls[at], tool, top_feed)


def _left(key: Key, name: str, why: str, feed: float, rpm: float) -> FeedSuggestion:
    return FeedSuggestion(
        op=key[0], tool=key[1], name=name, leave=why, feed_ratio=1.0, speed_ratio=1.0, best_ratio=1.0, most_ratio=1.0,
        binding="", limits=(), not_limited=(), said=(), feed_mm_per_s=feed, speed_rpm=rpm, chip_mm=0.0, life_ratio=None,
        before_s=0.0, after_s=0.0, saved=Value(best=0.0, u=0.0, unit="s"),
    )  # fmt: skip


def _one(case: FeedCase, own: Bounded) -> FeedSuggestion:
    """The best feed over the speeds that are allowed, or why there is none."""
    most_speed, held, speed_said = speed_of(case, own)
    if most_speed < 1.0:
        speeds = [most_speed]
    else:
        speeds = [1.0 + (most_speed - 1.0) * k / (SPEEDS - 1) for k in range(SPEEDS)] if most_speed > 1.0 else [1.0]
    best: tuple[float, float, list[FeedLimit], list[str]] | None = None
    for speed in speeds:
        limits, open_ = limits_of(case, own, speed)
        feed = limits[0].used_ratio
        if best is None or feed > best[0] * (1 + 1e-6):
            best = (feed, speed, limits, open_)
    assert best is not None
    feed, speed, limits, open_ = best
    chip = float(own.table["chip_high_mm"].max())
    one = replace(
        _left(own.key, own.tool.tool.name, "", own.top_feed, float(own.rpm.max())), feed_ratio=feed, speed_ratio=speed,
        best_ratio=min(one.best_ratio for one in limits), most_ratio=min(one.most_ratio for one in limits),
        binding=_binding(limits[0].name, speed, most_speed, held), limits=tuple(limits), not_limited=tuple(open_), said=tuple(speed_said), chip_mm=chip,
    )  # fmt: skip
    why = _why_leave(case, own, one)
    if why:
        return replace(one, leave=why, feed_ratio=1.0, speed_ratio=1.0)
    one = replace(one, said=(*one.said, *_chatter(case, own, feed, speed)))
    if speed != 1.0:
        life = case.loads.cutting.life
        one = replace(one, life_ratio=float(speed ** (-1.0 / life.n)) if life is not None else None)
    return replace(one, said=(*one.said, *_outside(case.loads.cutting, own, feed / speed)))


def _binding(name: str, speed: float, most: float, held: str) -> str:
    """The lowest limit of the feed; where the chip (or the step) sets it, also what holds the speed."""
    if speed != 1.0 and abs(speed - most) < 1e-9 and name in ("chip", "step") and held and held != name:
        return f"{name}, {held}"
    return name


def _why_leave(case: FeedCase, own: Bounded, one: FeedSuggestion) -> str:
    """Why the feed stays: nothing to gain, unsure, or not a matter of feed; "" = change it."""
    first = one.limits[0]
    share = one.feed_ratio
    if one.best_ratio < 1.0 - 1e-9:  # even the best estimate is past a limit
        if share < LEAST_RATIO:
            return f"{first.name} asks for less than {100 * LEAST_RATIO:.0f} % of the feed: {_instead(first.name)} ({first.words})"
        low = own.tool.tool.chip_low_mm
        thick = one.chip_mm * share / one.speed_ratio
        if low and thick < low:
            show = Display(length_unit=case.job.length_unit)
            return f"{first.name} asks for a lower feed, but chips would be {show.length(thick)}, less than the {show.length(low)} its maker gives"
        return (
            "" if share < 1.0 - SMALL_RATIO or one.speed_ratio < 1.0 - SMALL_RATIO else f"{first.name} is at its limit"
        )
    if one.speed_ratio < 1.0 - SMALL_RATIO:
        return ""
    if share < 1.0 - 1e-9:
        return f"{first.name} may be past its limit at the highest load, not at the best estimate ({first.words})"
    if share < 1.0 + SMALL_RATIO:
        return f"{first.name} is at its limit ({first.words})"
    return ""


def _instead(name: str) -> str:
    words = {
        "bending": "leave less for this pass or clamp the tool shorter",
        "stability": "take less depth, or another speed",
    }
    return words.get(name, "take less depth or width")


def _chatter(case: FeedCase, own: Bounded, feed: float, speed: float) -> list[str]:
    """Words where chatter is possible, and where a lower feed brings it nearer."""
    told = case.stable(own.key, speed) if case.stable is not None else None
    if told is None or told.depth_mm <= told.low_mm:
        return []
    chip = feed / speed
    if chip < 1.0 and told.best_mm * chip**case.loads.cutting.mc < told.depth_mm <= told.best_mm:
        return [f"thinner chips cut stiffer: chatter becomes likely at the lower feed ({told.words})"]
    word = "likely" if told.depth_mm > told.best_mm else "possible"
    of = "" if told.measured else " by modes that are only estimated"
    return [f"chatter is {word}{of}; a higher feed at the same speed does not bring it nearer ({told.words})"]


def _outside(cutting: Cutting, own: Bounded, chip: float) -> list[str]:
    """Words when the suggestion rests on loads outside the range of the coefficients."""
    thick = own.table["chip_high_mm"].astype(np.float64) * chip
    low, high = cutting.chip_mm
    time = own.table["time_s"].astype(np.float64)
    words = []
    for out, side in ((thick < low, f"thinner than {low:g} mm"), (thick > high, f"thicker than {high:g} mm")):
        share = float(time[out].sum()) / max(float(time.sum()), 1e-12)
        if share > 0.05:
            words.append(
                f"outside the range of the coefficients: {100 * share:.0f} % of its cutting time with chips {side}"
            )
    return words


# -- check with the loads themselves, and time -----------------------------------------------------------------


def _motions(case: FeedCase, ratios: Ratios) -> list[Motion]:
    moves = scaled(case.moves, ratios) if ratios else case.moves
    return [motion_of(replace(moves, moves=lock(moves.moves[rows])), case.job, op) for op, rows in enumerate(case.rows)]


def _taken_back(
    case: FeedCase, found: dict[Key, FeedSuggestion], owns: Mapping[Key, Bounded], watch: Watch
) -> dict[Key, FeedSuggestion]:
    """Loads worked out anew with the suggested feeds: where one passes a limit, the feed goes back until none does."""
    for _ in range(3):
        ratios = _ratios(found)
        if not ratios:
            return found
        moves = scaled(case.moves, ratios)
        timing = np.concatenate([m.timing for m in _motions(case, ratios)])
        again = loads_of(case.engaged, moves, timing, case.job, case.loads.cutting, case.loads.pitch_mm, watch)
        late = False
        for key in ratios:
            at = np.flatnonzero((again.table["op"] == key[0]) & (again.table["tool"] == key[1]))
            rpm = np.abs(moves.moves["spindle_rpm"][again.table["move"][at]])
            own = replace(owns[key], table=again.table[at], rpm=rpm)
            limits, _ = limits_of(case, own, 1.0)
            first = next((x for x in limits if x.name not in ("step", "machine feed", "stability")), None)
            if first is None or first.used_ratio > 1.0 - 1e-6:
                continue
            late = True
            one = found[key]
            feed = one.feed_ratio * first.used_ratio
            if feed < LEAST_RATIO or (1.0 <= feed < 1.0 + SMALL_RATIO and one.speed_ratio >= 1.0):
                why = f"{first.name} is at its limit ({first.words})"
                found[key] = replace(one, feed_ratio=1.0, speed_ratio=1.0, leave=why, life_ratio=None)
            else:
                found[key] = replace(one, feed_ratio=feed, binding=first.name)
        if not late:
            return found
    return found


def _timed(case: FeedCase, found: dict[Key, FeedSuggestion], watch: Watch) -> dict[Key, FeedSuggestion]:
    """Times before and after from the motion model; a raise that saves nothing is left."""
    before = _motions(case, {})
    for _ in range(2):
        watch.step("suggested feeds", 1, 1)
        after = _motions(case, _ratios(found))
        again = False
        for key, one in found.items():
            saved = _saved(before, after, (case, key))
            was, now = _seconds(case, before, key), _seconds(case, after, key)
            found[key] = replace(one, before_s=was, after_s=now, saved=saved)
            if not one.leave and one.feed_ratio > 1.0 and was - now < SAVED_S and one.speed_ratio >= 1.0:
                again = True
                why = f"a higher feed saves {max(0.0, was - now):.1f} s: the blocks are short for the acceleration, or there are few"
                found[key] = replace(found[key], leave=why, feed_ratio=1.0, speed_ratio=1.0, life_ratio=None, after_s=was,
                                     saved=Value(best=0.0, u=0.0, unit="s"))  # fmt: skip
        if not again:
            break
    return found


def _seconds(case: FeedCase, motions: Sequence[Motion], key: Key) -> float:
    return float(motions[key[0]].timing["dur_s"][_rows(case, key)].sum())


def _rows(case: FeedCase, key: Key) -> NDArray[np.bool_]:
    mine: NDArray[np.bool_] = case.moves.moves["tool"][case.rows[key[0]]] == key[1]
    return mine


def _saved(before: Sequence[Motion], after: Sequence[Motion], of: tuple[FeedCase, Key] | None) -> Value:
    """Seconds saved: best, bounded by what brisk and gentle guesses of the machine give."""
    told = []
    for name in ("dur_s", "low_s", "high_s"):
        total = 0.0
        for op, (a, b) in enumerate(zip(before, after, strict=True)):
            if of is None:
                total += float(a.timing[name].sum() - b.timing[name].sum())
            elif of[1][0] == op:
                mine = _rows(*of)
                total += float(a.timing[name][mine].sum() - b.timing[name][mine].sum())
        told.append(total)
    return Value(best=told[0], u=0.0, unit="s", bound=max(abs(told[0] - x) for x in told[1:]))

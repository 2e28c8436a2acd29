"""Spellings of the stability questions (formulas C1–C3)."""

import math
import re
from typing import Any

import numpy as np

from halfthou.physics import stability as st
from halfthou.physics import stability_time as sd
from tests.published.mechanics_engine import Law, Question, law, out
from tests.published.mechanics_force_laws import ARC, arc_of
from tests.published.mechanics_units import unit

RATIO = "?kr:1=Kr|kr|Kr_ratio|ratio; ?kn:N/mm2=Kn|Krc|Krn|Kr_abs;"
KT = "kt:N/mm2=Kt|Ktc|Kf|K_t; teeth:1=teeth|N|z|Nt|flutes;"
ONE = (
    "?m:kg=m|mass|mx; ?k:N/mm=k|kx|stiffness; ?fn:Hz=fn|f|fx|f0|f_n|freq; ?w:1/s=wn|omega_n|omega|w_n; "
    "zeta:1=zeta|z|xi|damping|zeta_x|zx;"
)
TWO = "?my:kg=my|m_y; ?ky:N/mm=ky|k_y; ?fy:Hz=fy|fn_y|f_y; ?zy:1=zeta_y|zy|xi_y;"
SPEED = "n:rpm=n|rpm|speed|spindle_speed|Omega;"
LEAST = "min|absolute|critical|all speeds|asymptot"


def modes_of(raw: Any) -> tuple[st.Mode, ...]:
    """Modes as a list of {"f_Hz", "zeta", "residue" | "k" | "m"}; residues in m/(N·s), stiffness N/m, mass kg."""
    found = []
    for row in raw:
        given = {key.split("_")[0].lower(): value for key, value in row.items()}
        hertz = next(float(given[key]) for key in ("f", "fn", "freq", "frequency") if key in given)
        damping = next(float(given[key]) for key in ("zeta", "z", "xi", "damping") if key in given)
        if "residue" in given or "r" in given:
            residue = complex(str(given.get("residue", given.get("r"))).replace(" ", "").replace("i", "j"))
            found.append(st.residue_mode(hertz, damping, 1000 * residue))
        elif "k" in given:
            factor = next((unit(key.split("_", 1)[1]).factor for key in row if key.startswith("k_")), 1e-3)
            value = given["k"]
            if isinstance(value, dict):
                value, factor = value["value"], unit(value["unit"]).factor
            found.append(st.spring_mode(float(value) * factor, hertz, damping))
        else:
            found.append(st.mass_mode(float(given["m"] if "m" in given else given["mass"]), hertz, damping))
    return tuple(found)


def _listed(q: Question) -> tuple[tuple[st.Mode, ...], tuple[st.Mode, ...]] | None:
    x = next((raw for name, raw in q.inputs.items() if re.fullmatch(r"modes_?x|x_modes|modes", name)), None)
    y = next((raw for name, raw in q.inputs.items() if re.fullmatch(r"modes_?y|y_modes", name)), None)
    if not isinstance(x, list):
        return None
    return modes_of(x), modes_of(y) if isinstance(y, list) else ()


def _plain(m: Any, k: Any, hertz: Any, damping: float) -> st.Mode:
    if hertz is None:
        hertz = math.sqrt(1000 * k / m) / (2 * math.pi)  # k N/mm, m kg
    return st.mass_mode(m, hertz, damping) if m is not None else st.spring_mode(k, hertz, damping)


def _modes(v: Any) -> tuple[tuple[st.Mode, ...], tuple[st.Mode, ...]]:
    listed = _listed(v.q)
    if listed is not None:
        return listed
    hertz = v.fn if v.fn is not None else (v.w / (2 * math.pi) if v.w is not None else None)
    first = _plain(v.m, v.k, hertz, v.zeta)
    if v.ky is not None or v.my is not None or v.fy is not None:
        second = _plain(v.my or v.m, v.ky or v.k, v.fy or hertz, v.zeta if v.zy is None else v.zy)
        return (first,), (second,)
    if v.q.says(r"2-?DOF|symmetric|both directions|x and y|x = y"):
        return (first,), (first,)
    return ((), (first,)) if v.q.says(r"y only|\by-direction|normal direction only") else ((first,), ())


def _ratio(v: Any) -> float:
    return float(v.kr if v.kr is not None else v.kn / v.kt)


def _cut(v: Any) -> st.Cut:
    x, y = _modes(v)
    arc = arc_of(v)
    assert arc is not None
    return st.Cut(teeth=int(v.teeth), ktc_mpa=v.kt, ratio=_ratio(v), arc=arc, x=x, y=y)


def _ready(q: Question, v: Any) -> bool:
    v.q = q
    enough = v.m is not None or v.k is not None
    return arc_of(v) is not None and (enough or _listed(q) is not None) and (v.kr is not None or v.kn is not None)


def _listed_ready(q: Question, v: Any) -> bool:
    v.q = q
    return arc_of(v) is not None and _listed(q) is not None and (v.kr is not None or v.kn is not None)


def _direction(k: int) -> Any:
    def compute(v: Any) -> float:
        arc = arc_of(v)
        assert arc is not None
        return st.directions(_ratio(v), arc)[k]

    return compute


def _arc_ready(q: Question, v: Any) -> bool:
    v.q = q
    return arc_of(v) is not None


LISTED = ONE.replace("zeta:", "?zeta:") + TWO
DEPTH = "b|a|a_lim|alim|w"
AXES = ("xx", "xy", "yx", "yy")
ZERO: list[Law] = [
    law("C1", "kr:1=Kr|kr; ?kn:MPa=Kn; ?kt:MPa=Kt|Ktc; ?D:mm=D;" + ARC,
        *(out(f"a{axis}", "1", rf"(alpha|a)[_ ]?{axis}|α{axis}", _direction(k)) for k, axis in enumerate(AXES)), ready=_arc_ready),
    law("C1", KT + RATIO + ARC + "?D:mm=D;" + LISTED, out(DEPTH, "mm", "limit|a_lim|minimum|depth", lambda v: st.least_depth_mm(_cut(v))[0]),
        out("fc", "Hz", "chatter|freq", lambda v: st.least_depth_mm(_cut(v))[1]), ready=_ready),
    law("C1", KT + RATIO + ARC + "?D:mm=D;" + LISTED + SPEED, out(DEPTH, "mm", "limit|a_lim|depth", lambda v: st.limit_depth_mm(_cut(v), v.n)[0]),
        out("fc", "Hz", "chatter|freq", lambda v: st.limit_depth_mm(_cut(v), v.n)[1]), ready=_ready),
    law("C1", "b:mm=ap|b|depth|a|w;" + KT + RATIO + ARC + "?D:mm=D;" + LISTED + SPEED,
        out("roots", "1", "roots|unstable", lambda v: st.unstable_roots(_cut(v), v.n, v.b)), ready=_ready),
    law("C1", "fc:Hz=fc|f_c|chatter|fchatter; teeth:1=N|teeth|z; ?k:1=k|lobe|lobe_number(0); ?kappa:1=kappa; ?eps:deg>rad=eps|epsilon; ?psi:deg>rad=psi;",
        out("n", "rpm", "speed|lobe", lambda v: st.lobe_speed_rpm(v.fc, int(v.teeth), int(v.k), _kappa(v))),
        ready=lambda q, v: v.kappa is not None or v.eps is not None or v.psi is not None),
    law("C1", "fn:Hz=fn|f|f_n; teeth:1=N|teeth|z; ?k:1=k|lobe|lobe_number(1);", out("n", "rpm", "speed|lobe|gap", lambda v: st.best_speed_rpm(v.fn, int(v.teeth), int(v.k)))),
]  # fmt: skip


def _kappa(v: Any) -> float:
    if v.kappa is not None:
        return float(v.kappa)
    psi = v.psi if v.psi is not None else (math.pi - v.eps) / 2
    return math.tan(psi)


def _radius(v: Any) -> float:
    return sd.spectral_radius(_cut(v), v.n, v.b, 240)[0]


def _time_limit(v: Any) -> float:
    cut = _cut(v)
    zero = st.limit_depth_mm(cut, v.n)[0]
    high = 2 * zero if math.isfinite(zero) else 20.0
    while not math.isfinite(found := sd.time_limit_mm(cut, v.n, high, 60)) and high < 200.0:
        high *= 2
    return found


PERIODIC: list[Law] = [
    law("C3", "b:mm=w|b|ap|a|depth;" + KT + RATIO + ARC + "?D:mm=D;" + LISTED + SPEED, out("mu", "1", "spectral|radius|mu|multiplier", _radius), ready=_ready),
    law("C3", KT + RATIO + ARC + "?D:mm=D;" + LISTED + SPEED, out(DEPTH, "mm", "limit|depth", _time_limit), ready=_ready),
]  # fmt: skip


def _numbered(q: Question) -> list[tuple[st.Mode, float]]:
    """Modes k1 f1 z1 theta1, k2 …: with cos²θ as directional factor."""
    found = []
    for i in range(1, 9):
        rows = {name: g for name, g in q.givens.items() if re.fullmatch(rf"[A-Za-z_]+{i}", name)}
        stems = {name[:-1].rstrip("_").lower(): g for name, g in rows.items()}
        if "k" not in stems and "m" not in stems:
            break
        damping = next(stems[key].value for key in ("z", "zeta", "xi") if key in stems)
        hertz = next((stems[key].value for key in ("f", "fn") if key in stems), None)
        lean = next(
            (stems[key].inside(math.pi / 180, 1.0) for key in ("theta", "th", "angle", "beta") if key in stems), 0.0
        )
        k = stems["k"].inside(1e-3, 1.0) if "k" in stems else None
        m = stems["m"].value if "m" in stems else None
        found.append((_plain(m, k, hertz, damping), math.cos(lean) ** 2))
    return found


def _least_edge(v: Any) -> tuple[float, float]:
    return st.edge_least_of_modes_mm(_numbered(v.q), v.kf)


def _real_part(v: Any) -> float:
    return float(v.g) if v.g < 0 else -float(v.g)


KF = "kf:N/mm2=Kf|Ks|kf|Kt|Kc|kc|K;"
SINGLE: list[Law] = [
    law("C2", KF + "k1:N/m=k1; ?f1:Hz=f1|fn1; z1:1=z1|zeta1; ?t1:deg=theta1; ?k2:N/m=k2; ?f2:Hz=f2|fn2; ?z2:1=z2|zeta2; ?t2:deg=theta2; ?k3:N/m=k3; ?f3:Hz=f3; ?z3:1=z3; ?t3:deg=theta3;",
        out("b", "mm", "width|depth|limit|min", lambda v: _least_edge(v)[0]), out("fc", "Hz", "freq|chatter", lambda v: _least_edge(v)[1])),
    law("C2", KF + "k:N/mm=k|stiffness; zeta:1=zeta|z|xi|damping; ?theta:deg>rad=theta|angle|th; ?fn:Hz=fn|f;",
        out("b", "mm", "width|depth|limit|min", lambda v: st.edge_least_mm(v.k, v.zeta, v.kf, v.theta or 0.0)),
        out("fc", "Hz", "freq|chatter", lambda v: v.fn * math.sqrt(1 + 2 * v.zeta))),
    law("C2", KF + "m:kg=m|mass; fn:Hz=fn|f; zeta:1=zeta|z|xi|damping; ?theta:deg>rad=theta|angle|th;",
        out("b", "mm", "width|depth|limit|min", lambda v: st.edge_least_mm(v.m * (2 * math.pi * v.fn) ** 2 / 1000, v.zeta, v.kf, v.theta or 0.0))),
    law("C2", KF + "g:mm/N=ReG|Re_G|G|re|Gmin|G_re|ReGmin|Re;", out("b", "mm", "width|depth|limit", lambda v: st.edge_limit_mm(v.kf, _real_part(v)))),
    law("C2", "fc:Hz=fc|f_c|chatter; psi:deg>rad=psi|phase; k:1=k|lobe|n;", out("n", "rpm", "speed|lobe", lambda v: st.edge_speed_rpm(v.fc, complex(math.cos(v.psi), math.sin(v.psi)), int(v.k)))),
    law("C2", "psi:deg>rad=psi|phase;", out("eps", "deg", "eps|phase", lambda v: math.degrees(3 * math.pi + 2 * v.psi))),
    law("C2", KF + "k:N/mm=k|stiffness; zeta:1=zeta|z|xi; fn:Hz=fn|f; n:rpm=n|N|rpm|speed;", out("b", "mm", "limit|width|depth", lambda v: _turned(v))),
]  # fmt: skip


def _turned(v: Any) -> float:
    """Limit of a single edge at one speed: least over the lobes of −1/(2·Kf·Re G) where the phase fits."""
    mode = st.spring_mode(v.k, v.fn, v.zeta)
    hertz = np.linspace(v.fn * 1.000001, v.fn * 3, 400_001)
    g = st.oriented_response([(mode, 1.0)], 2 * math.pi * hertz)
    turns = hertz * 60 / v.n - (3 * math.pi + 2 * np.angle(g)) / (2 * math.pi)
    crossing = np.nonzero((np.floor(turns[:-1]) != np.floor(turns[1:])) & (g.real[:-1] < 0))[0]
    return min((st.edge_limit_mm(v.kf, float(g.real[k])) for k in crossing), default=math.inf)


STABILITY_LAWS: list[Law] = ZERO + PERIODIC + SINGLE

"""Questions in other words, units and directions than the published cases; expected values written out by hand here."""

import math
from typing import Any

import pytest

from tests.published.mechanics_cases import answer
from tests.published.mechanics_engine import Question

pi, sin, cos, tan, sqrt, rad = math.pi, math.sin, math.cos, math.tan, math.sqrt, math.radians


def given(text: str) -> dict[str, Any]:
    """ "ap=2[mm] eta=0.8 mode='x'" as a case writes it."""
    out: dict[str, Any] = {}
    for piece in filter(None, (p.strip() for p in text.split(";"))):
        name, value = piece.split("=", 1)
        if value.startswith("'"):
            out[name] = value.strip("'")
            continue
        number, _, unit = value.partition("[")
        numbers = [float(v) for v in number.split(",")]
        plain: Any = numbers if len(numbers) > 1 else numbers[0]
        out[name] = {"value": plain, "unit": unit.rstrip("]")} if unit else plain
    return out


MEAN = "Ktc=600.46[N/mm2];Krc=180.96[N/mm2];Kte=17.9[N/mm];Kre=20.42[N/mm];teeth=3;ap=4[mm];fz=0.08[mm];phi_st=0[deg];phi_ex=180[deg]"
HB = "D=0.875[in];feed=0.008[in/rev];Kd=24000;Ff=0.021;FT=0.899;FM=0.786;A=1.085;B=1.355;J=0.03;W=1.3;N=350[rpm];E=0.8"
MERCHANT = (
    "rake=10[deg];mu=0.5;t1=0.2[mm];w=2[mm];shear_stress=400[N/mm2];shear_angle_rule='Merchant 2phi+lambda-alpha=90deg'"
)
SCREW = "d=32[mm];p=4[mm];starts=2;f=0.08;dc=40[mm];F=6.4[kN]"
SD = "m=0.03993[kg];fn=922[Hz];zeta=0.011;Kt=6e8[N/m2];Kn=2e8[N/m2];teeth=2"
YEAR = "n=0.16;C=76[m/min];blank+tool fixed=3[$];L=300[mm];d=30[mm];f=0.25[mm/rev];rate=0.25[$/min];regrind=2[$];t_change=1[min];handling=1[min]"
lam, alp = math.atan(0.5), rad(10)
phi = (pi / 2 - lam + alp) / 2
shear = 2 * 0.2 * 400 / sin(phi)
dm = 30.0
raise_t = 6.4e3 * dm / 2 * (8 + pi * 0.08 * dm) / (pi * dm - 0.08 * 8) + 6.4e3 * 0.08 * 20
best_v = 76 / ((1 / 0.16 - 1) * (1 + 2 / 0.25)) ** 0.16

CASES: list[tuple[str, str, str, str, float]] = [
    # A1
    ("A1", "Mean Fx, slot, Al7075 carbide", MEAN, "N", -(3 * 4 / 4) * 180.96 * 0.08 - 3 * 4 / pi * 20.42),
    ("A1", "Mean Fy, slot", MEAN, "N", 3 * 4 / 4 * 600.46 * 0.08 + 3 * 4 / pi * 17.9),
    ("A1", "Mean Fy, slot", MEAN, "lbf", (3 * 4 / 4 * 600.46 * 0.08 + 3 * 4 / pi * 17.9) / 4.4482216152605),
    ("A1", "Mean spindle torque, slot", MEAN + ";D=12[mm]", "N*m", 12 / (2 * pi) * (600.46 * 0.08 * 2 + 17.9 * pi) * 6 / 1000),
    ("A1", "Peak Fy, straight flutes, one tooth", "Ktc=1000[MPa];Krc=0[MPa];teeth=1;D=10[mm];helix=0[deg];ap=2[mm];fz=0.1[mm];phi_st=0[deg];phi_ex=90[deg]", "N", 200.0),
    # A2
    ("A2", "Orthogonal resultant force", MERCHANT, "N", shear / cos(phi + lam - alp)),
    ("A2", "Force along the shear plane (shear force)", MERCHANT, "N", shear),
    ("A2", "Shear angle (Merchant)", "rake=10[deg];mu=0.5", "deg", math.degrees(phi)),
    ("A2", "Shear angle from the chip ratio", "rake=10[deg];r=0.4", "deg", math.degrees(math.atan(0.4 * cos(alp) / (1 - 0.4 * sin(alp))))),
    # A3
    ("A3", "Kienzle cutting power over the arc, exact for mc 0", "kc1.1=700[MPa];mc=0;D=10[mm];teeth=3;ap=5[mm];ae=2[mm];fz=0.08[mm];n=12000[1/min]", "kW", 700 * 5 * 2 * 0.08 * 3 * 12000 / 60e6),
    ("A3", "kc at f=0.2 mm, 90 deg", "kc1.1=2100[MPa];mc=0.26;f=0.2[mm]", "MPa", 2100 * 0.2**-0.26),
    ("A3", "Cutting force of one edge", "kc1.1=2100[MPa];mc=0.26;b=2[mm];h=0.1[mm]", "N", 2100 * 2 * 0.1**0.74),
    ("A3", "Kienzle kc1.1 fitted", "f=0.1,0.4[mm/rev];kc=2000,1000[MPa]", "MPa", 2000 * 0.1**0.5),
    ("A3", "Removal rate", "ap=2[mm];ae=80[mm];vf=280[mm/min]", "cm3/min", 44.8),
    ("A3", "Feed that uses 1.68 kW", "ap=2[mm];ae=80[mm];Kc=1800[MPa];eta=0.8;P=1.68[kW]", "mm/min", 280.0),
    ("A3", "Turning torque", "Do=12.5[mm];Df=12[mm];N=400[rpm];vf=200[mm/min];u=4[W*s/mm3]", "N*m", pi / 4 * 12.25 * 200 * 4 / (2 * pi * 400)),
    ("A3", "Turning removal rate", "Do=12.5[mm];Df=12[mm];vf=200[mm/min];N=400[rpm]", "mm3/min", pi / 4 * 12.25 * 200),
    ("A3", "Cutting speed of 10 mm at 3000", "D=10[mm];n=3000[1/min]", "m/min", pi * 30),
    ("A3", "Specific energy of steel, U0 1.4", "U0=1.4;t1=0.1[mm]", "W*s/mm3", 1.4 * 0.1**-0.4),
    ("A3", "Spindle torque at 5 hp", "P=5[hp];N=1000[rpm]", "N*m", 5 * 745.699871582 / (2 * pi * 1000 / 60)),
    ("A3", "Motor power", "Nc=0.24[kW];eta=0.9", "kW", 0.24 / 0.9),
    # A4
    ("A4", "Kp conversion: 0.74", "Kp=0.74[hp/(in3/min)]", "kW/(cm3/s)", 0.74 * 0.745699871582 / (16.387064 / 60)),
    ("A4", "Kp back", "Kp=2.02[kW/(cm3/s)]", "hp/(in3/min)", 2.02 * (16.387064 / 60) / 0.745699871582),
    ("A4", "Power at the cutter", "Kp=2.0[kW/(cm3/s)];Q=1.5[cm3/s];C=1.1;W=1.2", "kW", 2 * 1.1 * 1.5 * 1.2),
    ("A4", "Motor power", "Kp=2.0[kW/(cm3/s)];Q=1.5[cm3/s];C=1.1;W=1.2;E=0.8", "kW", 2 * 1.1 * 1.5 * 1.2 / 0.8),
    ("A4", "Power from torque", "M=12[N*m];n=3000[1/min]", "kW", 12 * 2 * pi * 50 / 1000),
    ("A4", "Available torque at 1000", "P=5.6[kW];n_base=1500[1/min];n=1000[1/min]", "N*m", 5600 / (2 * pi * 25)),
    ("A4", "Available power at 1000", "P=5.6[kW];n_base=1500[1/min];n=1000[1/min]", "kW", 5.6 * 2 / 3),
    ("A4", "RMS torque over the cycle", "T=10,2[N*m];t=3,6[s]", "N*m", sqrt((300 + 24) / 9)),
    ("A4", "Base speed", "P=5.6[kW];T=35[N*m]", "1/min", 5600 / 35 * 60 / (2 * pi)),
    # A5, A6
    ("A5", "Power at the cutter, 7/8 in drill", HB, "hp", 24000 * 0.021 * 0.786 * 1.085 * 1.3 * 350 * 2 * pi / 396000),
    ("A5", "Drill thrust SI form, D 12.5 mm, f 0.20, split point", "Kd=11000;Ff=0.276;FT=7.54;B=1.1;J=0.001;W=1;D=12.5[mm]", "N", 0.05 * 11000 * 0.276 * 7.54 * 1.1 + 0.007 * 11000 * 12.5**2 * 0.001),
    ("A5", "Drilling power, 10 mm", "D=10[mm];f=0.2[mm/rev];N=800[rpm];u=0.5[W*s/mm3]", "W", pi / 4 * 100 * 0.2 * 800 / 60 * 0.5),
    ("A5", "Drilling removal rate, 10 mm", "D=10[mm];f=0.2[mm/rev];N=800[rpm]", "mm3/s", pi / 4 * 100 * 0.2 * 800 / 60),
    ("A5", "Torque from unit power (49500 form)", "D=0.5[in];f=0.01[in/rev];up=1[hp/(in3/min)]", "in*lbf", 0.01 * 0.25 * 49500),
    ("A5", "Cutting force from unit power (396000 form)", "d=0.1[in];f=0.01[in/rev];up=0.8[hp/(in3/min)]", "lbf", 0.1 * 0.01 * 0.8 * 396000),
    ("A5", "Drilling torque kc f D2/8000", "kc=2000[MPa];f=0.2[mm/rev];D=10[mm]", "N*m", 2000 * 0.2 * 100 / 8000),
    ("A5", "Countersink torque, 90 deg cone", "kc=1000[MPa];z=3;f=0.3[mm/rev];depth=2[mm];angle=90[deg];d0=6[mm]", "N*m", 3 * 1000 * 2 / cos(rad(45)) * 0.1 * sin(rad(45)) * 4 / 1000),
    ("A6", "Tapping torque M6 (short form)", "kc=800[N/mm2];P=1[mm];d=6[mm]", "N*m", 0.6),
    ("A6", "Tapping power", "kc=800[N/mm2];P=1[mm];d=6[mm];n=600[1/min]", "W", 0.6 * 2 * pi * 10),
    # B
    ("B1", "Feed per tooth for chip 0.05 max, ae 1 of D 10", "h=0.05[mm];ae=1[mm];D=10[mm]", "mm", 0.05 / 0.6),
    ("B1", "Max chip thickness", "fz=0.1[mm];ae=1[mm];D=10[mm]", "mm", 0.06),
    ("B1", "Max chip thickness ratio at ae/D = 0.7", "ae/D=0.7", "1", 1.0),
    ("B1", "Chip thickness at 45 deg lead", "fz=0.2[mm];kappa=45[deg]", "mm", 0.2 * sin(rad(45))),
    ("B1", "Effective diameter of a ball mill", "D=10[mm];ap=0.5[mm]", "mm", 2 * sqrt(0.5 * 9.5)),
    ("B1", "Engagement angle", "ae=1[mm];D=10[mm]", "deg", math.degrees(math.acos(0.8))),
    ("B2", "Stepover for 5 um scallop, ball R 3", "R=3[mm];H=5[um]", "mm", 2 * sqrt(9 - 2.995**2)),
    ("B2", "Ball scallop on a 30 deg slope", "R=3[mm];s=0.5[mm];slope=30[deg]", "um", 1000 * (3 - sqrt(9 - (0.25 / cos(rad(30))) ** 2))),
    ("B2", "Bull-nose scallop on flat", "D=12[mm];r=2[mm];s=7.9[mm]", "mm", 0.0),
    ("B2", "Feed per tooth marks", "R=0.1[in];s=0.02[in]", "um", 25400 * (0.1 - sqrt(0.01 - 0.0001))),
    ("B3", "Ra, f^2/(32 r)", "f=0.125[mm];r=0.7[mm]", "um", 1000 * 0.125**2 / 22.4),
    ("B3", "Ra of parabola about its mean line", "f=0.1[mm];r=0.8[mm]", "um", 1000 * 0.01 / 6.4 * 4 / (9 * sqrt(3))),
    ("B3", "Peak roughness, slab milling", "f=100[mm/min];D=80[mm];N=60[rpm];Z=8", "mm", (100 / 480) ** 2 / 320),
    # C
    ("C1", "alpha_yx, slot", "Kr=0.3;phi_st=0[deg];phi_ex=180[deg]", "1", pi),
    ("C1", "alpha_yy, half-immersion down-milling", "Kr=0.4;phi_st=90[deg];phi_ex=180[deg]", "1", 0.5 * (-1 - 0.8 * pi) - 0.5 * (1 - 0.8 * pi / 2)),
    ("C2", "Minimum stable width, SDOF", "k=20[N/um];zeta=0.03;Kf=1500[MPa]", "mm", 2 * 20000 * 0.03 * 1.03 / 1500),
    ("C2", "Limit width", "Kf=1000[MPa];ReG=-0.0001[mm/N]", "mm", 5.0),
    # D
    ("D1", "Tip stiffness, 12 mm HSS", "d=12[mm];L=50[mm];E=206[GPa]", "N/um", 3 * 206 * pi * 12**4 / 64 / 50**3),
    ("D1", "Series stiffness of tool and holder", "k1=20[N/um];k2=30[N/um]", "N/um", 12.0),
    ("D1", "Deflection of tool and machine in series, 60 N", "F=60[N];k1=20[N/um];k2=30[N/um]", "um", 5.0),
    ("D1", "Stiffness ratio of the fluted part, De = 0.8 D", "De/D=0.8", "1", 0.8**4),
    ("D1", "Tip deflection", "F=150[N];L=30[mm];d=8[mm];E=600[GPa]", "um", 150 * 27000 / (3 * 600 * pi * 8**4 / 64)),
    # E
    ("E1", "Tool life at 100 m/min", "n=0.25;C=200[m/min];v=100[m/min]", "min", 16.0),
    ("E1", "Taylor exponent from two tests", "v1=100[m/min];T1=16[min];v2=200[m/min];T2=1[min]", "1", 0.25),
    ("E1", "Taylor constant from two tests", "v1=100[m/min];T1=16[min];v2=200[m/min];T2=1[min]", "m/min", 200.0),
    ("E1", "Life ratio going from 100 to 120 m/min", "speed_ratio=1.2;exponent=-4", "1", 1.2**-4),
    ("E2", "Life of maximum production", "n=0.125;t_change=2[min]", "min", 14.0),
    ("E2", "Minimum-cost speed, tool Y", "n=0.16;C=76[m/min];rate=0.25[$/min];regrind=2[$];t_change=1[min]", "m/min", best_v),
    ("E3", "Life use of three cuts", "t=5,5,5[min];T=10,20,50[min]", "life fraction", 0.85),
    # F
    ("F1", "Approach of a peripheral cut", "D=60[mm];d=9[mm]", "mm", sqrt(9 * 51)),
    ("F1", "Feed rate", "n=1000[rpm];teeth=4;fz=0.1[mm]", "mm/min", 400.0),
    ("F2", "Double-S acceleration phase, example", "h=10;v0=1;v1=0;vmax=5;amax=10;jmax=30", "s", 1 / 3 + 0.4),
    ("F2", "Rest to rest, jerk only", "h=0.5[mm];j=1[m/s3]", "s", 4 * (0.5 / 2000) ** (1 / 3)),
    ("F3", "Corner speed, 135 deg between, tolerance 10 um", "a=2[m/s2];dev=10[um];angle_between_segments=135[deg]", "mm/s", sqrt(2000 * 0.01 * sin(rad(67.5)) / (1 - sin(rad(67.5))))),
    ("F3", "Feed over chords 0.1 mm, error 1 um", "a=2000[mm/s2];L=0.1[mm];e=1[um]", "mm/s", sqrt(2000 * 0.01 / 0.008)),
    ("F3", "Jerk-limited feed on an arc", "r=5[mm];j=50[m/s3]", "mm/s", (50000 * 25) ** (1 / 3)),
    # G
    ("G1", "Tipping force", "F=400[N];h=20[mm];g=6[mm];SF=2", "N", 2 * 400 * 23 / 3),
    ("G1", "Clamp force along the jaws", "F=600[N];mu=0.2;SF=2", "N", 3000.0),
    ("G2", "Torque to raise", SCREW, "N*m", raise_t / 1000),
    ("G2", "Efficiency of the screw", SCREW, "1", 6.4e3 * 8 / (2 * pi * raise_t)),
    ("G3", "Stress area M12x1.75", "d=12[mm];P=1.75[mm]", "mm2", pi / 4 * (12 - 0.9382 * 1.75) ** 2),
    ("G3", "Preload from torque", "K=0.2;d=12[mm];T=80[N*m]", "kN", 80 / (0.2 * 12)),
    ("G3", "Share of the load in the bolt", "kb=1[kN/mm];kc=4[kN/mm]", "1", 0.2),
    # H
    ("H1", "Steel 300 mm, 5 C", "alpha=11.5[um/(m K)];L=300[mm];dT=5[K]", "um", 17.25),
    ("H1", "Aluminium part on a steel scale", "L=500[mm];a_p=23.1[um/(m K)];dT_p=8[K];a_s=11.5[um/(m K)];dT_s=3[K]", "um", 0.5 * (23.1 * 8 - 11.5 * 3)),
    ("H2", "Growth still to come", "z_inf=30[um];tau=25[min];t=50[min]", "um", 30 * math.exp(-2)),
    # I
    ("I1", "Survival at 45 min", "eta=60[min];beta=3.5;t=45[min]", "1", math.exp(-(0.75**3.5))),
    ("I1", "Conditional survival of 10 min more at 40 min", "eta=60[min];beta=2;t=40[min];dt=10[min]", "1", math.exp((1600 - 2500) / 3600)),
    ("I1", "Mean life", "eta=60[min];beta=2", "min", 60 * math.gamma(1.5)),
    ("I1", "Hazard at 30 min", "eta=60[min];beta=2;t=30[min]", "1/min", 2 / 60 * 0.5),
    # backwards and by other names
    ("B3", "Feed for Rt 4 um, nose 0.8", "Rt=4[um];r=0.8[mm]", "mm", 0.16),
    ("B1", "Radial ae/D for a chip half the feed", "h=0.05[mm];fz=0.1[mm]", "1", 0.5 * (1 - sqrt(0.75))),
    ("D1", "Force for 10 um", "y=10[um];L=30[mm];d=8[mm];E=600[GPa]", "N", 0.01 * 3 * 600e3 * pi * 64 / 27000),
    ("E1", "Exponent from one test", "v=100[m/min];T=16[min];C=200[m/min]", "1", 0.25),
    ("F3", "Tolerance for a corner speed", "v=10[mm/s];a=2000[mm/s2];angle_between_segments=90[deg]", "mm", 0.05 * (sqrt(2) - 1)),
    ("G3", "Nut factor", "T=80[N*m];F=34[kN];d=12[mm]", "1", 80 / (34 * 12)),
    ("H1", "Temperature for 10 um", "dL=10[um];alpha=11.5[um/(m K)];L=300[mm]", "K", 10 / 3.45),
    ("I1", "Scale of life", "R=0.9;t=30[min];beta=3", "min", 30 / (-math.log(0.9)) ** (1 / 3)),
    ("I1", "Conditional reliability", "eta=1000;beta=2;T=500;t=100", "1", math.exp(0.25 - 0.36)),
    ("A3", "Slab milling torque", "l=300[mm];w=100[mm];d=3[mm];vf=500[mm/min];D=50[mm];N=100[rpm];teeth=20;u=3[W*s/mm3]", "N*m", 7500 / (2 * pi * 100 / 60)),
    ("A3", "Feed per tooth", "D=150[mm];v=600[mm/min];N=100[rpm];teeth=10", "mm", 0.6),
]  # fmt: skip


def asked(case: tuple[str, str, str, str, float]) -> float:
    ref, title, inputs, unit, _ = case
    found = answer(Question.of(ref, "", title, given(inputs), unit))
    assert found is not None, "not understood"
    return float(found[0])


@pytest.mark.parametrize("case", CASES, ids=[f"{c[0]}-{c[1][:40]}-{c[3]}" for c in CASES])
def test_spelling(case: tuple[str, str, str, str, float]) -> None:
    assert asked(case) == pytest.approx(case[4], rel=2e-4, abs=1e-9)


def test_piece_cost_at_another_speed_is_dearer() -> None:
    best = asked(("E2", "Minimum cost per piece, tool Y", YEAR, "$", 0))
    for speed in (0.8 * best_v, 1.2 * best_v):
        assert asked(("E2", "Cost per piece", YEAR + f";v={speed}[m/min]", "$", 0)) > best


def test_what_no_law_takes_is_not_understood() -> None:
    assert answer(Question.of("A1", "", "Mean Fx", given("teeth=3"), "N")) is None
    assert answer(Question.of("Q7", "", "Mean Fx, slot", given(MEAN), "N")) is None


@pytest.mark.parametrize("where", ["limit", "radius"])
def test_semi_discretisation_is_asked_by_names(where: str) -> None:
    if where == "radius":
        below = asked(("C3", "Spectral radius, slot, 5000 rpm", SD + ";aD=1;w=0.3[mm];n=5000[1/min]", "1", 0))
        above = asked(("C3", "Spectral radius, slot, 5000 rpm", SD + ";aD=1;w=0.6[mm];n=5000[1/min]", "1", 0))
        assert below < above
    else:
        assert asked(("C1", "Zero-order minimum, slot", SD, "mm", 0)) == pytest.approx(0.298054, rel=1e-4)

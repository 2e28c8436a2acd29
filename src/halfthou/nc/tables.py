"""Which G and M codes exist, in which group, and what the refused ones usually mean. G codes as ten times their number.

Source: NISTIR 6556, 3.4 and 3.5 (strict); further mill codes are common practice, from memory.
"""

AXES = "XYZ"
ROTARY = "ABC"
LENGTHS = "XYZIJKQRUVW"  # letters read as lengths
CYCLES = (730, 740, 760, 810, 820, 830, 840, 850, 860, 870, 880, 890)
PROBES = (310, 382, 383, 384, 385)

STRICT_GROUPS: dict[int, str] = {
    **dict.fromkeys((0, 10, 20, 30, 382, 800, 810, 820, 830, 840, 850, 860, 870, 880, 890), "motion"),
    **dict.fromkeys((170, 180, 190), "plane"),
    **dict.fromkeys((900, 910), "distance"),
    **dict.fromkeys((930, 940), "feed mode"),
    **dict.fromkeys((200, 210), "units"),
    **dict.fromkeys((400, 410, 420), "compensation"),
    **dict.fromkeys((430, 490), "tool length"),
    **dict.fromkeys((980, 990), "return level"),
    **dict.fromkeys((540, 550, 560, 570, 580, 590, 591, 592, 593), "work offset"),
    **dict.fromkeys((610, 611, 640), "path"),
    **dict.fromkeys((40, 100, 280, 300, 530, 920, 921, 922, 923), "one-block"),
}

MILL_GROUPS: dict[int, str] = {
    **STRICT_GROUPS,
    **dict.fromkeys((*CYCLES, 800), "cycle"),
    **dict.fromkeys(PROBES, "motion"),
    **dict.fromkeys((520, 650), "one-block"),
    541: "work offset",
    950: "feed mode",
    **dict.fromkeys((901, 911), "arc centre"),
    **dict.fromkeys((680, 690), "rotation"),
}

#: Cancels of things that can not be on here: read, without effect.
WITHOUT_EFFECT = {500: "scaling off", 150: "polar off", 670: "modal call off", 401: "normal control off"}

#: Codes with a meaning elsewhere that is not read here, and how to go on.
REFUSED: dict[int, str] = {
    50: "high-speed or spline mode", 51: "look-ahead mode", 70: "cylinder interpolation", 71: "cylinder interpolation",
    80: "look-ahead or diameter mode", 81: "look-ahead mode", 90: "exact stop for one block", 110: "data setting off",
    120: "a circular pocket", 121: "polar interpolation", 130: "a circular pocket", 131: "polar interpolation off",
    160: "polar coordinates; write X and Y", 220: "stored stroke limits", 230: "stored stroke limits off",
    270: "home check", 290: "return from home", 320: "threading", 330: "threading", 340: "threading",
    411: "dynamic compensation", 421: "dynamic compensation", 431: "tool-axis length offset", 434: "tool-centre control",
    435: "tool-centre control", 440: "negative tool length; use G43 with the length negated",
    450: "tool offset increase", 460: "tool offset decrease", 470: "tool offset double increase, or engraving",
    480: "tool offset double decrease", 501: "mirror off", 510: "scaling", 511: "mirror", 600: "one-sided positioning",
    620: "corner feed override", 630: "tapping mode", 660: "modal macro call; call it with G65 on each block",
    700: "inch units, or a bolt-circle pattern; write G20", 710: "mm units, or an arc pattern; write G21",
    720: "a pattern or rotation", 750: "a cycle", 770: "a cycle", 780: "a cycle", 790: "a cycle",
    960: "constant surface speed", 970: "constant speed; leave it out", 1000: "mirror off", 1010: "mirror",
    1030: "block buffering limit", 1070: "cylinder mapping", 1360: "automatic offset setting", 1410: "3D compensation",
    1430: "tool-centre control", 1500: "pocket cycle", 1540: "further work offsets; write G54.1 P",
    1740: "tapping in any direction", 1840: "tapping in any direction", 1870: "smoothness level",
    **{10 * n: "further work offsets; write G54.1 P" for n in range(110, 130)},
}  # fmt: skip

M_GROUPS: dict[int, str] = {
    **dict.fromkeys((0, 1, 2, 30, 60), "stop"),
    6: "tool change",
    **dict.fromkeys((3, 4, 5), "spindle"),
    **dict.fromkeys((48, 49), "overrides"),
}
M_STRICT = frozenset((0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 30, 48, 49, 60))
M_MILL = M_STRICT | frozenset((19, 29, 98, 99))

SYSTEMS = {540: 1, 550: 2, 560: 3, 570: 4, 580: 5, 590: 6, 591: 7, 592: 8, 593: 9}


def g_name(code: int) -> str:
    """G code as people write it."""
    return f"G{code // 10}" if code % 10 == 0 else f"G{code // 10}.{code % 10}"

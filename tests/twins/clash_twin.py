"""A slow, obvious contact search in the stock: columns of points, moves played in small steps, every point tested.

Imports nothing from the package. A grid of points (columns) holds the top of the material. Each step of each move is
tested against all columns first and cuts afterwards; so what a move opens for itself counts in the order of time.
"""

import math

import numpy as np


def underside(rho, zone_points, wide):
    """Height of the underside of one turned piece, given by points (radius, height), over rho f8 (n,)."""
    r, h = zone_points[: wide + 1, 0], zone_points[: wide + 1, 1]
    out = np.interp(rho, r, h)
    return np.where(rho <= r[0], h[0], np.where(rho > r[-1], np.inf, out))


class Columns:
    """Tops of material on a fine grid over a box."""

    def __init__(self, low, high, step):
        x = np.arange(low[0] + step / 2, high[0], step)
        y = np.arange(low[1] + step / 2, high[1], step)
        self.x, self.y = (v.ravel() for v in np.meshgrid(x, y, indexing="ij"))
        self.top = np.full(len(self.x), float(high[2]))
        self.low = low[2]

    def worst(self, tip, pieces):
        """Deepest any of the pieces (points, wide) is below the top of a column, mm (0 = none)."""
        rho = np.hypot(self.x - tip[0], self.y - tip[1])
        deepest = 0.0
        for points, wide, _ in pieces:
            depth = self.top - (tip[2] + underside(rho, points, wide))
            deepest = max(deepest, float(np.max(depth, initial=0.0)))
        return deepest

    def cut(self, tip, pieces):
        """Take away what the cutting pieces reach; a column that stands higher than they open is not lowered."""
        rho = np.hypot(self.x - tip[0], self.y - tip[1])
        for points, wide, opens in pieces:
            under = tip[2] + underside(rho, points, wide)
            mask = (under < self.top) & (tip[2] + opens >= self.top - 1e-9)
            self.top[mask] = under[mask]
        self.top[self.top <= self.low] = -np.inf


def steps(start, end, step):
    """Positions (n,3) along a straight move."""
    n = max(2, math.ceil(np.linalg.norm(np.subtract(end, start)) / step) + 1)
    return np.asarray(start) + np.linspace(0, 1, n)[:, None] * np.subtract(end, start)


def shrunk(pieces, by):
    """The pieces made smaller by `by`: less radius, underside raised."""
    out = []
    for points, wide, opens in pieces:
        points = points - np.array([by, -by])
        keep = points[:, 0] >= 0
        if not np.any(keep):
            continue
        first = int(np.argmax(keep))
        out.append((points[first:], max(wide - first, 0), opens))
    return out


def play(moves, low, high, step, shrink):
    """Which (move, part) meet the stock deeper than `shrink` on the grid: set of (row, part name).

    moves: (start, end, rapid, parts) with parts {"cutter": pieces, "shank": ..., "holder": ...}.
    """
    columns = Columns(low, high, step)
    met = set()
    for row, (start, end, rapid, parts) in enumerate(moves):
        tips = steps(start, end, step / 2)
        if rapid:
            # a rapid is judged against the stock before it
            for tip in tips:
                if columns.worst(tip, shrunk(parts["cutter"], shrink)) > 0:
                    met.add((row, "cutter"))
                for part in ("shank", "holder"):
                    if columns.worst(tip, shrunk(parts[part], shrink)) > 0:
                        met.add((row, part))
            for tip in tips:
                columns.cut(tip, parts["cutter"])
            continue
        for tip in tips:
            columns.cut(tip, parts["cutter"])
            for part in ("shank", "holder"):
                if columns.worst(tip, shrunk(parts[part], shrink)) > 0:
                    met.add((row, part))
    return met

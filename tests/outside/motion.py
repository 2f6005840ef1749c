"""Gets a drivable way back from the vertices of an emitted line.

In: vertices of a line whose chords leave the true way by a millimetre at most. Out: the direction
of travel at any distance, and points on the way itself. Each chord stands for a straight line or
an arc; how much an arc turns follows from the chords beside it: two chords of equal length with an
angle between them lie on one circle and turn by that angle each. A chord alone turns by what its
neighbours leave. Lines are smooth except where the machine turns on the spot or changes its gear,
so a line goes in leg by leg.
"""

import numpy as np

SAME_LENGTH_M = 0.0006
LONG_M = 0.35
TOO_NEAR_M = 0.01


class Motion:
    def __init__(self, points, start=None):
        """`start` is the direction of travel at the first vertex, where it is known."""
        self.points = far_enough(np.asarray(points, dtype=float))
        step = np.diff(self.points, axis=0)
        self.length = np.hypot(*step.T)
        self.angle = np.unwrap(np.arctan2(step[:, 1], step[:, 0])) if len(step) else np.zeros(0)
        self.turn = arc_turns(self.length, self.angle, start)
        # The arc over a chord of length c that turns by t is c (t/2) / sin(t/2) long.
        half = self.turn / 2
        arc = self.length * np.where(np.abs(half) > 1e-9, half / np.sin(np.where(half == 0, 1, half)), 1.0)
        self.along = np.concatenate([[0.0], np.cumsum(arc)])

    @property
    def total(self):
        return self.along[-1]

    def kink(self):
        """The largest angle, radians, between two pieces that meet; 0 for a smooth way."""
        if len(self.angle) < 2:
            return 0.0
        leaving = self.angle[:-1] + self.turn[:-1] / 2
        entering = self.angle[1:] - self.turn[1:] / 2
        return np.abs(entering - leaving).max()

    def start(self):
        return self.angle[0] - self.turn[0] / 2

    def end(self):
        return self.angle[-1] + self.turn[-1] / 2

    def at(self, stations):
        """Places and directions of travel at these distances along the way."""
        stations = np.clip(np.asarray(stations, dtype=float), 0, self.total)
        i = np.clip(np.searchsorted(self.along, stations, side="right") - 1, 0, len(self.length) - 1)
        arc = self.along[i + 1] - self.along[i]
        part = (stations - self.along[i]) / arc
        first = self.angle[i] - self.turn[i] / 2
        direction = first + part * self.turn[i]
        # From the start of an arc, a part of it spans a chord towards the mean of both directions.
        half = part * self.turn[i] / 2
        chord = part * arc * np.where(np.abs(half) > 1e-9, np.sin(half) / np.where(half == 0, 1, half), 1.0)
        towards = first + half
        place = self.points[i] + chord[:, None] * np.column_stack([np.cos(towards), np.sin(towards)])
        return place, direction

    def stations(self, step_m, step_rad):
        """Distances so dense that neither the place nor the direction moves by more than this."""
        parts = np.maximum(np.ceil(np.diff(self.along) / step_m), np.ceil(np.abs(self.turn) / step_rad)).astype(int)
        parts = np.maximum(parts, 1)
        return np.concatenate(
            [np.linspace(a, b, n, endpoint=False) for a, b, n in zip(self.along, self.along[1:], parts)] + [[self.total]]
        )


def far_enough(points):
    """Without vertices so near the one before that the rounding of both hides the direction."""
    kept = [points[0]]
    for point in points[1:-1]:
        if np.hypot(*(point - kept[-1])) > TOO_NEAR_M:
            kept.append(point)
    last = points[-1]
    while len(kept) > 1 and np.hypot(*(last - kept[-1])) <= TOO_NEAR_M:
        kept.pop()
    if np.hypot(*(last - kept[-1])) > 1e-6:
        kept.append(last)
    return np.array(kept)


def arc_turns(length, angle, start):
    n = len(length)
    turn = np.full(n, np.nan)
    bend = np.diff(angle)
    same = np.abs(np.diff(length)) < SAME_LENGTH_M
    for i in range(n):
        beside = [bend[j] for j in (i - 1, i) if 0 <= j < n - 1 and same[j]]
        if beside:
            turn[i] = max(beside, key=abs)
        elif length[i] > LONG_M or (n == 1 and start is None):
            turn[i] = 0.0
    # No chord may leave its way by more than a millimetre (a little more for rounding).
    limit = 8 * 0.0012 / np.maximum(length, 1e-6)
    turn = np.where(np.abs(turn) > limit, np.nan, turn)
    for i in np.where(np.isnan(turn))[0]:
        left = start if i == 0 else None
        if i > 0 and not np.isnan(turn[i - 1]):
            left = angle[i - 1] + turn[i - 1] / 2
        if left is not None:
            left = angle[i] + (left - angle[i] + np.pi) % (2 * np.pi) - np.pi
        right = angle[i + 1] - turn[i + 1] / 2 if i + 1 < n and not np.isnan(turn[i + 1]) else None
        if left is not None and right is not None:
            turn[i] = right - left
        elif left is not None:
            turn[i] = 2 * (angle[i] - left)
        elif right is not None:
            turn[i] = 2 * (right - angle[i])
        else:
            turn[i] = 0.0
        turn[i] = np.clip(turn[i], -limit[i], limit[i])
    return turn


class Driven:
    """The way of a lane by its own pieces: each a length and the curvature at its beginning and end, which
    changes evenly between; positive to the left. Places by Gauss-Legendre quadrature of the direction."""

    NODES, WEIGHTS = np.polynomial.legendre.leggauss(5)
    STEP_M = 0.25

    def __init__(self, start_m, heading_deg, pieces):
        length, first, last = np.array(pieces, dtype=float).T
        self.length, self.first, self.last = length, first, last
        self.start_m = np.asarray(start_m, dtype=float)
        self.begins = np.concatenate([[0.0], np.cumsum(length)])
        turned = np.concatenate([[0.0], np.cumsum(length * (first + last) / 2)])
        self.angles = np.radians(90 - heading_deg) + turned

    @property
    def total(self):
        return self.begins[-1]

    def stations(self):
        """Distances so dense that chords between them leave no tool row's way by half a millimetre."""
        bent = np.maximum(np.abs(self.first), np.abs(self.last)) > 0
        parts = np.where(bent, np.ceil(self.length / 0.05), 1).astype(int)
        inner = [begin + length * np.arange(n) / n for begin, length, n in zip(self.begins, self.length, parts)]
        return np.concatenate([*inner, [self.total]])

    def direction(self, stations):
        i = np.clip(np.searchsorted(self.begins, stations, side="right") - 1, 0, len(self.length) - 1)
        along = stations - self.begins[i]
        return self.angles[i] + self.first[i] * along + (self.last - self.first)[i] * along**2 / (2 * self.length[i])

    def at(self, stations):
        """Places and directions of travel at these distances along the way."""
        stations = np.clip(np.asarray(stations, dtype=float), 0, self.total)
        steps = np.arange(0, self.total, self.STEP_M)
        grid = np.unique(np.concatenate([self.begins, stations, steps]))
        middle, half = (grid[1:] + grid[:-1]) / 2, np.diff(grid) / 2
        angle = self.direction(middle[:, None] + half[:, None] * self.NODES)
        step = half[:, None] * np.column_stack([np.cos(angle) @ self.WEIGHTS, np.sin(angle) @ self.WEIGHTS])
        places = self.start_m + np.concatenate([[[0.0, 0.0]], np.cumsum(step, axis=0)])
        return places[np.searchsorted(grid, stations)], self.direction(stations)


def driven_along(lane):
    """The way of an emitted lane."""
    return Driven(*(lane.properties[key] for key in ("start_m", "heading_deg", "pieces")))

"""Many banks discharged side by side: equation 6 and du/dt = (v - u)/(R·C(u)), with NumPy.

The network of resistors and capacitors is linear, but for two small things. So it is taken apart into its modes, each of which
is followed exactly by an exponential, however fast it is. The two small things are what goes in from outside:

- the drain i(v) = P/v + I, which is not constant while v falls;
- a voltage in series with each branch, by which a capacitance that rises with voltage differs from the constant one at hand.

Both are taken as straight lines over a step, whose far end is solved for. A step is made once as a whole and once in halves. The
difference of the two says how long a step may be, and takes the largest part of the error away.

A lane is one bank with one load: a column of each array. Lanes go on independently, each with a step of its own.
"""

from dataclasses import dataclass

import numpy as np

# What the whole step and the two halves may differ by: of an action's rows together, of one row at least and at most (V).
ROWS_V, LEAST_STEP_V, MOST_STEP_V = 3e-5, 2e-8, 3e-6
# Where a capacitance has moved by this much from the constant one that the modes were made with, they are made again.
STALE = 0.02
# A step as short as this part of its row, in which the drain has no solution, is the moment of the collapse.
COLLAPSE = 1e-9
# Below this part of the voltage at the start nobody asks any more how deep it falls.
LOST = 0.2
# Points of a row at which a bank of several branches is looked at as well, as parts of a step.
BETWEEN = (1 / 128, 1 / 12)
# Keeps a quotient from 0/0; far below every voltage and every rate times time.
TINY = 1e-12


@dataclass
class Load:
    """Drains P/v + I over times, of all loads one after the other."""

    power_w: np.ndarray
    current_a: np.ndarray
    duration_s: np.ndarray


@dataclass
class Banks:
    """Banks of equally many branches: the first axis of an array is the branch, the last the lane. A capacitance is capacitance_f + slope·u."""

    capacitance_f: np.ndarray
    slope_f_per_v: np.ndarray
    resistance_ohm: np.ndarray
    leakage_s: np.ndarray

    def take(self, which):
        return Banks(*(getattr(self, name)[..., which] for name in self.__dataclass_fields__))


def phi(z):
    """exp(-z), (1 - exp(-z))/z and (z - 1 + exp(-z))/z², the last by its series near 0."""
    z = z + TINY
    less = -np.expm1(-z)
    first = less / z
    return 1 - less, first, np.where(z < 1e-5, 0.5 - z / 6, (1 - first) / z)


def terminal(open_v, resistance, power, current):
    """The upper v of v = open_v - resistance·(P/v + I), and whether there is one."""
    half = (open_v - resistance * current) / 2
    square = half * half - resistance * power
    held = (square >= 0) & (half > 0)
    return half + np.sqrt(np.maximum(square, 0)), held


class Modes:
    """The modes of banks about the voltages `about`, at which their capacitances are constant.

    With y the voltage that the charge would have on the constant capacitance, and the mode's coordinate x = Qᵀ·√C·y,
    x' = -λ·(x + d) - β·i and v = β·(x + d) - i/S, where d is the series voltage u - y in the same coordinates.
    """

    def __init__(self, banks, about):
        self.about = about
        self.constant = banks.capacitance_f + banks.slope_f_per_v * about
        self.bend = banks.slope_f_per_v / self.constant
        self.root = np.sqrt(self.constant)
        conductance = 1 / banks.resistance_ohm
        self.sum = conductance.sum(axis=0) + banks.leakage_s
        pull = conductance / self.root
        branches = len(about)
        if branches == 1:
            self.turn = np.ones((1, 1, about.shape[1]))
        else:
            matrix = -pull[:, None] * pull[None] / self.sum
            diagonal = np.arange(branches)
            matrix[diagonal, diagonal] += conductance / self.constant
            self.turn = np.moveaxis(np.linalg.eigh(np.moveaxis(matrix, 2, 0))[1], 0, 2).copy()
        self.beta = (pull[:, None] * self.turn).sum(axis=0) / self.sum
        # Rayleigh's quotient as a sum of squares: a slow mode beside a fast one keeps all of its digits.
        shape = self.turn / self.root[:, None] - self.beta[None]
        self.rate = (conductance[:, None] * shape**2).sum(axis=0) + banks.leakage_s * self.beta**2
        self.square = self.beta**2

    def into(self, volts):
        return (self.turn * (self.root * volts)[:, None]).sum(axis=0)

    def out(self, x):
        return (self.turn * x[None]).sum(axis=1) / self.root

    def open(self, x):
        """The terminal without a drain."""
        return (self.beta * x).sum(axis=0)

    def bent(self, y):
        """u - y, with C·e = C·w + k·w²/2, e = y - about, w = u - about."""
        away = y - self.about
        inside = np.maximum(1 + 2 * self.bend * away, 1e-6)
        return 2 * away / (1 + np.sqrt(inside)) - away

    def linear(self, u):
        away = u - self.about
        return self.about + away + self.bend * away * away / 2

    def take(self, which):
        part = object.__new__(Modes)
        for name, value in self.__dict__.items():
            setattr(part, name, value[..., which])
        return part

    def put(self, which, part):
        for name, value in part.__dict__.items():
            getattr(self, name)[..., which] = value


def advance(modes, x, series, drain, h, power, current, bent):
    """One step of h: coordinates, series voltage, drain and terminal at its end, and whether there is one."""
    decay, first, second = phi(modes.rate * h)
    weight = h * second
    forced = -modes.beta * drain
    if bent:
        forced -= modes.rate * series
    base = decay * x + (h * first - weight) * forced
    own = 1 / modes.sum + (modes.square * weight).sum(axis=0)
    pulled = weight * modes.beta
    end = series
    for _ in range(2 if bent else 1):
        known = base - weight * modes.rate * end if bent else base
        v, held = terminal(modes.open(known + end if bent else known), own, power, current)
        new = power / np.maximum(v, TINY) + current
        x_end = known - pulled * new
        if bent:
            end = modes.into(modes.bent(modes.out(x_end)))
    return x_end, end, new, v, held


def between(modes, x, series, end, drain, new, h, lowest):
    """The terminal inside a step, the inputs straight between its ends: its least, if it is below `lowest`."""
    for part in BETWEEN:
        decay, first, second = phi(modes.rate * (part * h))
        there = series + part * (end - series)
        drawn = drain + part * (new - drain)
        forced = -modes.rate * series - modes.beta * drain
        forced_there = -modes.rate * there - modes.beta * drawn
        x_there = decay * x + part * h * (first * forced + second * (forced_there - forced))
        lowest = np.minimum(lowest, modes.open(x_there + there) - drawn / modes.sum)
    return lowest


def vertex(before, middle, after):
    """The least of the parabola through three equally distant points whose middle one is the lowest."""
    turn = before + after - 2 * middle
    inside = (middle < before) & (middle < after)
    return np.where(inside, middle - (after - before) ** 2 / (8 * np.where(inside, turn, 1)), middle)


def discharge(banks, start_v, load, begin, end, finer=1.0):
    """Each lane at rest at `start_v`, under the load from row `begin` to row `end`.

    Steps are allowed an error that is as many times smaller as `finer` says. Gives the lowest terminal voltage, 0 where the
    bank collapses, and the voltages of the branches at the end.
    """
    branches, lanes = banks.capacitance_f.shape
    bent = bool((banks.slope_f_per_v > 0).any())
    powered = any((load.power_w[b:e] > 0).any() for b, e in set(zip(begin, end)))
    u = np.tile(np.asarray(start_v, float), (branches, 1))
    lost = LOST * u[0]
    answer, ends = np.full(lanes, np.inf), u.copy()
    # State of those that still run, whose numbers are in `own`.
    own = np.arange(lanes)
    modes = Modes(banks, u)
    x = modes.into(u)
    series = np.zeros_like(x)
    row, last = np.array(begin, np.int64), np.array(end, np.int64)
    left = load.duration_s[row].copy()
    hint, lowest = left.copy(), answer.copy()
    step_v = np.clip(ROWS_V / (last - row), LEAST_STEP_V, MOST_STEP_V) / finer
    while len(own):
        power, current = load.power_w[row], load.current_a[row]
        if bent:
            y = modes.out(x)
            away = modes.bent(y)
            stale = np.flatnonzero((modes.bend * np.abs(y + away - modes.about) > STALE).any(axis=0))
            if len(stale):
                u = (y + away)[:, stale]
                part = Modes(banks.take(own[stale]), u)
                modes.put(stale, part)
                x[:, stale] = part.into(u)
                away[:, stale] = 0.0
            series = modes.into(away)
        v0, held = terminal(modes.open(x + series), 1 / modes.sum, power, current)
        drain = power / np.maximum(v0, TINY) + current
        h = np.minimum(left, hint)
        if bent or powered:
            xw, _, _, vw, ok = advance(modes, x, series, drain, h, power, current, bent)
            xm, dm, im, vm, okm = advance(modes, x, series, drain, h / 2, power, current, bent)
            x1, series1, new, v1, ok1 = advance(modes, xm, dm, im, h / 2, power, current, bent)
            ok = ok & okm & ok1
            off = x1 - xw
            error = np.maximum(np.abs(v1 - vw), np.abs(modes.out(off)).max(axis=0))
            x1 = x1 + off / 3
            least = np.minimum(np.minimum(v0, v1), vertex(v0, vm, v1))
            good = held & ok & (error <= step_v)
            gone = ~held | (~ok & (h <= COLLAPSE * load.duration_s[row]))
            scale = np.minimum(np.maximum(0.85 * np.cbrt(step_v / np.maximum(error, step_v * 1e-3)), 0.2), 6)
            hint = np.where(ok, h * scale, h / 8)
        else:
            # Nothing but exponentials: a row is one step.
            x1, series1, new, v1, ok = advance(modes, x, series, drain, h, power, current, False)
            least, good = np.minimum(v0, v1), held & ok
            gone, hint = ~good, left + load.duration_s.max()
        if branches > 2:
            least = between(modes, x, series, series1, drain, new, h, least)
        lowest = np.where(good, np.minimum(lowest, least), lowest)
        x = np.where(good, x1, x)
        left = left - good * h
        over = good & (left <= 0)
        row = row + over
        done = (over & (row >= last)) | gone | (lowest < lost)
        left = np.where(over, load.duration_s[np.minimum(row, len(load.duration_s) - 1)], left)
        if done.any():
            answer[own[done]] = np.where(gone[done], 0.0, lowest[done])
            y = modes.out(x)
            ends[:, own[done]] = (y + modes.bent(y))[:, done]
            keep = ~done
            own, x, series, row, last, left, hint, lowest, lost, step_v = (
                a[..., keep] for a in (own, x, series, row, last, left, hint, lowest, lost, step_v)
            )
            modes = modes.take(keep)
    return answer, ends

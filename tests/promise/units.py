"""The units that lie inside the box of a node, and what each draws. A unit is one lane of the discharge."""

from dataclasses import dataclass
from itertools import product

import numpy as np

# Points inside the box for each node.
INSIDE = 20
# How far a named corner may lie outside the box: rounding.
EDGE = 1e-9


@dataclass
class Unit:
    """One unit: capacitance at 0 V, slope and resistance of each branch, leakage, and which of `loads` it draws."""

    what: str
    capacitance: np.ndarray
    slope: np.ndarray
    resistance: np.ndarray
    leakage: float
    load: int = 0


def scaled(node, shares):
    """Capacitance at 0 V and slope of each branch, of parts with these shares of the nominal capacitance."""
    at_zero, slopes = [], []
    for c, part in zip(node.capacitors, shares):
        capacitance, slope, _ = c.string()
        at_zero.append((capacitance - slope * c.rated_voltage * c.series) * part)
        slopes.append(slope * part)
    return np.array(at_zero), np.array(slopes)


def loads(node):
    """What a unit may draw besides its rows: the load's excess and the current into the converter's pin."""
    return ((node.margin, node.pin()), (0.0, 0.0), (node.margin / 2, node.pin() / 2))


def corners(node):
    """Every combination of resistance ends at low capacitance, at the cold end and at the hot end."""
    units = []
    for hot in [False, True] if node.hot() else [False]:
        capacitance, slope = scaled(node, [c.least(hot) for c in node.capacitors])
        ends = [c.resistances(hot) for c in node.capacitors]
        for which in product((0, 1), repeat=len(ends)):
            resistance = np.array([end[w] for end, w in zip(ends, which)])
            what = f"{'hot' if hot else 'cold'} end, resistances {''.join('-+'[w] for w in which)}"
            units.append(Unit(what, capacitance, slope, resistance, node.conductance(hot)))
    return units


def inside(node, rng):
    """Random points of the box: resistances even over the logarithm, capacitances at an end or between, any leakage and load."""
    units = []
    for number in range(INSIDE):
        hot = node.hot() and bool(rng.random() < 0.5)
        ends = [c.resistances(hot) for c in node.capacitors]
        # The lowest resistances are a millionth: half of the points stay within a hundredth of the largest.
        near = rng.random() < 0.5
        resistance = [np.exp(rng.uniform(np.log(max(low, high / 100) if near else low), np.log(high))) for low, high in ends]
        shares = [c.least(hot) + rng.choice([0.0, rng.random(), 1.0]) * (c.most() - c.least(hot)) for c in node.capacitors]
        leakage = node.conductance(hot) * rng.choice([0.0, rng.random(), 1.0])
        units.append(Unit(f"inside {number}{' hot' if hot else ''}", *scaled(node, shares), np.array(resistance), leakage, int(rng.integers(3))))
    return units


def named(node, corner):
    """The units of a corner that the tool names: at the end that it says, or at each end where such parts can be."""
    branches = corner["branches"]
    capacitance = np.array([b["capacitance_f"] for b in branches])
    slope = np.array([b.get("capacitance_slope_f_per_v", 0.0) for b in branches])
    resistance = np.array([b["resistance_ohm"] for b in branches])
    units = []
    for hot in [False, True] if node.hot() else [False]:
        if corner.get("end", "hot" if hot else "cold") != ("hot" if hot else "cold"):
            continue
        least, _ = scaled(node, [c.least(hot) for c in node.capacitors])
        most, _ = scaled(node, [c.most() for c in node.capacitors])
        ends = np.array([c.resistances(hot) for c in node.capacitors])
        fits = (capacitance >= least * (1 - EDGE)) & (capacitance <= most * (1 + EDGE))
        fits &= (resistance >= ends[:, 0] * (1 - EDGE)) & (resistance <= ends[:, 1] * (1 + EDGE))
        if fits.all():
            units.append(Unit(f"named corner{' hot' if hot else ''}", capacitance, slope, resistance, node.conductance(hot)))
    return units

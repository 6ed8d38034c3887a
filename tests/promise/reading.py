"""What firmware reads of a unit, from a resistor divider, a pin that leaks, a capacitor that samples, a reference and a count."""

from itertools import product

import numpy as np

from discharge import Banks, Modes, phi
from units import corners, inside, scaled

# The truth is this much lower than what the action asks for (V).
BELOW_V = 1e-3
# Random sensing circuits inside the box, beside its corners.
CIRCUITS = 40
# Moments of a charge from rest, as parts of the time in which it fills the range.
MOMENTS = np.logspace(-9, 0, 60)


def charging_lift(node, truth_v, rng):
    """How far the terminal stands above the lowest branch while the bank is charged from rest, in the worst of many units."""
    units = corners(node) + inside(node, rng)
    banks = Banks(*(np.array([getattr(u, name) for u in units]).T for name in ("capacitance", "slope", "resistance", "leakage")))
    modes = Modes(banks, np.full(banks.capacitance_f.shape, truth_v))
    current = node.maximum_current
    whole = modes.constant.sum(axis=0) * (node.overvoltage - truth_v) / current
    worst = 0.0
    for moment in MOMENTS:
        t = whole * moment
        x = t * phi(modes.rate * t)[1] * modes.beta * current
        lift = modes.open(x) + current / modes.sum - modes.out(x).min(axis=0)
        worst = max(worst, float(lift.max()))
    return worst


def readings(node, terminal_v, rng):
    """The highest reading of random and extreme units, in millivolts and in counts, of which a lower one is a higher voltage against the supply.

    Behind a divider firmware may take a count at its upper edge; against the supply the quotient is that edge.
    """
    q = node.sense
    steps = 2**q.bits
    ends = list(product((-1, 1), repeat=4)) + [rng.uniform(-1, 1, 4) for _ in range(CIRCUITS)]
    against_supply = q.kind == "reference"
    worst_mv, counts = 0, []
    for reference, top, bottom, pin in ends:
        v_ref = q.reference * (1 + reference * q.reference_tolerance)
        if against_supply:
            count = int(v_ref / terminal_v * steps)
            counts.append(count)
            worst_mv = max(worst_mv, int(q.reference * steps * 1000 / count + 1e-9))
            continue
        if np.isinf(q.bottom):
            at_pin = terminal_v
        else:
            upper, lower = q.top * (1 + top * q.tolerance), q.bottom * (1 + bottom * q.tolerance)
            source = upper * lower / (upper + lower)
            at_pin = (terminal_v / upper + pin * q.input_leakage) * source
            if q.sampling_capacitor:
                at_pin += (v_ref - at_pin) * np.exp(-q.sampling_time / (source * q.sampling_capacitor))
        count = min(int(at_pin / v_ref * steps), steps - 1)
        counts.append(count)
        # Up to the edge and not at it: there the next count begins.
        worst_mv = max(worst_mv, int((count + 1) * q.reference / (q.ratio() * steps) * 1000 - 1e-9))
    return worst_mv, min(counts) if against_supply else max(counts)


def judge(node, promised, rng):
    """Deviations in words and millivolts: units that read `decide_mv` or more and yet have a branch below `start_with_reserve_v`."""
    truth_v = promised["start_with_reserve_v"] - BELOW_V
    lift = charging_lift(node, truth_v, rng)
    seen_mv, seen_count = readings(node, truth_v + lift, rng)
    found = []
    decide, counts = promised["decide_mv"], promised["decide_counts"]
    where = f"at {truth_v:.6f} V, charging lift {lift * 1e3:.3f} mV"
    if seen_mv >= decide:
        found.append((seen_mv - decide + 1.0, f"reads {seen_mv} mV, decide {decide} mV, {where}"))
    if seen_count <= counts if node.sense.kind == "reference" else seen_count >= counts:
        found.append((0.0, f"reads count {seen_count}, decide {counts}, {where}"))
    return found

"""The witness before its own judges: equations 7 and 8 by hand, and SciPy's solve_ivp on nodes of every class."""

import numpy as np
from scipy.integrate import solve_ivp

from discharge import Banks, Load, discharge
from draw import ACTIONS, KINDS, draw
from units import corners

# One branch under one row has a closed form; what is left is the step's own error (V).
BY_HAND_V = 2e-6
# What this simulation and solve_ivp may differ by (V): a tenth of what the promise is judged to, and more than either errs.
SOLVER_V = 5e-5
# solve_ivp goes through at most so many rows.
ROWS = 40


def one(capacitance, resistance, power, current, duration, start_v):
    banks = Banks(*(np.array([[x]]) for x in (capacitance, 0.0, resistance)), np.zeros(1))
    load = Load(*(np.array([x]) for x in (power, current, duration)))
    lowest, ends = discharge(banks, np.array([start_v]), load, [0], [1])
    return float(lowest[0]), float(ends[0, 0])


def constant_current():
    """(7): 20 mA for 5 s from 4 V on 0.5 F behind 3 ohm: 4 V - 0.2 V at rest, 60 mV less at the terminal."""
    lowest, end = one(0.5, 3.0, 0.0, 0.02, 5.0, 4.0)
    return [("equation 7", abs(end - 3.8), BY_HAND_V), ("equation 7", abs(lowest - 3.74), BY_HAND_V)]


def constant_power():
    """(8): 0.1 W on 0.2 F behind 4 ohm, as long as the terminal takes from 3 V to 2 V."""
    c, r, p, v1, v2 = 0.2, 4.0, 0.1, 3.0, 2.0
    duration = c / (2 * p) * (v1**2 - v2**2) - c * r * np.log(v1 / v2)
    lowest, end = one(c, r, p, 0.0, duration, v1 + p * r / v1)
    return [("equation 8", abs(lowest - v2), BY_HAND_V), ("equation 8", abs(end - v2 - p * r / v2), BY_HAND_V)]


def collapse():
    """(6): one branch collapses above u²/(4·R), and not below."""
    most = 3.0**2 / (4 * 5.0)
    held = one(1e3, 5.0, most * 0.999, 0.0, 1e-3, 3.0)[0] > 0
    lost = one(1e3, 5.0, most * 1.001, 0.0, 1e-3, 3.0)[0] == 0
    return [("equation 6, matched power", 0.0 if held and lost else 1.0, BY_HAND_V)]


def lowest_by_solver(unit, start_v, power, current, duration):
    """The same by solve_ivp (Radau): the lowest of its own points, which are many in a transient."""
    c0, k, g, leak = unit.capacitance, unit.slope, 1 / unit.resistance, unit.leakage
    total = g.sum() + leak

    def at(u, p, i):
        pull = (g[:, None] * u).sum(axis=0) - i if u.ndim == 2 else g @ u - i
        return (pull + np.sqrt(np.maximum(pull * pull - 4 * total * p, 0))) / (2 * total)

    def slope(t, u):
        v = at(u, p, i)
        part = g / (total - p / v**2)
        rate = g / (c0 + k * u)
        jacobian = rate[:, None] * part[None, :]
        return jacobian - np.diag(rate + (v - u) * rate * k / (c0 + k * u))

    u, least = np.full(len(c0), start_v), np.inf
    for p, i, t in zip(power, current, duration):
        run = solve_ivp(lambda _, u: (at(u, p, i) - u) * g / (c0 + k * u), (0, t), u, method="Radau", jac=slope, rtol=1e-7, atol=1e-8)
        least = min(least, float(at(run.y, p, i).min()))
        u = run.y[:, -1]
    return least


def by_solver(seeds):
    """Differences to solve_ivp from the middle of the range; a bank that collapses there is left to the other checks."""
    found = []
    for kind in KINDS:
        for index in seeds:
            node = draw(kind, index)
            rng = np.random.default_rng(index)
            action = ACTIONS[2 - index % 3]
            # Down to a thousandth: below, the difference v - u that the solver takes has no digits left.
            unit = corners(node)[-1]
            unit.resistance = unit.resistance * 10.0 ** -rng.uniform(0, 3, len(unit.resistance))
            current, duration = (x[:ROWS] for x in node.rows(action))
            power, own = node.supply.drain(current * (1 + node.margin))
            start_v = node.overvoltage
            banks = Banks(*(np.array(getattr(unit, n))[..., None] for n in ("capacitance", "slope", "resistance", "leakage")))
            lowest, _ = discharge(banks, np.array([start_v]), Load(power, own, duration), [0], [len(duration)])
            if lowest[0] > node.supply.floor() / 2:
                found.append((f"{node.seed} {action}, solve_ivp", abs(lowest[0] - lowest_by_solver(unit, start_v, power, own, duration)), SOLVER_V))
    return found


def run(seeds=range(6)):
    """Each check: its name, by how much it is off, and what it may be."""
    return constant_current() + constant_power() + collapse() + by_solver(seeds)


if __name__ == "__main__":
    for what, off, most in run():
        print(f"{what:60} {off:.3e} {'' if off <= most else 'TOO MUCH'}")

"""Integrates a node's storage over the drains that a simulation chose, every branch by itself.

In: {"branches": [[farad, farad_per_volt, ohm], ...], "leakage_s", "start_v",
     "pieces": [[duration_s, load_w, load_a, harvest_w], ...], "looks": [index of the piece after which to look, ...]}
Out: [[terminal voltage at each look, under the drain of the piece that ends there], [lowest terminal voltage of each piece]].
"""
import json
import sys

import numpy as np
from scipy.integrate import solve_ivp

# Ten nanovolts a piece and less; the comparison is in tens of microvolts.
RELATIVE, ABSOLUTE_V = 1e-9, 1e-10

question = json.load(sys.stdin)
capacitance, slope, resistance = (np.array(column) for column in zip(*question["branches"]))
conductance = 1 / resistance
total = conductance.sum() + question["leakage_s"]


def terminal(inner, power, current):
    """Upper root of sum((u - v) / R) = P / v + I + G v."""
    source = (conductance * inner).sum() - current
    return (source + np.sqrt(source * source - 4 * total * power)) / (2 * total)


inner = np.full(len(capacitance), question["start_v"])
looks = set(question["looks"])
seen, lowest = [], []
for index, (duration, load_w, load_a, harvest_w) in enumerate(question["pieces"]):
    power = load_w - harvest_w

    def rate(_, u):
        return (terminal(u, power, load_a) - u) * conductance / (capacitance + slope * u)

    if duration > 0:
        run = solve_ivp(rate, (0, duration), inner, method="LSODA", rtol=RELATIVE, atol=ABSOLUTE_V)
        assert run.success, run.message
        inner = run.y[:, -1]
        lowest.append(min(terminal(u, power, load_a) for u in run.y.T))
    else:
        lowest.append(terminal(inner, power, load_a))
    if index in looks:
        seen.append(terminal(inner, power, load_a))
json.dump([seen, lowest], sys.stdout)

"""Discharge of capacitor banks by SciPy's solve_ivp: the witness's side of tests/scipy.

Reads a list of runs as JSON from standard input, writes a list of answers in the same order to standard output.
A run:
    capacitance_f, slope_f_per_v, resistance_ohm   lists, one entry for each branch; C(u) = capacitance + slope * u
    leakage_s                                      conductance at the terminal
    start_v                                        voltage on every branch at rest
    stretches                                      list of [power_w, current_a, peak_power_w, peak_current_a, duration_s]
An answer is the lowest terminal voltage, or null when the bank cannot give the power.

State: u, the voltage on each branch's capacitor. Kirchhoff at the terminal, sum((u - v)/R) = P/v + I + G*v, is solved
for the upper v; each capacitor then follows du/dt = (v - u) / (R * C(u)).
"""

import json
import multiprocessing
import sys

import numpy as np
from scipy.integrate import solve_ivp

# Far below the 0.1 mV at which the answer is compared, over the at most some thousand steps of a run.
RELATIVE = 1e-9
ABSOLUTE_V = 1e-10
# Stretches take at least this many steps, so that the lowest point under the peak drain is not stepped over.
STEPS = 4


class Bank:
    """Branches at one terminal."""

    def __init__(self, run):
        self.empty_f = np.array(run["capacitance_f"])
        self.slope_f_per_v = np.array(run["slope_f_per_v"])
        self.conductance_s = 1.0 / np.array(run["resistance_ohm"])
        self.total_s = self.conductance_s.sum() + run["leakage_s"]

    def terminal(self, u, power_w, current_a):
        """Upper root of total*v^2 - source*v + P = 0 and the discriminant, for one state or for columns of states."""
        source_a = self.conductance_s @ u - current_a
        discriminant = np.where(source_a > 0.0, source_a**2 - 4.0 * self.total_s * power_w, -1.0)
        return (source_a + np.sqrt(np.maximum(discriminant, 0.0))) / (2.0 * self.total_s), discriminant

    def rate(self, u, power_w, current_a):
        """du/dt."""
        v, _ = self.terminal(u, power_w, current_a)
        return (v - u) * self.conductance_s / (self.empty_f + self.slope_f_per_v * u)


def lowest(run):
    """Lowest terminal voltage of one run, or None."""
    bank = Bank(run)
    u = np.full(len(bank.empty_f), run["start_v"])
    lowest_v = np.inf
    for power_w, current_a, peak_power_w, peak_current_a, duration_s in run["stretches"]:
        answer = solve_ivp(
            lambda _, u: bank.rate(u, power_w, current_a),
            (0.0, duration_s),
            u,
            method="LSODA",
            rtol=RELATIVE,
            atol=ABSOLUTE_V,
            max_step=duration_s / STEPS,
        )
        if not answer.success:
            raise RuntimeError(f"{run['name']}: {answer.message}")
        for drain in (power_w, current_a), (peak_power_w, peak_current_a):
            v, discriminant = bank.terminal(answer.y, *drain)
            if (discriminant < 0.0).any():
                return None
            lowest_v = min(lowest_v, v.min())
        u = answer.y[:, -1]
    return float(lowest_v)


if __name__ == "__main__":
    with multiprocessing.Pool() as pool:
        json.dump(pool.map(lowest, json.load(sys.stdin), chunksize=16), sys.stdout)

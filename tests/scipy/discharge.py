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
# Time constants that lie so far apart are too stiff for LSODA, which then takes steps of the shortest of them for hours.
STIFF = 1e6


class Bank:
    """Branches at one terminal."""

    def __init__(self, run):
        self.empty_f = np.array(run["capacitance_f"])
        self.slope_f_per_v = np.array(run["slope_f_per_v"])
        self.conductance_s = 1.0 / np.array(run["resistance_ohm"])
        self.leakage_s = run["leakage_s"]
        self.total_s = self.conductance_s.sum() + self.leakage_s

    def is_stiff(self):
        """Whether the branches' time constants lie far apart."""
        constants_s = self.empty_f / self.conductance_s
        return constants_s.max() > STIFF * constants_s.min()

    def terminal(self, u, power_w, current_a):
        """Upper root of total*v^2 - source*v + P = 0 and the discriminant, for one state or for columns of states."""
        source_a = self.conductance_s @ u - current_a
        discriminant = np.where(source_a > 0.0, source_a**2 - 4.0 * self.total_s * power_w, -1.0)
        return (source_a + np.sqrt(np.maximum(discriminant, 0.0))) / (2.0 * self.total_s), discriminant

    def drawn(self, v, power_w, current_a):
        """Current out of the terminal."""
        return (power_w / v if power_w else 0.0) + current_a + self.leakage_s * v

    def rate(self, u, power_w, current_a):
        """du/dt.

        v - u is the sum of what the other branches give through their conductances and of what is drawn, over all
        conductances: as a difference of two voltages nothing would be left of it at a tenth of a microohm.
        """
        v, _ = self.terminal(u, power_w, current_a)
        across = ((u - u[:, None]) @ self.conductance_s - self.drawn(v, power_w, current_a)) / self.conductance_s.sum()
        return across * self.conductance_s / (self.empty_f + self.slope_f_per_v * u)

    def jacobian(self, u, power_w, current_a):
        """Derivative of `rate` by u."""
        v, _ = self.terminal(u, power_w, current_a)
        toward = self.conductance_s / (self.total_s - (power_w / v**2 if power_w else 0.0))
        capacitance_f = self.empty_f + self.slope_f_per_v * u
        moved = (toward[None, :] - np.eye(len(u))) * (self.conductance_s / capacitance_f)[:, None]
        bent = self.rate(u, power_w, current_a) * self.slope_f_per_v / capacitance_f
        return moved - np.diag(bent)


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
            method="Radau" if bank.is_stiff() else "LSODA",
            jac=lambda _, u: bank.jacobian(u, power_w, current_a),
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

"""Reduces discharges of a capacitor.

In: [{"file", "current_a", "rated_v"}, ...], each file with the columns time_s, storage_v
Out: for each the capacitance from 80 to 40 % of the rated voltage by linear interpolation, and the line C0 + k v through
95 to 25 % that SciPy finds: C0, k, root mean square and largest of what it misses the voltage by.
"""
import json
import sys

import numpy as np
from scipy.optimize import least_squares

answers = []
for question in json.load(sys.stdin):
    time, voltage = np.loadtxt(question["file"], delimiter=",", skiprows=1).T
    current, rated = question["current_a"], question["rated_v"]
    high, low = (np.interp(-part * rated, -voltage, time) for part in (0.8, 0.4))
    capacitance = current * (low - high) / (0.4 * rated)

    inside = (voltage <= 0.95 * rated) & (voltage >= 0.25 * rated)
    time, voltage = time[inside], voltage[inside]

    def missed(parameters):
        charge, empty, slope = parameters
        charge = charge - current * time
        return 2 * charge / (empty + np.sqrt(empty * empty + 2 * slope * charge)) - voltage

    start = [capacitance * rated, capacitance, 0.01 * capacitance]
    found = least_squares(missed, start, method="lm", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    answers.append([capacitance, found.x[1], found.x[2], np.sqrt(np.mean(found.fun**2)), np.abs(found.fun).max()])
json.dump(answers, sys.stdout)

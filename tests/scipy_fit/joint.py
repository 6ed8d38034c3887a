"""From factors to parts by SciPy: the witness's side of tests/scipy_fit for equation 38.

Reads a list of problems as JSON from standard input, writes the list of answers in the same order to standard output.
A problem:
    combinations   rows over the factors of sleep, leakage, samples, reports, resistance
    values         of the combinations
    covariance     of the values
    power_shares   part of the drain that is a constant power: asleep, in a sample, in a report
    resistance_ohm as described
    explanations   list of {mean, deviation}: what is believed of the seven unknowns
An answer: for each explanation the unknowns at the least sum of squares, searched from the mean
"""

import json
import sys

import numpy as np
from scipy.linalg import solve_triangular
from scipy.optimize import least_squares


def factors(part, shares, ohm):
    capacitance, asleep, sample, report, leakage, series, scale = part
    drain = [np.exp(one + (1.0 + share) * scale - capacitance) for one, share in zip((asleep, sample, report), shares)]
    dip = ohm * np.exp(series + report + (1.0 + shares[2]) * scale)
    return np.array([drain[0], leakage * np.exp(-capacitance), drain[1], drain[2], dip])


def solve(problem):
    rows, values = np.array(problem["combinations"]), np.array(problem["values"])
    lower = np.linalg.cholesky(np.array(problem["covariance"]))
    found = []
    for explanation in problem["explanations"]:
        mean, deviation = np.array(explanation["mean"]), np.array(explanation["deviation"])

        def residuals(part):
            log = rows @ factors(part, problem["power_shares"], problem["resistance_ohm"]) - values
            return np.concatenate([solve_triangular(lower, log, lower=True), (part - mean) / deviation])

        found.append(least_squares(residuals, mean, jac="3-point", x_scale=deviation, xtol=1e-12, ftol=1e-12, gtol=1e-12).x.tolist())
    return found


if __name__ == "__main__":
    json.dump([solve(problem) for problem in json.load(sys.stdin)], sys.stdout)

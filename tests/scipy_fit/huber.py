"""Robust least squares by SciPy: the witness's side of tests/scipy_fit.

Reads a list of problems as JSON from standard input, writes the list of answers in the same order to standard output.
A problem:
    rows      list of [segment, place, x..., fall_v]: a reading, its segment, its place there, what was drawn, how far it fell
    segments  number of segments; each has a level, and a trend where a place is not 0
    bend_v    errors beyond this count less
    beta      the factors that were found, one for each column of x
An answer:
    beta      factors of the weighted least-squares problem whose weights are those of the found factors' errors: at the least
              value of Huber's loss, and nowhere else, they are the found ones
    own       Huber's loss at the found factors
    other     Huber's loss where SciPy's own run with that loss ends
"""

import json
import sys

import numpy as np
from scipy.optimize import least_squares

# Rounds in which the levels of the segments settle.
ROUNDS = 500
SETTLED_V = 1e-12


def loss(errors, bend):
    size = np.abs(errors)
    return np.where(size < bend, size**2 / 2.0, bend * size - bend**2 / 2.0).sum()


def weights(errors, bend):
    return np.minimum(1.0, bend / np.maximum(np.abs(errors), 1e-300))


def settled(levels, fall, bend):
    """Errors of each reading under the levels and trends that are best for it."""
    size = np.linalg.lstsq(levels, fall, rcond=None)[0]
    for _ in range(ROUNDS):
        root = np.sqrt(weights(fall - levels @ size, bend))
        moved = np.linalg.lstsq(levels * root[:, None], fall * root, rcond=None)[0]
        done = np.abs(moved - size).max() < SETTLED_V
        size = moved
        if done:
            break
    return fall - levels @ size


def solve(problem):
    rows = np.array(problem["rows"])
    segment, place, x, fall = rows[:, 0].astype(int), rows[:, 1], rows[:, 2:-1], rows[:, -1]
    bend, beta = problem["bend_v"], np.array(problem["beta"])
    count, columns, segments = len(rows), x.shape[1], problem["segments"]
    levels = np.zeros((count, 2 * segments))
    levels[np.arange(count), segment] = 1.0
    levels[np.arange(count), segments + segment] = place
    levels = levels[:, np.abs(levels).max(axis=0) > 0.0]
    errors = np.empty(count)
    for number in range(segments):
        own = segment == number
        part = levels[own]
        part = part[:, np.abs(part).max(axis=0) > 0.0]
        errors[own] = settled(part, (fall - x @ beta)[own], bend)
    size = np.abs(x).max(axis=0)
    kept = size > 0.0
    design = np.hstack([x[:, kept] / size[kept], levels])
    # In orthogonal directions no step of the solver is long in one and short in another.
    root = np.sqrt(weights(errors, bend))
    q, r = np.linalg.qr(design * root[:, None])
    found = least_squares(lambda p: q @ p - fall * root, np.zeros(q.shape[1]), jac=lambda p: q, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    whole = np.zeros(columns)
    whole[kept] = np.linalg.lstsq(r, found.x, rcond=None)[0][: kept.sum()] / size[kept]
    # SciPy's own way to the least loss, from the least squares.
    q, _ = np.linalg.qr(design)
    other = least_squares(lambda p: q @ p - fall, q.T @ fall, jac=lambda p: q, loss="huber", f_scale=bend, max_nfev=500)
    return {"beta": whole.tolist(), "own": loss(errors, bend), "other": loss(q @ other.x - fall, bend)}


if __name__ == "__main__":
    json.dump([solve(problem) for problem in json.load(sys.stdin)], sys.stdout)

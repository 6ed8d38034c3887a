"""Best rates of reporting by SciPy's linprog: the witness's side of tests/scipy_bound.

Reads a list of cases as JSON from standard input, writes a list of answers in the same order to standard output.
A case:
    slots               list of [length_s, income_w]
    capacity_j, start_j what the storage holds, and holds at first
    kept_j              what it keeps at the end of a slot, but for what sleep took since most had come in
    sleep_w, report_j   what sleep and a report take
    fastest_s           least time between reports
An answer is [least, reached]: the least integral of the age of the newest report, in s^2, lies between them.

Variables are the reports n of each slot, at an even rate, the energy e stored at its end, and a z of each slot:
    e <= e_before + (income - sleep)*length - report*n     what is missing is thrown away, whenever and for any cause
    max(0, kept - owed) <= e <= capacity     owed: the most that had come in, less sleep, until then, less what has by now;
                                             slots end where that limit bends
    0 <= n <= length/fastest
    z >= length^2/(2*n)    in the sum to be least; by tangents of the hyperbola, added where the last answer was,
                           until the sum of the z, which is too low, and the true sum at n, which is too high, meet.
"""

import json
import sys

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_matrix

# Ten times closer than what is compared.
RELATIVE = 1e-7
MOST_ROUNDS = 200
# The solver's closest.
OPTIONS = {"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10}


def split(case):
    """Slots that also end where the least that is kept bends, and that least at their ends."""
    slots, least = [], []
    come, most, kept = 0.0, 0.0, case["kept_j"]
    for length, income in case["slots"]:
        net = income - case["sleep_w"]
        # Where what is owed comes to nothing, and where it comes to all that is kept.
        turns = [(most - owed - come) / net for owed in (0.0, kept)] if kept > 0.0 and net != 0.0 else []
        start = 0.0
        for end in [*sorted(turn for turn in turns if 0.0 < turn < length), length]:
            come_by = come + net * end
            if end > start:
                slots.append([end - start, income])
                least.append(max(0.0, kept - max(0.0, most - come_by)))
            start = end
        come += net * length
        most = max(most, come)
    return np.array(slots).T, np.array(least)


def least_age(case):
    (length_s, income_w), least_j = split(case)
    count = len(length_s)
    total_s = length_s.sum()
    report_j = case["report_j"]
    # In reports, in parts of the whole time, and in multiples of the age at the limit, so that all numbers are near 1.
    capacity = case["capacity_j"] / report_j
    gain = (income_w - case["sleep_w"]) * length_s / report_j
    share = length_s / total_s
    most = length_s / case["fastest_s"]
    scale = (share**2 / (2.0 * most)).sum()
    number, stored, age = np.arange(count), np.arange(count) + count, np.arange(count) + 2 * count

    rows, columns, values, limits = [], [], [], []

    def at_most(limit, terms):
        for column, value in terms:
            rows.append(len(limits))
            columns.append(column)
            values.append(value)
        limits.append(limit)

    for slot in range(count):
        before = [(stored[slot - 1], -1.0)] if slot else []
        first = case["start_j"] / report_j if slot == 0 else 0.0
        at_most(gain[slot] + first, [(stored[slot], 1.0), (number[slot], 1.0), *before])
    kept = [(least / report_j, capacity) for least in least_j]
    bounds = [(0.0, m) for m in most] + kept + [(0.0, None)] * count
    costs = np.concatenate([np.zeros(2 * count), np.ones(count)])

    # First tangents: from the limit down to one report in the whole time.
    touched = [np.minimum(share * factor, most) for factor in np.geomspace(1.0, max(2.0, (most / share).max()), 24)]
    while len(touched) < MOST_ROUNDS:
        new = touched if len(limits) == count else touched[-1:]
        for point in new:
            for slot in range(count):
                slope = share[slot] ** 2 / (2.0 * point[slot] ** 2) / scale
                at_most(-2.0 * slope * point[slot], [(age[slot], -1.0), (number[slot], -slope)])
        matrix = coo_matrix((values, (rows, columns)), shape=(len(limits), 3 * count)).tocsr()
        answer = linprog(costs, A_ub=matrix, b_ub=limits, bounds=bounds, method="highs-ds", options=OPTIONS)
        if answer.status != 0:
            raise RuntimeError(answer.message)
        point = np.maximum(answer.x[:count], 1e-9 * share)
        reached = (share**2 / (2.0 * point)).sum() / scale
        if reached - answer.fun < RELATIVE * reached:
            return [answer.fun * scale * total_s**2, reached * scale * total_s**2]
        touched.append(point)
    raise RuntimeError(f"still open by {reached - answer.fun} of {reached}")


json.dump([least_age(case) for case in json.load(sys.stdin)], sys.stdout)

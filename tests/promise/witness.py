"""Judges what `millpond thresholds NODE --format json` promises of random nodes, by a simulation of the physics in docs/model.md.

    python3 witness.py --millpond PATH [--nodes 416] [--class NAME] [--seed INDEX] [--circuits 100] [--processes 2]

Without `--text` the answer is JSON: for each class what was tried, what is wrong, and the worst deviations.
"""

import argparse
import dataclasses
import json
import multiprocessing
import os
import subprocess
import sys
import tempfile
import zlib
from collections import Counter
from pathlib import Path

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[threads] = "1"

import numpy as np

import circuit
import own_checks
import reading
from discharge import Banks, Load, discharge
from draw import ACTIONS, KINDS, LONG, draw
from units import INSIDE, corners, inside, loads, named

# The promise: no deeper below the floor than the step of an emitted threshold (V).
BELOW_FLOOR_V = 1e-3
# The promise: this much lower the named corner falls below the floor (V), or, where it collapses before that, this part lower.
LOWER_V = 5e-3
LOWER_PART = 0.02
# What this simulation may err by (V). At the power limit the terminal multiplies it without end: a bank that collapses is started
# this much higher once more, and has to hold.
OWN_V = 1e-4
# What ngspice and this simulation may differ by (V): its relative error of 1e-6 a step, multiplied near the power limit, and edges of rows.
CIRCUIT_V = 1e-3
# ngspice is asked where all tries have at most so many rows.
CIRCUIT_ROWS = 200
# So large a part of its runs the simulator may give up.
GIVEN_UP = 0.05
# A refused node is drawn again, at most so often.
DRAWS = 20
# How far a figure of the tool and its like from the node file may differ: rounding.
SAME = 1e-9
# Of an action of many rows, so many of the points inside the box are run.
INSIDE_LONG = 6
# Deviations that are shown of each class.
SHOWN = 12

READINGS, CIRCUITS, RESERVE, OWN = "decide-from-readings", "circuit-simulator", "reserve-after-it", "own-checks"


def ask(millpond, node, folder):
    """The promises of a node, or why there are none."""
    path = Path(folder) / f"{node.name}.toml"
    path.write_text(node.toml())
    for name, text in node.profiles.items():
        (Path(folder) / name).write_text(text)
    done = subprocess.run([millpond, "thresholds", str(path), "--format", "json"], capture_output=True, text=True, stdin=subprocess.DEVNULL)
    try:
        answer = json.loads(done.stdout) if done.returncode == 0 else None
    except json.JSONDecodeError:
        answer = None
    if answer is None:
        lines = (done.stderr or done.stdout).strip().splitlines()
        return None, f"refused: {lines[0] if lines else f'exit code {done.returncode}'}"
    if any(a["decide_mv"] >= node.overvoltage * 1000 for a in answer["actions"].values()):
        return None, "cannot act below overvoltage"
    return answer, None


def take(task):
    """A node that can act and its promises; nodes that cannot are counted."""
    millpond, kind, index = task
    refused = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for attempt in range(DRAWS):
            node = draw(kind, index, attempt)
            answer, why = ask(millpond, node, folder)
            if answer:
                return node, answer, refused
            refused[why] += 1
    return None, None, refused


class Runs:
    """Lanes that wait to be run together."""

    def __init__(self):
        self.power, self.current, self.duration, self.rows = [], [], [], 0
        self.lanes = []

    def load(self, power, current, duration):
        """The first row of a load; the rows are kept one after the other."""
        begin = self.rows
        self.power.append(power)
        self.current.append(current)
        self.duration.append(duration)
        self.rows += len(duration)
        return begin

    def lane(self, unit, start_v, begin, end, simple):
        self.lanes.append((unit, start_v, begin, end, simple))
        return len(self.lanes) - 1

    def run(self):
        """The lowest terminal voltage of each lane."""
        lowest = np.zeros(len(self.lanes))
        load = Load(*(np.concatenate(x) for x in (self.power, self.current, self.duration)))
        groups = {}
        for number, (unit, _, _, _, simple) in enumerate(self.lanes):
            groups.setdefault((len(unit.capacitance) > 2, simple), []).append(number)
        for (many, _), numbers in groups.items():
            width = 4 if many else 2
            units, start, begin, end = zip(*(self.lanes[n][:4] for n in numbers))
            # Branches that are not there have no conductance.
            columns = [np.array([pad(getattr(u, name), width, rest) for u in units]).T.copy() for name, rest in PADDING]
            banks = Banks(*columns, np.array([u.leakage for u in units]))
            lowest[numbers], _ = discharge(banks, np.array(start), load, begin, end)
        return lowest


PADDING = (("capacitance", 1.0), ("slope", 0.0), ("resistance", 1e30))


def pad(values, width, rest):
    return np.concatenate([values, np.full(width - len(values), rest)])


def promised_corner(answer, action):
    return answer["actions"][action].get("corner") or answer["corner"]


def plan(node, answer, runs):
    """Puts all lanes of a node in `runs`; what each is for."""
    rng = np.random.default_rng(zlib.crc32(node.name.encode()))
    box = corners(node) + inside(node, rng)
    wanted = []
    for action in ACTIONS:
        promise = answer["actions"][action]
        current, duration = node.rows(action)
        begins, simple = [], True
        for excess, pin in loads(node):
            power, own = node.supply.drain(np.append(current, node.sleep) * (1 + excess))
            begins.append(runs.load(power, own + pin, np.append(duration, max(node.reserve, 1e-3))))
            simple = simple and not power.any()
        count = len(current)
        simple = simple and not any(c.slope for c in node.capacitors)

        def lane(purpose, unit, start_v, with_sleep=False):
            begin = begins[unit.load]
            number = runs.lane(unit, start_v, begin, begin + count + with_sleep, simple)
            wanted.append((action, purpose, unit, start_v, number))

        corner = promised_corner(answer, action)
        units = named(node, corner)
        leaks = corner.get("leakage_s")
        if not units or ("end" in corner and abs(leaks / units[0].leakage - 1) > SAME):
            wanted.append((action, "outside", None, promise["start_v"], None))
        for unit in units:
            lane("lower", unit, promise["start_v"] - LOWER_V)
            lane("part", unit, promise["start_v"] * (1 - LOWER_PART))
        for unit in units + (box if count <= LONG else box[: len(box) - INSIDE + INSIDE_LONG]):
            lane("start", unit, promise["start_v"])
            if node.reserve:
                lane("reserve", unit, promise["start_with_reserve_v"], True)
    return wanted


def judge(node, answer, wanted, lowest, again):
    """Deviations of one node, each with its class, its size in millivolts and words. `again` runs a lane from another start."""
    floor = answer["floor_v"]
    found, tried = [], Counter()

    def wrong(kind, size_v, text):
        found.append((kind, round(size_v * 1000, 4), f"{node.kind} {node.seed[1]} (draw {node.seed[2]}) {text}"))

    if abs(floor - node.supply.floor()) > SAME:
        wrong(node.kind, abs(floor - node.supply.floor()), f"floor {floor} V, from the node file {node.supply.floor()} V")
    for action in ACTIONS:
        here = [w for w in wanted if w[0] == action]
        at = {}
        for _, purpose, unit, start_v, number in here:
            if purpose == "outside":
                wrong(node.kind, 0.0, f"{action}: the named corner is none of the box: {promised_corner(answer, action)}")
                continue
            at.setdefault(purpose, []).append((unit, start_v, number))
        for purpose in ("start", "reserve"):
            worst = (0.0, None)
            for unit, start_v, number in at.get(purpose, []):
                tried[purpose] += 1
                deep = floor - lowest[number]
                if deep > BELOW_FLOOR_V and lowest[number] == 0.0:
                    deep = floor - again(number, start_v + OWN_V)
                if deep > BELOW_FLOOR_V and deep > worst[0]:
                    asleep = "and asleep after it " if purpose == "reserve" else ""
                    where = f"{deep * 1e3:.2f} mV below the floor {floor:.4f} V, {unit.what}"
                    worst = (deep, f"{action}: from {start_v:.6f} V {asleep}{where}")
            if worst[1]:
                wrong(node.kind if purpose == "start" else RESERVE, *worst)
        if "lower" in at:
            tried["lower"] += 1
            least = {p: min(lowest[number] for _, _, number in at[p]) for p in ("start", "lower", "part")}
            falls = least["lower"] < floor
            if not falls and least["start"] > floor + BELOW_FLOOR_V:
                # The power limit decides, or the promise is too high.
                falls = least["part"] == 0.0
            if not falls:
                high, start_v = least["lower"] - floor, answer["actions"][action]["start_v"]
                stays = f"the named corner stays {high * 1e3:.2f} mV above the floor"
                wrong(node.kind, high, f"{action}: {LOWER_V * 1e3:.0f} mV below its start of {start_v:.6f} V {stays}")
    return found, tried


def work(task):
    """One share of the nodes: runs, judges."""
    nodes, circuits = task
    found, tried = [], Counter()
    runs, plans = Runs(), []
    for node, answer in nodes:
        tried[f"nodes {node.kind}"] += 1
        plans.append((node, answer, plan(node, answer, runs)))
    if not plans:
        return found, tried
    lowest = runs.run()
    stored = Load(*(np.concatenate(x) for x in (runs.power, runs.current, runs.duration)))

    def again(number, start_v):
        unit, _, begin, end, _ = runs.lanes[number]
        return alone(unit, start_v, begin, end, stored)

    fit = [node.name for node, _ in nodes if in_circuit(node)]
    # Even over those that fit, which are sorted by their rows.
    simulated = {fit[round(k)] for k in np.linspace(0, len(fit) - 1, min(circuits, len(fit)))}
    for node, answer, wanted in plans:
        own, counts = judge(node, answer, wanted, lowest, again)
        found += own
        tried.update({f"{what} {node.kind}": count for what, count in counts.items()})
        rng = np.random.default_rng(zlib.crc32(node.name.encode()) + 1)
        for action in ACTIONS:
            tried[f"nodes {READINGS}"] += 1
            for size_mv, text in reading.judge(node, answer["actions"][action], rng):
                found.append((READINGS, size_mv, f"{node.kind} {node.seed[1]} (draw {node.seed[2]}) {action}: {text}"))
        if node.name in simulated:
            for _, purpose, unit, start_v, number in wanted:
                if purpose == "start" and unit.what.startswith("named"):
                    found += by_circuit(node, unit, start_v, lowest[number], runs.lanes[number], stored, tried)
    return found, tried


def alone(unit, start_v, begin, end, load):
    """The lowest terminal voltage of one lane."""
    banks = Banks(*(getattr(unit, name)[:, None] for name, _ in PADDING), np.array([unit.leakage]))
    return discharge(banks, np.array([start_v]), load, [begin], [end])[0][0]


def in_circuit(node):
    return sum(len(node.rows(action)[0]) for action in ACTIONS) <= CIRCUIT_ROWS


def by_circuit(node, unit, start_v, own, lane, load, tried):
    """What ngspice sees of the same unit; a bank that collapses in one collapses in the other."""
    _, _, begin, end, _ = lane
    if min(unit.resistance) < circuit.LEAST_OHM:
        # Both are asked about a bank that the simulator can go through.
        unit = dataclasses.replace(unit, resistance=np.maximum(unit.resistance, circuit.LEAST_OHM))
        own = alone(unit, start_v, begin, end, load)
    seen = circuit.lowest(node, unit, start_v, load.power_w[begin:end], load.current_a[begin:end], load.duration_s[begin:end])
    tried[f"nodes {CIRCUITS}"] += 1
    if seen is None and own != 0.0:
        # It found no step that is short enough: neither for nor against. How many these may be is judged over all.
        tried[f"given-up {CIRCUITS}"] += 1
        return []
    if seen is None:
        off = 0.0
    elif own == 0.0:
        off = 0.0
        tried[f"collapses {CIRCUITS}"] += 1
    else:
        off = abs(seen - own)
    if off <= CIRCUIT_V:
        return []
    where = f"{node.kind} {node.seed[1]} (draw {node.seed[2]}) from {start_v:.6f} V, {unit.what}, {end - begin} rows"
    return [(CIRCUITS, float(off) * 1000, f"{where}: ngspice {seen}, own {own:.6f} V")]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--millpond", required=True)
    parser.add_argument("--nodes", type=int, default=416)
    parser.add_argument("--class", dest="kind", choices=KINDS)
    parser.add_argument("--seed", type=int)
    parser.add_argument("--circuits", type=int, default=100, help="nodes for the circuit simulator")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--text", action="store_true")
    options = parser.parse_args()
    kinds = (options.kind,) if options.kind else KINDS
    seeds = range(options.seed, options.seed + 1) if options.seed is not None else range(-(-options.nodes // len(kinds)))
    tasks = [(kind, seed) for seed in seeds for kind in kinds]
    found, tried, refused = [], Counter(), Counter()
    with multiprocessing.Pool(options.processes) as pool:
        checks = pool.apply_async(own_checks.run)
        nodes = []
        for node, answer, why in pool.imap(take, [(options.millpond, *task) for task in tasks]):
            refused.update(why)
            if node:
                nodes.append((node, answer))
        found += [(kind, 0.0, f"{kind} {seed}: no node of {DRAWS} can act") for kind, seed in set(tasks) - {n.seed[:2] for n, _ in nodes}]
        # As many rows for each process.
        nodes.sort(key=lambda n: sum(len(n[0].rows(action)[0]) for action in ACTIONS))
        shares = [nodes[n :: options.processes] for n in range(options.processes)]
        for part in pool.imap(work, [(share, -(-options.circuits // options.processes)) for share in shares]):
            found += part[0]
            tried.update(part[1])
        checks = checks.get()
    tried[f"nodes {OWN}"] = len(checks)
    found += [(OWN, off * 1000, f"{what}: off by {off:.2e} V, at most {most:.0e}") for what, off, most in checks if not off <= most]
    given_up, circuits = tried[f"given-up {CIRCUITS}"], tried[f"nodes {CIRCUITS}"]
    if given_up > GIVEN_UP * circuits:
        found.append((CIRCUITS, 0.0, f"the simulator gave up {given_up} of {circuits} runs"))
    answer = {}
    for kind in (*kinds, RESERVE, READINGS, CIRCUITS, OWN):
        own = sorted((f for f in found if f[0] == kind), key=lambda f: -f[1])
        counts = {what.rsplit(" ", 1)[0]: count for what, count in tried.items() if what.endswith(f" {kind}")}
        answer[kind] = {"tried": counts, "wrong": len(own), "worst": [f"{size:.3f} mV: {text}" for _, size, text in own[:SHOWN]]}
    answer[RESERVE]["tried"] = {"units": sum(count for what, count in tried.items() if what.startswith("reserve "))}
    answer["refused"] = dict(refused)
    if not options.text:
        json.dump(answer, sys.stdout)
        return
    for kind, about in answer.items():
        if kind == "refused":
            print("refused", about)
            continue
        print(f"{kind}: {about['tried']}, wrong {about['wrong']}")
        print("".join(f"    {line}\n" for line in about["worst"]), end="")


if __name__ == "__main__":
    main()

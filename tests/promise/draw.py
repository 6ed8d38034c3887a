"""Random nodes that can act: loads are drawn first, and the bank is sized by the charge that they take and the sag that they make."""

import numpy as np

from node import Capacitor, Node, Sense, Supply

# Read against the supply itself.
REFERENCE = "read-by-reference"
# What a class is for; every other feature is as chance has it.
KINDS = ("phases", "profiles", "many-branches", "low-resistances", "pin-leakage", "hot-and-fresh", "series-cells", REFERENCE)
ACTIONS = ("boot", "measure", "transmit")
# Rows of a profile, at least and at most.
ROWS = (3, 5000)
# So large a part of the profiles may have that many rows; the others have fewer.
OFTEN_LONG, FEW = 0.15, 300
# A profile of more rows is tried once: the rows of all attempts are simulated.
LONG = 1000


def tidy(value, digits=4):
    """The number that a data sheet would have: so what is written is what is meant, to the last digit."""
    return float(f"{value:.{digits - 1}e}")


class Chance:
    """A generator of random numbers with a few shapes."""

    def __init__(self, *seed):
        self.rng = np.random.default_rng(seed)

    def even(self, low, high):
        return tidy(self.rng.uniform(low, high))

    def log(self, low, high):
        return tidy(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def whole(self, low, high):
        return int(self.rng.integers(low, high + 1))

    def often(self, share):
        return bool(self.rng.random() < share)

    def one(self, of):
        return of[self.rng.integers(len(of))]


def draw(kind, index, attempt=0):
    """Node `index` of a class. `attempt` counts those that were drawn before it and refused."""
    chance = Chance(KINDS.index(kind), index, attempt)
    supply = draw_supply(chance, "direct" if kind == REFERENCE else None)
    floor = supply.floor()
    overvoltage = tidy(floor * chance.even(1.35, 2.4) + 0.3, 3)
    if supply.gate:
        low = supply.gate[1]
        high = (low * (1 + supply.gate[2]) + overvoltage) / 2
        supply.gate = (tidy(high), low, supply.gate[2])
    peak = chance.log(2e-3, 0.2)
    actions, listed, profiles = {}, {}, {}
    name = f"{kind}-{index}"
    profiled = {"phases": 0.0, "profiles": 1.0}.get(kind, 0.4)
    for action in ACTIONS:
        scale = peak * (chance.log(0.05, 0.6) if action != "transmit" else 1.0)
        if chance.often(profiled if action == "transmit" else profiled / 2):
            actions[action], profiles[f"{name}-{action}.csv"] = draw_profile(chance, scale)
        else:
            rows = [(tidy(scale * chance.log(0.02, 1.0)), chance.log(1e-4, 2.0)) for _ in range(chance.whole(1, 4))]
            rows[chance.whole(0, len(rows) - 1)] = (tidy(scale), chance.log(1e-4, 0.5))
            listed[action] = rows
            actions[action] = tuple(np.array(rows).T)
    node = Node(
        name=name,
        seed=(kind, index, attempt),
        kind=kind,
        capacitors=[],
        supply=supply,
        sense=None,
        actions=actions,
        listed=listed,
        profiles=profiles,
        attempts=chance.one([1, 1, 1, 2, 3]),
        sleep=chance.log(2e-7, 1e-4),
        reserve=0.0,
        margin=chance.one([0.0, 0.05, 0.1, 0.25]),
        overvoltage=overvoltage,
        maximum_current=chance.log(1e-4, 2e-2),
    )
    if len(actions["transmit"][0]) > LONG:
        node.attempts = 1
    add_bank(chance, node)
    add_sense(chance, node)
    if chance.often(0.7):
        asleep = float(sum(p / floor + i for p, i in [supply.drain(node.sleep)]))
        asleep += max(node.conductance(False), node.conductance(True)) * overvoltage
        least = sum(c.string()[0] * c.least(False) for c in node.capacitors)
        node.reserve = min(tidy(chance.log(0.01, 0.15) * least * (overvoltage - floor) / asleep), 3e6)
    return node


def draw_supply(chance, kind=None):
    kind = kind or chance.one(["direct", "linear", "switching", "switching"])
    supply = Supply(kind)
    if kind == "linear":
        supply.rail, supply.dropout = chance.even(1.8, 3.3), chance.even(0.02, 0.3)
    else:
        supply.minimum_input = chance.even(1.0 if kind == "switching" else 1.8, 3.0)
    if kind == "switching":
        supply.rail = chance.even(1.2, 3.6)
        points = chance.one([1, 2, 3, 5])
        currents = sorted({chance.log(2e-6, 0.3) for _ in range(points)})
        best = chance.even(0.75, 0.96)
        etas = sorted(chance.even(0.3, best) for _ in currents)
        if len(etas) > 2 and chance.often(0.5):
            etas[-1] = etas[-3]
        supply.table = [(i, round(eta, 4)) for i, eta in zip(currents, etas)]
    if kind != "direct":
        supply.quiescent = chance.log(1e-7, 5e-5)
    if chance.often(0.3):
        supply.gate = (0.0, tidy(supply.floor() * chance.even(0.8, 1.15), 3), chance.one([0.0, 0.01, 0.03]))
    return supply


def draw_profile(chance, peak):
    """Rows of a measured profile with the given highest current, and the file as it is written."""
    rng = chance.rng
    count = int(chance.log(ROWS[0], ROWS[1] if chance.often(OFTEN_LONG) else FEW))
    shape = chance.one(["burst", "noise", "scales", "single", "train", "gaps"])
    step = int(chance.log(10, 200))  # tens of microseconds
    ticks = np.full(count, step)
    current = np.full(count, peak * chance.log(0.001, 0.1))
    if shape == "burst":
        at = rng.random(count) < chance.even(0.02, 0.3)
        current[at] = peak * rng.uniform(0.3, 1.0, at.sum())
    elif shape == "noise":
        current = peak * np.exp(rng.normal(-2.0, chance.even(0.2, 1.2), count))
    elif shape == "scales":
        ticks = np.exp(rng.uniform(np.log(10), np.log(chance.log(100, 1e5)), count)).astype(int)
        current = peak * np.exp(rng.uniform(np.log(1e-3), 0, count))
    elif shape == "single":
        current[rng.integers(count)] = peak
        current *= np.linspace(1, chance.log(0.3, 3), count)
    elif shape == "train":
        every = chance.whole(2, 40)
        current[::every] = peak
        ticks[1::every] = int(step * chance.log(1, 30))
    else:
        current[:: chance.whole(2, 10)] = peak * chance.even(0.3, 1.0)
        at = rng.random(count) < 0.03
        ticks[at] = np.exp(rng.uniform(np.log(1e3), np.log(1e6), at.sum())).astype(int)
        current[at] = peak * 1e-4
    ticks = np.maximum(ticks, 10)
    current = np.minimum(current, peak)
    current[rng.integers(count)] = peak
    unit, factor = chance.one([("current_a", 1.0), ("current_ma", 1e3), ("current_ua", 1e6)])
    written = [f"{i * factor:.6g}" for i in current]
    times = np.concatenate([[0], np.cumsum(ticks)])
    lines = ["# a load of the witness", f"time_s,{unit}"]
    lines += [f"{t // 100000}.{t % 100000:05d},{i}" for t, i in zip(times, [*written, "0"])]
    return (np.array([float(i) for i in written]) / factor, ticks * 1e-5), "\n".join(lines) + "\n"


def add_bank(chance, node):
    """Capacitors for the loads: what all rows take may lower the bank by a part of its range, the highest current by another."""
    supply, floor = node.supply, node.supply.floor()
    room = node.overvoltage - floor
    drawn, top = 0.0, 0.0
    for action in ACTIONS:
        current, duration = node.rows(action)
        power, own = supply.drain(current * (1 + node.margin))
        at_floor = power / floor + own
        drawn = max(drawn, float((at_floor * duration).sum()))
        top = max(top, float(at_floor.max()))
    least = drawn / (room * chance.log(0.02, 0.4))
    most_resistance = room * chance.log(0.02, 0.35) / top
    many = {"many-branches": chance.whole(2, 4), "low-resistances": chance.whole(2, 4), "phases": chance.one([1, 1, 2, 3])}
    kinds = many.get(node.kind, chance.one([1, 1, 2, 2, 3]))
    for position in range(kinds):
        c = Capacitor(0.0, 0.0, 0.0, 0.0)
        if position == 0:
            # The store. With a buffer beside it, its resistance may be far above what the peak alone allows.
            target = least
            resistance = most_resistance * (chance.log(0.5, 8) if kinds > 1 else 1.0)
        else:
            target = least * chance.log(1e-4, 0.6)
            resistance = max(most_resistance * chance.log(1e-3, 3.0), 1e-3)
            if chance.often(0.4):
                resistance = max(chance.log(1e-5, 1.0) / target, 1e-3)
        c.tolerance_low, c.tolerance_high = chance.one([0.0, 0.05, 0.1, 0.2, 0.3]), chance.one([0.0, 0.1, 0.2, 0.5])
        c.end_of_life_capacitance = chance.one([1.0, 0.8, 0.7, 0.6])
        c.end_of_life_esr = chance.one([1.0, 1.3, 2.0, 4.0])
        c.cold_capacitance = chance.one([1.0, 0.9, 0.7, 0.5, 1.05])
        c.cold_esr = chance.one([1.0, 1.5, 3.0, 8.0])
        c.bias = chance.one([1.0, 1.0, 0.8, 0.5]) if position else 1.0
        c.series = chance.whole(2, 5) if node.kind == "series-cells" and (position == 0 or chance.often(0.3)) else chance.one([1, 1, 1, 2])
        c.parallel = chance.one([1, 1, 1, 2, 3])
        c.rated_voltage = tidy(np.ceil(node.overvoltage * chance.even(1.0, 1.4) / c.series * 100) / 100, 4)
        share = c.parallel / c.series
        c.capacitance = tidy(target / c.least(False) / share)
        c.esr = tidy(resistance / (c.end_of_life_esr * c.cold_esr) * share)
        if chance.often(0.25):
            c.slope = tidy(c.capacitance / c.rated_voltage * chance.even(0.02, 0.6), 3)
        if node.kind != "low-resistances" and chance.often(0.5):
            c.esr_minimum = tidy(c.esr * chance.log(0.02, 1.0))
            c.esr_minimum = min(c.esr_minimum, c.esr)
        c.leakage = min(tidy(c.capacitance * chance.log(1e-8, 1e-5)), 1e-2)
        if node.kind == "hot-and-fresh" or chance.often(0.1):
            c.hot_leakage = chance.one([2.0, 8.0, 30.0])
        if node.kind == "hot-and-fresh" and chance.often(0.7):
            c.fresh_leakage = chance.one([1.5, 5.0, 20.0])
        if c.series > 1 and chance.often(0.6):
            c.balance_resistor = chance.log(3e4, 1e7)
        node.capacitors.append(c)
    # Charging lifts a reading by a tenth of the room, at most.
    highest = max(c.resistances(False)[1] for c in node.capacitors)
    node.maximum_current = tidy(min(node.maximum_current, 0.1 * room / highest), 3)


def add_sense(chance, node):
    bits = chance.whole(8, 16)
    error = chance.one([0.0, 0.005, 0.01, 0.03])
    if node.kind == REFERENCE:
        node.sense = Sense(bits, chance.even(0.8, 1.25), error, kind="reference")
        return
    if node.kind != "pin-leakage" and chance.often(0.15):
        node.sense = Sense(bits, tidy(node.overvoltage * 1.02 / (1 - error) * chance.even(1.0, 1.2)), error)
        return
    sense = node.sense = Sense(bits, chance.even(1.1, 3.0), error)
    sense.tolerance = chance.one([0.0, 0.001, 0.01, 0.02])
    sense.top = chance.log(1e6, 1e7) if node.kind == "pin-leakage" else chance.log(2e4, 1e7)
    if node.kind == "pin-leakage" or chance.often(0.2):
        # As much as moves a reading by a tenth of the room, at most.
        most = 0.1 * (node.overvoltage - node.supply.floor()) / sense.top
        sense.input_leakage = tidy(min(chance.log(1e-9, 1e-7), most), 3)
    # At overvoltage no unit reads above full scale.
    full = node.overvoltage * chance.even(1.03, 1.3) / (1 - error) * (1 + 2 * sense.tolerance) + sense.input_leakage * sense.top * 1.1
    sense.bottom = tidy(sense.top / max(full / sense.reference - 1, 0.05))
    sense.switched = chance.often(0.4)
    if chance.often(0.3):
        sense.sampling_capacitor = chance.log(2e-12, 2e-11)
        resistance = sense.top * sense.bottom / (sense.top + sense.bottom)
        sense.sampling_time = tidy(resistance * sense.sampling_capacitor * chance.even(5, 15))

"""A node as the physics needs it, its node file, and the box in which its units lie. From docs/node-file.md and docs/model.md."""

from dataclasses import dataclass, field

import numpy as np

# Least series resistance where none is stated, as a part of `esr`: "as low as can be".
AS_LOW_AS_CAN_BE = 1e-6


@dataclass
class Capacitor:
    """One `[[storage.capacitor]]`, figures of one cell in SI units, factors as factors."""

    capacitance: float
    esr: float
    rated_voltage: float
    leakage: float
    slope: float = 0.0
    tolerance_low: float = 0.0
    tolerance_high: float = 0.0
    esr_minimum: float | None = None
    series: int = 1
    parallel: int = 1
    balance_resistor: float | None = None
    bias: float = 1.0
    end_of_life_capacitance: float = 1.0
    end_of_life_esr: float = 1.0
    cold_capacitance: float = 1.0
    cold_esr: float = 1.0
    hot_leakage: float | None = None
    fresh_leakage: float | None = None

    def string(self):
        """Nominal capacitance, its slope and resistance at the terminal, equation 4; the slope is shared by the cells of a string."""
        share = self.parallel / self.series
        return self.capacitance * share, self.slope * share / self.series, self.esr / share

    def least(self, hot):
        """The least capacitance over the nominal one."""
        cold = 1.0 if hot else min(self.cold_capacitance, 1.0)
        return self.bias * (1 - self.tolerance_low) * self.end_of_life_capacitance * cold

    def most(self):
        """The most over the nominal one: a part that has lost nothing yet."""
        return 1 + self.tolerance_high

    def resistances(self, hot):
        """The least and the largest resistance at the terminal."""
        nominal = self.string()[2]
        least = AS_LOW_AS_CAN_BE if not self.esr_minimum else self.esr_minimum / self.esr
        return nominal * least, nominal * self.end_of_life_esr * (1.0 if hot else self.cold_esr)

    def conductance(self, hot):
        """Leakage and balance at the terminal, equation 5, at the most."""
        factor = (self.fresh_leakage or 1.0) * ((self.hot_leakage or 1.0) if hot else 1.0)
        balance = 1 / (self.series * self.balance_resistor) if self.balance_resistor else 0.0
        return self.parallel * (self.leakage * factor / (self.rated_voltage * self.series) + balance)


@dataclass
class Supply:
    kind: str
    minimum_input: float = 0.0
    rail: float = 0.0
    dropout: float = 0.0
    quiescent: float = 0.0
    table: list = field(default_factory=list)
    gate: tuple | None = None

    def floor(self):
        own = self.rail + self.dropout if self.kind == "linear" else self.minimum_input
        return max(own, self.gate[1] * (1 + self.gate[2])) if self.gate else own

    def drain(self, load):
        """P and I of equations 1 to 3 for load currents. A smaller load that takes more from the input stands for a larger one."""
        load = np.asarray(load, float)
        if self.kind != "switching":
            return np.zeros_like(load), load + self.quiescent
        at, eta = np.array(self.table).T
        taken = load / self.efficiency(load)
        before = np.maximum.accumulate(at / eta)
        count = np.searchsorted(at, load, side="right")
        least = np.where(count > 0, before[np.maximum(count, 1) - 1], 0.0)
        return self.rail * np.maximum(taken, least), np.full_like(load, self.quiescent)

    def efficiency(self, load):
        at, eta = np.array(self.table).T
        return np.interp(np.log(np.maximum(load, 1e-30)), np.log(at), eta)


@dataclass
class Sense:
    """`[sense]`. Without a divider `top` is 0 and `bottom` infinite."""

    bits: int
    reference: float
    reference_tolerance: float
    kind: str = "divider"
    top: float = 0.0
    bottom: float = np.inf
    tolerance: float = 0.0
    switched: bool = False
    input_leakage: float = 0.0
    sampling_capacitor: float | None = None
    sampling_time: float | None = None

    def ratio(self):
        return 1.0 if np.isinf(self.bottom) else self.bottom / (self.top + self.bottom)


@dataclass
class Node:
    """A node; `actions` has the load currents and durations of each action's rows, `profiles` the CSV files beside the node file."""

    name: str
    seed: tuple
    kind: str
    capacitors: list
    supply: Supply
    sense: Sense
    actions: dict
    listed: dict
    attempts: int
    sleep: float
    reserve: float
    margin: float
    overvoltage: float
    maximum_current: float
    profiles: dict = field(default_factory=dict)

    def rows(self, action):
        """Load currents and durations, as often as they are tried."""
        current, duration = self.actions[action]
        times = self.attempts if action == "transmit" else 1
        return np.tile(current, times), np.tile(duration, times)

    def conductance(self, hot):
        """The most that leaks at the terminal: the cells and a divider that is always on, of low resistors."""
        sense = self.sense
        divider = 0.0 if sense.switched or np.isinf(sense.bottom) else 1 / ((sense.top + sense.bottom) * (1 - sense.tolerance))
        return sum(c.conductance(hot) for c in self.capacitors) + divider

    def pin(self):
        """The most that the converter's input draws from storage through the divider."""
        sense = self.sense
        return 0.0 if sense.switched or np.isinf(sense.bottom) else sense.input_leakage * sense.ratio()

    def hot(self):
        """Whether the hot end is another than the cold end, or none of both is stated."""
        return any(c.hot_leakage for c in self.capacitors)

    def toml(self):
        lines = ["schema = 1", "[node]", f'name = "{self.name}"']
        for c in self.capacitors:
            lines += ["[[storage.capacitor]]"]
            lines += [quantity("capacitance", c.capacitance, "F"), quantity("esr", c.esr, "ohm")]
            lines += [quantity("rated_voltage", c.rated_voltage, "V"), quantity("leakage", c.leakage, "A")]
            lines += [share("tolerance_low", c.tolerance_low), share("tolerance_high", c.tolerance_high)]
            if c.slope:
                lines.append(quantity("capacitance_slope", c.slope, "F/V"))
            if c.esr_minimum is not None:
                lines.append(quantity("esr_minimum", c.esr_minimum, "ohm"))
            if c.series > 1 or c.parallel > 1:
                lines += [f"series = {c.series}", f"parallel = {c.parallel}"]
            if c.balance_resistor:
                lines.append(quantity("balance_resistor", c.balance_resistor, "ohm"))
            lines += [share("bias_capacitance", c.bias), share("end_of_life_capacitance", c.end_of_life_capacitance)]
            lines += [share("end_of_life_esr", c.end_of_life_esr), share("cold_capacitance", c.cold_capacitance)]
            lines.append(share("cold_esr", c.cold_esr))
            if c.hot_leakage:
                lines.append(share("hot_leakage", c.hot_leakage))
            if c.fresh_leakage:
                lines.append(share("fresh_leakage", c.fresh_leakage))
        s = self.supply
        lines += ["[supply]", f'kind = "{s.kind}"']
        if s.kind == "linear":
            lines.append(quantity("dropout", s.dropout, "V"))
        else:
            lines.append(quantity("minimum_input", s.minimum_input, "V"))
        if s.kind != "direct":
            lines += [quantity("rail", s.rail, "V"), quantity("quiescent", s.quiescent, "A")]
        if s.kind == "switching":
            if len(s.table) == 1:
                lines.append(share("efficiency", s.table[0][1]))
            else:
                pairs = ", ".join(f'["{plain(i)} A", "{plain(e * 100)} %"]' for i, e in s.table)
                lines.append(f"efficiency = [{pairs}]")
        if s.gate:
            lines += ["[supply.gate]", quantity("connect_above", s.gate[0], "V")]
            lines += [quantity("disconnect_below", s.gate[1], "V"), share("tolerance", s.gate[2])]
        lines += ["[sleep]", quantity("current", self.sleep, "A")]
        for action in self.actions:
            lines.append(f"[{action}]")
            if action == "transmit":
                lines.append(f"attempts = {self.attempts}")
            if action in self.listed:
                rows = ", ".join(
                    f'{{ name = "part-{n}", current = "{plain(i)} A", duration = "{plain(t)} s" }}' for n, (i, t) in enumerate(self.listed[action])
                )
                lines.append(f"phases = [{rows}]")
            else:
                lines.append(f'profile = "{self.name}-{action}.csv"')
        q = self.sense
        lines += ["[sense]", f"bits = {q.bits}", quantity("reference", q.reference, "V"), share("reference_tolerance", q.reference_tolerance)]
        if q.kind != "divider":
            lines.append(f'kind = "{q.kind}"')
        if not np.isinf(q.bottom):
            lines += [quantity("divider_top", q.top, "ohm"), quantity("divider_bottom", q.bottom, "ohm"), share("divider_tolerance", q.tolerance)]
            lines.append(f"divider_switched = {str(q.switched).lower()}")
        if q.input_leakage:
            lines.append(quantity("input_leakage", q.input_leakage, "A"))
        if q.sampling_capacitor:
            lines += [quantity("sampling_capacitor", q.sampling_capacitor, "F"), quantity("sampling_time", q.sampling_time, "s")]
        lines += ["[harvest]", 'kind = "constant"', 'power = "1 mW"', 'converter_efficiency = "80 %"']
        lines += [quantity("overvoltage", self.overvoltage, "V"), quantity("maximum_current", self.maximum_current, "A")]
        lines += ["[policy]", 'fastest = "10 s"', 'slowest = "1 h"', 'dark_horizon = "10 min"', quantity("reserve", self.reserve, "s")]
        lines += ["[margins]", share("load", self.margin), 'temperature_min = "-20 degC"', 'temperature_max = "60 degC"']
        return "\n".join(lines) + "\n"


def plain(value):
    """A decimal without an exponent that reads back as the same number."""
    return np.format_float_positional(value, trim="-")


def quantity(key, value, unit):
    return f'{key} = "{plain(value)} {unit}"'


def share(key, value):
    return f'{key} = "{plain(round(value * 100, 9))} %"'

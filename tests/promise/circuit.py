"""The same discharge in ngspice: cells, resistors and the load as parts. No equation of the model is in it."""

import re
import subprocess
import tempfile
from pathlib import Path

import numpy as np

# An edge between two rows, as a part of the shorter of the two and at most (s).
EDGE, LONGEST_EDGE_S = 1e-4, 1e-6
# Least resistance of a branch (ohm): below, with time constants of nanoseconds, the simulator finds no step.
LEAST_OHM = 1e-3
# A run takes a fraction of a second; one that takes this long goes on in steps that are too short to arrive (s).
PATIENCE_S = 20
# The first moment is left out, at which the simulator has not solved the circuit yet; a part of the whole.
FIRST = 1e-9


def ramps(values, duration):
    """A piecewise linear source for rows of constant values."""
    begins = np.concatenate([[0.0], np.cumsum(duration)])
    # From nothing: the simulator would look for the first operating point from 0 V, where the lower root is.
    points = [(0.0, 0.0), (min(EDGE * duration[0], LONGEST_EDGE_S), values[0])]
    for k in range(1, len(values)):
        edge = min(EDGE * min(duration[k - 1], duration[k]), LONGEST_EDGE_S)
        points += [(begins[k], values[k - 1]), (begins[k] + edge, values[k])]
    points.append((begins[-1], values[-1]))
    return "\n".join(f"+ {t:.12e} {v:.12e}" for t, v in points), begins[-1]


def netlist(node, unit, start_v, power, current, duration):
    """The unit's cells one by one, series and parallel, each with what leaks across it; divider and load at the terminal."""
    lines = ["a bank under its load"]
    for b, c in enumerate(node.capacitors):
        share = c.parallel / c.series
        cell_f, cell_slope = unit.capacitance[b] / share, unit.slope[b] / share * c.series
        cell_ohm, cell_v = unit.resistance[b] * share, start_v / c.series
        hot = "hot" in unit.what
        leak = c.leakage * (c.fresh_leakage or 1) * ((c.hot_leakage or 1) if hot else 1) / c.rated_voltage
        leak += 1 / c.balance_resistor if c.balance_resistor else 0
        for p in range(c.parallel):
            for s in range(c.series):
                name = f"{b}_{p}_{s}"
                above = "t" if s == 0 else f"n{b}_{p}_{s}"
                below = "0" if s == c.series - 1 else f"n{b}_{p}_{s + 1}"
                lines.append(f"R{name} {above} i{name} {cell_ohm:.12e}")
                if leak:
                    lines.append(f"L{name} {above} {below} R={1 / leak:.12e}".replace("L", "RL", 1))
                if cell_slope == 0:
                    lines.append(f"C{name} i{name} {below} {cell_f:.12e} IC={cell_v:.12e}")
                else:
                    # The cell's current charges one more capacitor, a constant one: its voltage tells the charge.
                    charge = cell_f * cell_v + cell_slope * cell_v**2 / 2
                    lines.append(f"V{name} i{name} k{name} 0")
                    lines.append(f"F{name} 0 q{name} V{name} 1")
                    lines.append(f"C{name} q{name} 0 {cell_f:.12e} IC={charge / cell_f:.12e}")
                    bend = 2 * cell_slope / cell_f
                    lines.append(f"B{name} k{name} {below} V=2*V(q{name})/(1+sqrt(1+{bend:.12e}*V(q{name})))")
    q = node.sense
    if not np.isinf(q.bottom) and not q.switched:
        lines.append(f"Rdivider t 0 {(q.top + q.bottom) * (1 - q.tolerance):.12e}")
    waves, whole = ramps(current, duration)
    lines += ["Iload t 0 PWL(", waves + ")"]
    if power.any():
        waves, _ = ramps(power, duration)
        lines += ["Vpower p 0 PWL(", waves + ")", "Bload t 0 I=V(p)/max(V(t),0.2)"]
    lines += [
        ".options reltol=1e-6 abstol=1e-12 vntol=1e-8 chgtol=1e-15 trtol=1",
        f".tran {min(duration.min(), whole / 1000):.6e} {whole:.12e} 0 {whole / 200:.6e} UIC",
        f".meas tran lowest MIN v(t) from={whole * FIRST:.6e}",
        ".end",
    ]
    return "\n".join(lines) + "\n"


def lowest(node, unit, start_v, power, current, duration):
    """The lowest terminal voltage that ngspice sees, or None where it gives up."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bank.cir"
        path.write_text(netlist(node, unit, start_v, power, current, duration))
        try:
            done = subprocess.run(
                ["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=PATIENCE_S, stdin=subprocess.DEVNULL, cwd=folder
            )
        except subprocess.TimeoutExpired:
            return None
    found = re.search(r"^lowest\s*=\s*(\S+)", done.stdout, re.MULTILINE)
    return float(found.group(1)) if found else None

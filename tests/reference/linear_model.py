#!/usr/bin/env python3
"""Margins of every loop from an exported linear model, by numpy and scipy, against those that aplomb states.

    linear_model.py FOLDER    a results folder of `aplomb margins --export`; exit 1 if a figure differs

The response of the periodic system to e^(j w k) is found from its definition: the periodic steady state by one linear
system over the period, then the mean of y(k) e^(-j w k). Gain margins, phase margin, delay margin and peak sensitivity by
root finding and minimisation on the response itself, without the interpolation that aplomb uses. Largest differences: 0.1 dB,
0.5 deg, 0.5 deg of the delay at its crossover, 0.01 of Ms; figures beyond 40 dB are not compared.
"""
import csv
import json
import math
import pathlib
import sys

import numpy as np
from scipy import sparse
from scipy.optimize import brentq, minimize_scalar


class Model:
    def __init__(self, path):
        with open(path, encoding="utf-8") as text:
            self.about = json.load(text)
        arrays = np.load(path.with_suffix(".npz"))
        self.a, self.b, self.c, self.d = (arrays[name] for name in "ABCD")
        self.order, self.h = self.about["order"], self.about["tick_s"]
        self.over_period = np.eye(self.a.shape[1])
        self.a = [sparse.csr_array(a) for a in self.a]
        for k in self.order:
            self.over_period = self.a[k] @ self.over_period

    def loop(self, i, w):
        """Loop transfer function at break i at a frequency w in rad/s."""
        back = np.exp(-1j * w * self.h)
        # x is turned back by e^(-j w k). First from zero, then from the steady start.
        x = np.zeros(len(self.over_period), dtype=complex)
        for k in self.order:
            x = back * (self.a[k] @ x + self.b[k][:, i])
        n = len(self.order)
        x = np.linalg.solve(np.eye(len(x)) - back**n * self.over_period, x)
        y = 0
        for k in self.order:
            y += self.c[k][i] @ x + self.d[k][i, i]
            x = back * (self.a[k] @ x + self.b[k][:, i])
        y /= n
        if self.about["breaks"][i] in self.about["held"]:
            m = self.about["hold_ticks"]
            y -= np.mean(back ** np.arange(m))
            return -y / (y + np.mean(back ** np.arange(m)))
        return -y / (y + 1)


def figures(model, i, stated):
    """Figures at the frequencies where aplomb states them, found anew from there."""
    loop = lambda w: model.loop(i, w)  # noqa: E731
    near = lambda f, w: brentq(f, w * 0.9, w * 1.1)  # noqa: E731
    found = {}
    for kind, sign in (("upper", -1), ("lower", 1)):
        if math.isfinite(stated[f"{kind}_gain_margin_db"]):
            w = near(lambda v: np.imag(loop(v)) / abs(loop(v)), stated[f"{kind}_gain_margin_rad_s"])
            found[f"{kind}_gain_margin_db"] = sign * 20 * math.log10(abs(loop(w)))
    if math.isfinite(stated["phase_margin_deg"]):
        w = near(lambda v: math.log(abs(loop(v))), stated["phase_margin_rad_s"])
        found["phase_margin_deg"] = 180 - abs(math.degrees(np.angle(loop(w))))
        lag = (np.angle(loop(w)) + math.pi) % (2 * math.pi)
        if abs(stated["delay_margin_s"] * w - lag) < 0.5:
            found["delay_margin_s"] = lag / w
    if math.isfinite(stated["peak_sensitivity"]):
        w = math.log(stated["peak_sensitivity_rad_s"])
        best = minimize_scalar(
            lambda v: abs(1 + loop(math.exp(v))), bounds=(w - 0.2, w + 0.2), method="bounded", options={"xatol": 1e-3}
        )
        found["peak_sensitivity"] = 1 / best.fun
    return found


def main():
    folder = pathlib.Path(sys.argv[1])
    with open(folder / "margins.csv", encoding="utf-8") as text:
        rows = [row for row in csv.DictReader(text) if row["source"] == "linear"]
    limits = {
        "upper_gain_margin_db": 0.1,
        "lower_gain_margin_db": 0.1,
        "phase_margin_deg": 0.5,
        "peak_sensitivity": 0.01,
    }
    worst, count, wrong = {}, 0, 0
    for point in sorted({row["point"] for row in rows}):
        model = Model(folder / f"linear-{point}.json")
        poles = np.abs(np.linalg.eigvals(model.over_period))
        grows = poles.max() ** (1 / (len(model.order) * model.h)) > 2 ** (1 / 300)
        if grows != bool(model.about["growths"]):
            print(f"{point}: stable by one, not by the other: {poles.max()}")
            wrong += 1
        for row in (row for row in rows if row["point"] == point):
            number = lambda text: float(text) if text else math.nan  # noqa: E731
            stated = {name: number(text) for name, text in row.items() if name not in ("point", "loop", "source")}
            found = figures(model, model.about["breaks"].index(row["loop"]), stated)
            for name, value in found.items():
                if name.endswith("_db") and abs(stated[name]) > 40:
                    continue
                apart, limit = abs(value - stated[name]), limits.get(name)
                if name == "delay_margin_s":
                    apart, limit = math.degrees(apart * stated["phase_margin_rad_s"]), 0.5
                worst[name] = max(worst.get(name, 0), apart)
                count += 1
                if not apart <= limit:
                    print(f"{point}, {row['loop']}: {name} {stated[name]}, here {value}")
                    wrong += 1
    print(f"{count} figures, {wrong} wrong; largest differences: " + ", ".join(f"{k} {v:.3f}" for k, v in worst.items()))
    return 1 if wrong or count == 0 else 0


if __name__ == "__main__":
    sys.exit(main())

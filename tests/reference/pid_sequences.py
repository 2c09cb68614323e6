#!/usr/bin/env python3
"""Reference sequences for the PID, by scipy.

    pid_sequences.py FILE           writes FILE
    pid_sequences.py --check FILE   checks whether FILE is what this script writes (to 1e-7), exit 1 if not

Cases p, pi, pd, pid, each open (the measurement is given, no limit: each part by scipy.signal.lfilter) and closed (the loop
around 4/(0.5 s + 1), held inputs by scipy.signal.cont2discrete, output within +-0.4, back-calculation).
Form: K. J. Astrom, T. Hagglund, Advanced PID Control (ISA, 2006), ch. 3 and 13, forward integral, derivative on the measurement.
"""
import sys

import numpy as np
from scipy.signal import cont2discrete, lfilter

import kept

K, TI, TD, N, TT, H, LIMIT, STEPS = 1.7, 0.45, 0.04, 8.0, 0.25, 0.01, 0.4, 160
AD, BD = TD / (TD + N * H), K * TD * N / (TD + N * H)
CASES = {"p": (0, 0), "pi": (1, 0), "pd": (0, 1), "pid": (1, 1)}


def setpoint():
    return np.where(np.arange(STEPS) < 90, 1.0, -0.3)


def opened(integral, derivative):
    r, k = setpoint(), np.arange(STEPS)
    y = 0.6 * np.sin(0.11 * k) + 0.002 * k
    u = K * (r - y)
    if integral:
        u = u + lfilter([0.0, K * H / TI], [1.0, -1.0], r - y)
    if derivative:
        u = u + lfilter([-BD, BD], [1.0, -AD], y)
    return r, y, u


def closed(integral, derivative):
    num, den, _ = cont2discrete(([4.0], [0.5, 1.0]), H)
    num = np.squeeze(num)
    r, y, u = setpoint(), np.zeros(STEPS), np.zeros(STEPS)
    i = d = past = 0.0
    for k in range(STEPS):
        if k > 0:
            y[k] = num[1] * u[k - 1] - den[1] * y[k - 1]
        # The first measurement is not a change.
        d = derivative * (AD * d - BD * (y[k] - (past if k else y[k])))
        past = y[k]
        v = K * (r[k] - y[k]) + i + d
        u[k] = min(max(v, -LIMIT), LIMIT)
        i += integral * (K * H / TI * (r[k] - y[k]) + H / TT * (u[k] - v))
    return r, y, u


def text():
    comments = [
        "PID reference sequences by scipy: tests/reference/pid_sequences.py",
        f"K {K} Ti {TI} s Td {TD} s N {N} Tt {TT} s period {H} s; closed: limit +-{LIMIT}",
    ]
    rows = [
        [case, loop, k, *(f"{float(x):.9g}" for x in row)]
        for case, parts in CASES.items()
        for loop, run in (("open", opened), ("closed", closed))
        for k, row in enumerate(zip(*run(*parts)))
    ]
    return kept.table(comments, "case loop k r y u".split(), rows)


if __name__ == "__main__":
    sys.exit(kept.main(text(), 1e-7))

#!/usr/bin/env python3
"""Trajectories of the rigid body, by scipy's DOP853.

    rigid_body.py FILE           writes FILE
    rigid_body.py --check FILE   checks whether FILE is what this script writes (to 1e-9), exit 1 if not

Case top: no force but gravity, full inertia tensor, tumbling. Case driven: thrust and torques as functions of time, linear drag,
damping, and the rotors' angular momentum along body z. North-east-down, quaternion body to world, scalar first:
p' = v, v' = g + F/m, q' = q (0, w)/2, I w' = tau - w x (I w + h)  (J. Sola 2017, arXiv:1711.02508, eq. 200).
"""
import sys

import numpy as np
from scipy.integrate import solve_ivp

import kept

MASS, GRAVITY = 1.2, 9.80665
INERTIA = np.array([[0.011, -0.001, 0.0005], [-0.001, 0.012, 0.0], [0.0005, 0.0, 0.021]])
SECONDS, ROWS = 5.0, 11
START = {
    "top": [0, 0, -10, 1, -2, 0.5, 1, 0, 0, 0, 2.0, -3.0, 2.5],
    "driven": [0, 0, -10, 0, 0, 0, 1, 0, 0, 0, 0.5, -0.3, 0.2],
}


def product(a, b):
    w, v, x, u = a[0], a[1:], b[0], b[1:]
    return np.concatenate([[w * x - v @ u], w * u + x * v + np.cross(v, u)])


def rotated(q, v):
    return product(product(q, np.concatenate([[0.0], v])), q * [1, -1, -1, -1])[1:]


def slope(t, y, driven):
    velocity, q, rate = y[3:6], y[6:10], y[10:13]
    force, torque, momentum = np.zeros(3), np.zeros(3), INERTIA @ rate
    if driven:
        thrust = 11.8 + 2.0 * np.sin(3.0 * t)
        force = rotated(q, np.array([0.0, 0.0, -thrust])) - 0.3 * velocity
        torque = np.array([0.02 * np.sin(2.0 * t), -0.015 * np.cos(1.5 * t), 0.01 * np.sin(t)]) - 0.01 * rate
        momentum = momentum + [0.0, 0.0, 0.02]
    turn = np.linalg.solve(INERTIA, torque - np.cross(rate, momentum))
    down = np.array([0.0, 0.0, GRAVITY])
    return np.concatenate([velocity, down + force / MASS, 0.5 * product(q, np.concatenate([[0.0], rate])), turn])


def text():
    rows = []
    for case, start in START.items():
        times = np.linspace(0.0, SECONDS, ROWS)
        run = solve_ivp(
            slope, (0.0, SECONDS), start, "DOP853", times, args=(case == "driven",), rtol=1e-13, atol=1e-13
        )
        rows += [[case, f"{t:.1f}", *(f"{x:.12g}" for x in row)] for t, row in zip(times, run.y.T)]
    head = "case t north east down v_north v_east v_down qw qx qy qz p q r".split()
    return kept.table(["Rigid body by scipy's DOP853: tests/reference/rigid_body.py"], head, rows)


if __name__ == "__main__":
    sys.exit(kept.main(text(), 1e-9))

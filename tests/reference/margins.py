#!/usr/bin/env python3
"""Reference margins of the roll and the yaw torque loop, by scipy.

    margins.py FILE           writes FILE
    margins.py --check FILE   checks whether FILE is what this script writes (to 1e-4), exit 1 if not

A craft in hover with tilt and heading commanded. The craft (motors, inertia, the gyro's own low-pass) is held and sampled
exactly by scipy.signal.cont2discrete; filters by scipy.signal.butter, iirnotch and plain difference equations; margins by
scipy.optimize. The attitude loop acts on every fifth tick; of its staircase the part at the exciting frequency is kept.
"""
import sys

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.signal import butter, cont2discrete, freqz, iirnotch

import kept

# The craft, which is also the model of the controller.
MASS, JX, JZ, JR = 1.2, 0.011, 0.021, 5.5e-5
KT, KQ, KAPPA_MODEL = 1.774e-5, 2.456e-7, 0.0138
KV, R, I0 = 810.0, 0.1, 0.5
FULL_N, V_REF, ALPHA = 6.9, 11.4, 0.92
IMU_HZ, TICKS = 180.0, 3  # one tick to compute, one in the speed controller, one in the sensor
H, EVERY = 1e-3, 5
NOTCH_HZ = 12.0  # bandwidth of the notches on the gyro, one for each rotor at its speed
# Gains: crossover, integral time, derivative time, attitude crossover.
ROLL, YAW, RATIO, GYRO_HZ, LEAD = (30.0, 0.2, 0.031, 8.0), (10.0, 0.6, 0.031, 2.5), 8.0, 100.0, 0.25
G = 9.80665


def response(b, a, w):
    return freqz(b, a, worN=np.atleast_1d(w) * H)[1]


def rotors():
    """Hover speed, change of a rotor's steady speed per newton of demanded thrust, and the lag of that change."""
    speed = np.sqrt(MASS * G / 4 / KT)
    torque_constant = 60 / (2 * np.pi * KV)
    volts = torque_constant * speed + R * (KQ * speed**2 / torque_constant + I0)
    root = brentq(lambda x: ALPHA * x + (1 - ALPHA) * x * x - volts / V_REF, 0, 2)
    volts_per_n = V_REF * (ALPHA / (2 * root) + 1 - ALPHA) / FULL_N
    damping = torque_constant**2 / R + 2 * KQ * speed
    return speed, volts_per_n * torque_constant / R / damping, JR / damping


def loop(gains, inertia, yaw):
    """The loop transfer as a function of rad/s."""
    speed, per_n, lag_rotor = rotors()
    lag_imu = 1 / (2 * np.pi * IMU_HZ)
    poles = np.polymul(np.polymul([lag_rotor, 1], [inertia, 0]), [lag_imu, 1])
    if yaw:
        # A yaw torque is shared out as torque/(4 kappa) to four rotors; speeding up, they turn the craft the other way.
        zeros = np.array([JR, 2 * KQ * speed]) * per_n / KAPPA_MODEL
    else:
        zeros = np.array([2 * KT * speed * per_n])
    craft = cont2discrete((zeros, poles), H)
    tone_hz = speed / (2 * np.pi)
    low_pass, notch = butter(2, GYRO_HZ, fs=1 / H), iirnotch(tone_hz, tone_hz / NOTCH_HZ, fs=1 / H)
    k, ti, td, attitude = gains
    scale = td + RATIO * H
    lag = np.exp(-H / LEAD)

    def at(w):
        z1 = np.exp(-1j * np.atleast_1d(w) * H)
        rate = response(np.squeeze(craft[0]), craft[1], w) * z1**TICKS
        integral = response([0, H / ti], [1, -1], w)
        derivative = response([td * RATIO / scale, -td * RATIO / scale], [1, -td / scale], w)
        angle = response([H], [1, -1], w)
        hold = response(np.ones(EVERY) / EVERY, [1], w)
        gyro = response(*low_pass, w) * response(*notch, w) ** 4
        torque = k * (1 + integral + derivative) * gyro + k * (1 + integral) * hold * attitude * angle
        shaped = response([1 - lag], [1, -lag], w) if yaw else 1
        return inertia * shaped * torque * rate

    return at


def figures(at):
    w = np.geomspace(0.3, 2500, 20000)
    value = at(w)
    out = {}

    def roots(function, samples):
        return [brentq(function, w[i], w[i + 1], xtol=1e-12) for i in np.nonzero(samples[:-1] * samples[1:] < 0)[0]]

    crossings = roots(lambda x: abs(at(x)[0]) - 1, abs(value) - 1)
    angles = [np.angle(at(x)[0]) for x in crossings]
    out["phase_margin_deg"] = np.degrees(min(np.pi - abs(a) for a in angles))
    out["delay_margin_s"] = min(((a + np.pi) % (2 * np.pi)) / x for a, x in zip(angles, crossings))
    out["crossover_rad_s"] = max(crossings)
    halves = [x for x in roots(lambda x: at(x)[0].imag, value.imag) if at(x)[0].real < 0]
    sizes = [20 * np.log10(abs(at(x)[0])) for x in halves]
    out["upper_gain_margin_db"] = min(-s for s in sizes if s < 0)
    out["lower_gain_margin_db"] = min(s for s in sizes if s > 0)
    peak = np.argmax(1 / abs(1 + value))
    found = minimize_scalar(lambda x: abs(1 + at(x)[0]), bounds=(w[peak - 1], w[peak + 1]), method="bounded")
    out["peak_sensitivity"] = 1 / found.fun
    return out


def text():
    loops = {"roll torque": loop(ROLL, JX, False), "yaw torque": loop(YAW, JZ, True)}
    rows = [[name, figure, f"{value:.6f}"] for name, at in loops.items() for figure, value in figures(at).items()]
    return kept.table(["Margins of two torque loops by scipy: tests/reference/margins.py"], ["loop", "figure", "value"], rows)


if __name__ == "__main__":
    sys.exit(kept.main(text(), 1e-4))

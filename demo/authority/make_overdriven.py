#!/usr/bin/env python3
"""Makes the demo's recording of an over-driven carrier (invented): field camp QQ7BBB behind a coupler at its amplifier.

    python3 demo/authority/make_overdriven.py

A QPSK 1/2 carrier of 125 kBd, roll-off 0.35, through an amplifier by Rapp's formula (C. Rapp, 1991) with the 1 dB point at
40 W and saturation at 50 W, driven to 38 W mean. The amplifier works at 16 samples a symbol; the recording has 8, so that
the end of what it regrows is seen. Shoulders and the way back to -30 dBc are computed here from the same samples in numpy,
independent of the Rust code. Needs numpy and scipy. The same file every time.
"""
import os
import sys

import numpy as np
from scipy import signal as sg

sys.path.insert(0, os.path.join(os.path.dirname(__file__), "..", "..", "authority", "recordings"))
from waves import db, lin, noise, rounded, save, to_bytes, write  # noqa: E402
from wideband import frames, pulses  # noqa: E402

RATE, ROLLOFF, FS, SECONDS = 125e3, 0.35, 1e6, 0.5
CENTRE, OFFSET = 2425.0e6, 7e3
P1DB, PSAT, WANTED = 40.0, 50.0, 38.0
LIMIT, GAP, WIDTH = -30.0, 0.03, 0.15


def smoothness():
    """Rapp's p for which the output 1 dB point lies at P1DB: bisection."""
    r = 10 ** (1 / 20) * np.sqrt(P1DB / PSAT)
    lo, hi = 0.3, 20.0
    for _ in range(80):
        p = 0.5 * (lo + hi)
        lo, hi = (p, hi) if (1 + r ** (2 * p)) ** (1 / (2 * p)) > 10 ** (1 / 20) else (lo, p)
    return p


def amplify(x, drive_db, p):
    """x of mean power 1; output in watt, drive in dB over the one that a straight amplifier would bring to 1 W."""
    y = x * 10 ** (drive_db / 20)
    return y / (1 + (np.abs(y) ** 2 / PSAT) ** p) ** (1 / (2 * p))


def shoulder(y, fs):
    """Density in the higher window beside the carrier over the density in its middle, dB; carrier at zero."""
    f, s = sg.welch(y, fs, nperseg=4096, return_onesided=False, detrend=False)
    edge = 0.5 * (1 + ROLLOFF)
    flat = s[np.abs(f) < 0.25 * RATE].mean()
    side = [s[(k * f >= (edge + GAP) * RATE) & (k * f <= (edge + GAP + WIDTH) * RATE)].mean() for k in (1, -1)]
    return float(db(max(side) / flat))


def search(f, lo, hi):
    """Root of a rising function."""
    for _ in range(40):
        mid = 0.5 * (lo + hi)
        lo, hi = (mid, hi) if f(mid) < 0 else (lo, mid)
    return 0.5 * (lo + hi)


def main():
    rng = np.random.default_rng(61077)
    fs2 = 2 * FS
    n = int(fs2 * SECONDS)
    symbols, _ = frames("QPSK 1/2", 0, 1, int(SECONDS * RATE) + 40000, rng)
    x = pulses(symbols, RATE, fs2, n, ROLLOFF, 300.3)
    x /= np.sqrt(np.mean(np.abs(x) ** 2))
    p = smoothness()
    drive = search(lambda d: np.mean(np.abs(amplify(x, d, p)) ** 2) - WANTED, 0.0, 40.0)
    y = amplify(x, drive, p)
    keeps = search(lambda d: shoulder(amplify(x, d, p), fs2) - LIMIT, drive - 25, drive)
    truth = dict(kind="over-driven carrier behind a coupler", symbol_rate=RATE, rolloff=ROLLOFF, modcod="QPSK 1/2", offset_hz=OFFSET,
                 smoothness=rounded(p), mean_output_w=WANTED, shoulder_dbc=rounded(shoulder(y, fs2)), shoulder_limit_dbc=LIMIT,
                 drive_correction_db=rounded(keeps - drive),
                 output_at_limit_w=rounded(np.mean(np.abs(amplify(x, keeps, p)) ** 2)))
    # Flat to 0.46 of the recording's rate.
    z = sg.resample_poly(y, 1, 2, window=sg.firwin(401, 0.475, window=("kaiser", 9.0)))
    t = np.arange(len(z)) / FS
    z = z / np.sqrt(np.mean(np.abs(z) ** 2)) * np.exp(2j * np.pi * OFFSET * t)
    # Receiver noise 30 dB under the carrier in the recorded band: about a step of the converter.
    z = z + noise(rng, len(z)) * np.sqrt(lin(-30.0))
    raw, clipped, _ = to_bytes(z * 10 ** (-11 / 20), "cu8")
    file = write("demo/recordings", "camp-overdriven", raw, "cu8", FS, CENTRE, "2031-01-19T13:20:00.000Z",
                 "field camp, behind coupler and attenuator at the amplifier", dict(transmitting=True))
    save("demo/truth/camp-overdriven.truth.json", dict(file=file, sample_rate_hz=FS, center_frequency_hz=CENTRE, samples=len(z), clipped_fraction=clipped, **truth))
    print(truth)


if __name__ == "__main__":
    main()

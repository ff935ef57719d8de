#!/usr/bin/env python3
"""Measures the written recordings by another road than the generator's, and compares with the stated truth.

    python3 authority/recordings/check.py demo
    python3 authority/recordings/check.py crates/capture/tests/data

BPSK beacon: band power less the neighbouring noise density (scipy.signal.welch), no knowledge of the symbols. Keyed carrier:
the mean power of the key-down stretches, found by a threshold on the envelope behind a narrow filter. Noise step: density over
the central 60 % of the passband over that beyond the skirt, receiver slope removed. Prints the difference in dB.
"""
import glob
import json
import os
import sys

import numpy as np
from scipy import signal as sg

from waves import STORED, db, lin

MASK_EDGE = 0.465


def read(path, stored):
    kind, full, zero, _, _ = STORED[stored]
    if stored == "wav24":
        b = np.fromfile(path, np.uint8, offset=44).reshape(-1, 3).astype(np.int32)
        v = (((b[:, 2] << 24) | (b[:, 1] << 16) | (b[:, 0] << 8)) >> 8) / full
        return v[0::2] + 1j * v[1::2]
    if stored.startswith("wav"):
        v = np.fromfile(path, kind, offset=44).astype(float) / (full or 1.0)
        return v[0::2] + 1j * v[1::2]
    v = (np.fromfile(path, kind).astype(float) - zero) / (full or 1.0)
    return v[0::2] + 1j * v[1::2]


def density(y, fs, m):
    f, p = sg.welch(y, fs, "hann", m, return_onesided=False, detrend=False)
    order = np.argsort(f)
    return f[order], p[order]


def bpsk(y, fs, s):
    f, p = density(y, fs, 16384 if fs > 1e5 else 1024)
    d = np.abs(f - s["measured_hz_mid"])
    half = s["symbol_rate"] * (2 if s["manchester"] else 1) * 0.75 + 300
    n0 = np.mean(p[(d > half + 300) & (d < half + 2300) & (np.abs(f) < 0.47 * fs)])
    return db(np.sum(p[d <= half] - n0) * (f[1] - f[0]) / n0)


def keyed(y, fs, s):
    z = y * np.exp(-2j * np.pi * s["measured_hz_mid"] * np.arange(len(y)) / fs)
    k = int(fs / 4000)
    z = sg.resample_poly(z, 1, k)
    narrow = sg.lfilter(sg.firwin(161, 60, fs=fs / k), 1, z)
    e = np.abs(narrow)
    down = e > 0.5 * np.percentile(e, 95)
    solid = np.convolve(down, np.ones(241), "same") > 240.5
    f, p = density(y, fs, 16384)
    d = np.abs(f - s["measured_hz_mid"])
    n0 = np.mean(p[(d > 400) & (d < 3000)])
    return db((np.mean(e[solid] ** 2) - n0 * 120) / n0)


def step(y, fs, t, width):
    f, p = density(y, fs, 4096)
    # The demonstration's receiver and the corpus have the same slope unless the truth says otherwise.
    p = p / lin(t.get("impairments", {}).get("filter", {"slope_db": 0.6})["slope_db"] * f / fs)
    fc = t["lo_hz_start"]
    inside = (np.abs(f - fc) < 0.3 * width) & (np.abs(f) > 1e3)
    for s in t["signals"]:
        inside &= np.abs(f - s["measured_hz_mid"]) > 4e3
    outside = (np.abs(f - fc) > 0.58 * width) & (np.abs(f) < MASK_EDGE * fs)
    return db(np.mean(p[inside]) / np.mean(p[outside]))


def main(folder):
    worst = {}
    for name in sorted(glob.glob(os.path.join(folder, "**", "*.truth.json"), recursive=True)):
        t = json.load(open(name))
        if "signals" not in t or any(k in t.get("impairments", {}) for k in ("agc", "transmit", "spur")):
            continue  # sets and scans; and what is to be refused
        inside = os.path.join(folder, "recordings")
        y = read(os.path.join(inside if os.path.isdir(inside) else folder, t["file"]), t["format"])
        fs, row = t["sample_rate_hz"], {}
        for s in t["signals"]:
            if s["name"] == "beacon_bpsk":
                row["bpsk"] = bpsk(y, fs, s) - s["cn0_dbhz_with_quantisation_noise"]
            if s["name"] == "beacon_carrier":
                row["keyed"] = keyed(y, fs, s) - s["cn0_dbhz_with_quantisation_noise"]
        if "noise_step_db" in t and not {"invert"} & set(t.get("impairments", {})):
            row["step"] = step(y, fs, t, 400e3) - t["noise_step_db"]
        print(os.path.basename(name), {k: round(float(v), 3) for k, v in row.items()})
        for k, v in row.items():
            worst[k] = max(worst.get(k, 0), abs(float(v)))
    print("largest difference, dB:", {k: round(v, 3) for k, v in worst.items()})


if __name__ == "__main__":
    main(sys.argv[1])

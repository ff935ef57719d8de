#!/usr/bin/env python3
"""Makes small wideband recordings with truth, independent of the Rust code that measures them.

    python3 authority/recordings/wideband.py crates/capture/tests/data/wideband

DVB-S2 physical-layer framing in numpy from ETSI EN 302 307-1 (clauses 5.4 to 5.6), payload of random points. Needs numpy and
scipy. Seeds are fixed: the same call writes the same bytes.
"""
import os
import sys

import numpy as np

from waves import PHASE_NOISE, db, lin, noise, passband, phase_noise, rounded, rrc, save, shape, to_bytes, write

START = "2031-04-03T12:00:00.000Z"
CENTRE = 10480.0e6
ORDER = ("QPSK 1/4,1/3,2/5,1/2,3/5,2/3,3/4,4/5,5/6,8/9,9/10 8PSK 3/5,2/3,3/4,5/6,8/9,9/10 "
         "16APSK 2/3,3/4,4/5,5/6,8/9,9/10 32APSK 3/4,4/5,5/6,8/9,9/10").split()
MODCODS = [f"{m} {r}" for m, rates in zip(ORDER[0::2], ORDER[1::2]) for r in rates.split(",")]
BITS = {"QPSK": 2, "8PSK": 3, "16APSK": 4, "32APSK": 5}
RING16 = {"2/3": 3.15, "3/4": 2.85, "4/5": 2.75, "5/6": 2.70, "8/9": 2.60, "9/10": 2.57}
SOF, COVER = 0x18D2E82, 0x719D83C953422DFA
WORDS = [0x55555555, 0x33333333, 0x0F0F0F0F, 0x00FF00FF, 0x0000FFFF, 0xFFFFFFFF]


def bits_of(value, n):
    return np.array([(value >> (n - 1 - i)) & 1 for i in range(n)])


def header(pls):
    word = 0
    for i, w in enumerate(WORDS):
        if (pls >> (6 - i)) & 1:
            word ^= w
    y = bits_of(word, 32)
    code = np.empty(64, int)
    code[0::2], code[1::2] = y, y ^ (pls & 1)
    s = 1 - 2 * np.concatenate([bits_of(SOF, 26), code ^ bits_of(COVER, 64)])
    return np.where(np.arange(90) % 2 == 0, s * (1 + 1j), s * (-1 + 1j)) / np.sqrt(2)


def quarter_turns(code, n):
    period = (1 << 18) - 1
    x, y = np.zeros(period, int), np.zeros(period, int)
    x[0], y[:18] = 1, 1
    for i in range(period - 18):
        x[i + 18] = x[i + 7] ^ x[i]
        y[i + 18] = y[i + 10] ^ y[i + 7] ^ y[i + 5] ^ y[i]
    z = np.roll(x, -code) ^ y
    return 2 * np.roll(z, -131072)[:n] + z[:n]


def points(modulation, rate):
    if modulation == "QPSK":
        return np.exp(1j * np.pi * (np.arange(4) / 2 + 0.25))
    if modulation == "8PSK":
        return np.exp(1j * np.pi * np.arange(8) / 4)
    if modulation == "16APSK":
        inner = np.exp(1j * np.pi * (np.arange(4) / 2 + 0.25))
        outer = RING16[rate] * np.exp(1j * np.pi * (np.arange(12) / 6 + 1 / 12))
        p = np.concatenate([inner, outer])
        return p / np.sqrt(np.mean(np.abs(p) ** 2))
    raise ValueError(modulation)


def frames(modcod, short, pilots, count, rng, code=0):
    """At least `count` symbols of PLFRAMEs; also the frame's length."""
    modulation, rate = modcod.split()
    payload = (16200 if short else 64800) // BITS[modulation]
    pls = 4 * (MODCODS.index(modcod) + 1) + 2 * short + pilots
    head, where = header(pls), points(modulation, rate)
    turn = np.exp(0.5j * np.pi * quarter_turns(code, 34000))
    out, length = [], None
    while sum(map(len, out)) < count:
        body = []
        data = where[rng.integers(0, len(where), payload)]
        for i in range(0, payload, 1440):
            body.append(data[i:i + 1440])
            if pilots and i + 1440 < payload:
                body.append(np.full(36, (1 + 1j) / np.sqrt(2)))
        body = np.concatenate(body)
        out.append(np.concatenate([head, body * turn[:len(body)]]))
        length = len(out[-1])
    return np.concatenate(out), length


def pulses(symbols, rate, fs, n, rolloff, start, span=40):
    """Sum of symbols times continuous-time pulses at the exact sample instants."""
    u = start + np.arange(n) * (rate / fs)
    k0 = np.floor(u).astype(np.int64)
    x = np.zeros(n, complex)
    for j in range(-span + 1, span + 1):
        k = k0 + j
        ok = (k >= 0) & (k < len(symbols))
        x += np.where(ok, symbols[np.clip(k, 0, len(symbols) - 1)], 0) * rrc(u - k, rolloff)
    return x


def recording(folder, name, seed, fs, seconds, stored, carriers, lo=0.0, drift=0.0, mask=None, hump=None, dbfs=-14.0, dc=None):
    rng = np.random.default_rng(seed)
    n = int(fs * seconds)
    t = np.arange(n) / fs
    bump = (lambda f: passband(f, hump)) if hump else (lambda f: np.zeros_like(f))
    y, truth = np.zeros(n, complex), []
    f = np.fft.fftfreq(n, 1 / fs)
    for c in carriers:
        rate = c["rate"] * (1 + c.get("ppm", 0.0) * 1e-6)
        symbols, length = frames(c["modcod"], c["short"], c["pilots"], int(seconds * rate) + length_room(c), rng)
        start = 60 + rng.random() * (length - 60)
        x = pulses(symbols, rate, fs, n, c["rolloff"], start)
        edge = np.abs(f - c["f"] - lo) / rate
        weight = np.where(edge <= (1 - c["rolloff"]) / 2, 1.0, np.where(edge >= (1 + c["rolloff"]) / 2, 0.0,
                          0.5 * (1 + np.cos(np.pi / c["rolloff"] * (edge - (1 - c["rolloff"]) / 2)))))
        n0 = 1 + float(np.sum(bump(f - lo) * weight) / np.sum(weight))
        y += x * np.sqrt(lin(c["es_n0"]) * n0 * rate / fs) * np.exp(1j * (2 * np.pi * c["f"] * t + 2 * np.pi * rng.random()))
        truth.append(dict(modcod=MODCODS.index(c["modcod"]) + 1, short=bool(c["short"]), pilots=bool(c["pilots"]), rolloff=c["rolloff"],
                          symbol_rate=rate, es_n0_db=c["es_n0"], n0=n0, frame_symbols=length,
                          offset_hz_start=rounded(c["f"] + lo), drift_hz_per_s=drift))
    phi = 2 * np.pi * (lo * t + 0.5 * drift * t * t) + phase_noise(rng, n, fs, mask)
    y = y * np.exp(1j * phi) + noise(rng, n)
    if hump:
        y += shape(noise(rng, n), bump, fs) * np.exp(1j * phi)
    a = 10 ** (dbfs / 20) / np.sqrt(np.mean(np.abs(y) ** 2))
    raw, clipped, step = to_bytes(y * a, stored, dc=dc)
    for c in truth:
        # The converter's step noise is white and adds to the noise of every carrier.
        c["es_n0_db_with_quantisation_noise"] = rounded(c["es_n0_db"] - db(1 + step / a**2 / c.pop("n0")))
    file = write(folder, name, raw, stored, fs, CENTRE, START, "wideband transponder, synthetic test recording")
    save(os.path.join(folder, name + ".truth.json"),
         dict(file=file, seed=seed, sample_rate_hz=fs, samples=n, clipped_fraction=clipped, carriers=truth))


def length_room(c):
    return 34000


def car(modcod, short, pilots, rate, es_n0, f=0.0, rolloff=0.2, ppm=0.0):
    return dict(modcod=modcod, short=short, pilots=pilots, rate=rate, es_n0=es_n0, f=f, rolloff=rolloff, ppm=ppm)


def main(folder):
    recording(folder, "qpsk", 9101, 150e3, 0.8, "cu8", [car("QPSK 1/2", 1, 1, 50e3, 5.0, f=3e3, ppm=4.0)], lo=-1.2e3, drift=25.0,
              mask=PHASE_NOISE, dc=(0.008, -0.005))
    recording(folder, "8psk", 9102, 300e3, 0.45, "cu8", [car("8PSK 3/4", 0, 0, 125e3, 14.0, rolloff=0.35)], lo=2.1e3)
    recording(folder, "touching", 9103, 240e3, 0.55, "cu8", [car("QPSK 3/4", 1, 1, 66e3, 9.0, f=-30e3), car("8PSK 2/3", 1, 1, 66e3, 12.0, f=-30e3 + 66e3 * 1.2)],
              hump=dict(centre_hz=10e3, width_hz=210e3, level_db=1.0, order=30))
    recording(folder, "16apsk", 9104, 300e3, 0.4, "cu8", [car("16APSK 3/4", 1, 1, 125e3, 16.0, rolloff=0.25)], lo=-900.0, dbfs=-12.0)
    recording(folder, "hump", 9105, 150e3, 0.6, "cu8", [], hump=dict(centre_hz=5e3, width_hz=60e3, level_db=6.0, order=40))


if __name__ == "__main__":
    main(sys.argv[1])

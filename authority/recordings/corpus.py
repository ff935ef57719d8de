#!/usr/bin/env python3
"""Makes test recordings with truth by the independent generator.

    python3 authority/recordings/corpus.py small crates/capture/tests/data   # the few that ship (below 2 MB)
    python3 authority/recordings/corpus.py all   some/folder                 # 40 and more for local runs (about 130 MB)

Needs numpy, scipy and espeak-ng. Seeds are fixed: the same call writes the same bytes.
"""
import os
import shutil
import sys

import numpy as np

from waves import PHASE_NOISE, db, lin, narrowband, rounded, save, to_bytes, with_quantiser, write

CENTRE = 10472.350e6
START = "2031-04-03T10:00:00.000Z"
NOISY = [(1, -20), (10, -38), (100, -55), (1e3, -70), (1e4, -85), (1e5, -100)]


def beacon(cn0=49.0, seed=41, f=-175e3, **more):
    return dict(kind="bpsk", name="beacon_bpsk", f=f, cn0=cn0, seed=seed, **more)


def key(cn0=48.0, f=175e3, **more):
    return dict(kind="keyed", name="beacon_carrier", f=f, cn0=cn0, wpm=20, text="QQ0AAA", tail_s=1.5, phase_s=5.2, **more)


def talk(f, snr, text="Good evening, your audio is fine.", who="en-gb+m3", **more):
    return dict(kind="voice", name="voice", f=f, cn0=snr + float(db(2700)), text=text, who=who, **more)


def contact(f, cn0):
    return dict(kind="keyed", name="contact", f=f, cn0=cn0, wpm=22, text="CQ DE QQ0AAG", phase_s=f * 1e-5)


def whole(**change):
    """The whole passband at 640 kS/s."""
    c = dict(fs=640e3, seconds=1.2, stored="cu8", lo=400.0, drift=0.2, dbfs=-15.0, passband=dict(centre_hz=0.0, width_hz=400e3, level_db=4.0, tilt_db=-0.2, ripple_db=0.1),
             filter=dict(slope_db=0.6, edge=0.47), parts=[beacon(), key()])
    c.update(change)
    return c


def alone(**change):
    """16 kS/s around the BPSK beacon."""
    c = dict(fs=16e3, seconds=5.0, stored="cu8", lo=-300.0, drift=0.1, dbfs=-16.0, parts=[beacon(f=0.0)], centre=CENTRE - 175e3)
    c.update(change)
    return c


def plateau(**change):
    p = whole()["passband"]
    p.update(change)
    return p


def catalogue():
    spur = lambda f, cn0: dict(f=f, cn0=cn0)
    cases = {
        "plain": whole(), "plain-ci16": whole(stored="ci16_le", dbfs=-22.0), "big-endian": whole(stored="ci16_be", dbfs=-22.0), "float": whole(stored="cf32_le", dbfs=-30.0),
        "signed-bytes": whole(stored="ci8"), "wav-16": alone(stored="wav16", fs=24e3, dbfs=-22.0), "wav-24": alone(stored="wav24", fs=24e3, dbfs=-30.0),
        "wav-float": alone(stored="wavf32", fs=24e3, dbfs=-30.0), "only-bpsk": whole(parts=[beacon()]), "only-keyed": whole(parts=[key()]), "no-beacon": whole(parts=[]),
        "clipping": whole(dbfs=-1.0), "clipping-peaks": whole(dbfs=-7.0), "quiet-bits": whole(dbfs=-47.0), "imbalance": whole(iq=(0.6, 3.0)), "dc": whole(dc=(0.04, -0.02)),
        "spur-on-bpsk": whole(spur=spur(-174.3e3, 50.0)), "spur-on-keyed": whole(spur=spur(175.42e3, 51.0)), "spur-in-window": whole(spur=spur(251e3, 52.0)),
        "agc": whole(agc=dict(tau_s=0.03, strength=0.8), parts=[beacon(), key(), talk(60e3, 27.0)]), "inverted": whole(invert=True), "inverted-off": whole(invert=True, lo=-21e3),
        "transmitting": whole(transmit=dict(period_s=0.4, on_s=0.17, noise_db=3.0, desense_db=0.6)), "narrow-file": whole(fs=440e3),
        "manchester": whole(parts=[beacon(rs=400.0, manchester=True), key()]), "noisy-oscillator": whole(phase_noise=NOISY), "quiet-oscillator": whole(phase_noise=None),
        "drift": whole(drift=20.0), "steep": whole(filter=dict(slope_db=-2.0, edge=0.47)), "early-edge": whole(filter=dict(slope_db=0.3, edge=0.33)),
        "step-low": whole(passband=plateau(level_db=-6.0)), "step-high": whole(passband=plateau(level_db=9.0)), "uneven": whole(passband=plateau(tilt_db=1.2, ripple_db=-0.4)),
        "soft-sides": whole(passband=plateau(order=40)), "weak": whole(parts=[beacon(41.0), key(41.0)]), "strong": whole(parts=[beacon(57.0), key(57.0)]),
        "crowded": whole(parts=[beacon(), key()] + [talk(f, s) for f, s in ((-120e3, 9.0), (-60e3, 15.0), (10e3, 6.0), (85e3, 12.0))]
                         + [contact(f, c) for f, c in ((-140e3, 40.0), (-97e3, 43.0), (-20e3, 41.0), (44e3, 45.0), (130e3, 42.0))]),
        "voice-beside": whole(parts=[beacon(), key(), talk(-171.5e3, 13.0)]), "intermediate": whole(lo=37.2e3, centre=CENTRE - 9750e6),
        "alone-wide-error": alone(lo=3100.0), "alone-fade": alone(fade=lambda t: 0.4 * np.sin(2 * np.pi * t / 40 + 0.5)),
    }
    for hz, fs in ((12e3, 640e3), (-31e3, 640e3), (75e3, 800e3), (-110e3, 960e3), (150e3, 1040e3), (-150e3, 1040e3)):
        cases[f"oscillator-{'up' if hz > 0 else 'down'}-{abs(hz) / 1e3:.0f}k"] = whole(lo=hz, fs=fs)
    return cases


def small():
    return {
        "small-whole": whole(seconds=0.6, fs=560e3, parts=[beacon(50.0), key(49.0), talk(45e3, 12.0)], drift=0.0),
        "small-alone": alone(seconds=4.0),
        "small-alone-be": alone(seconds=2.0, stored="ci16_be", dbfs=-22.0, lo=510.0),
        "small-wav24": alone(seconds=1.5, stored="wav24", fs=24e3, dbfs=-30.0, lo=150.0),
    }


def make(out, name, c, seed, receiver=1.0, received_db=0.0, gain=None, fields=None, start=START):
    y, a, clean, truth = narrowband(c, seed, receiver, received_db, gain)
    raw, clipped, step = to_bytes(y, c["stored"], c.get("dc"), c.get("iq"))
    with_quantiser(truth, c, a, step, receiver)
    centre = c.get("centre", CENTRE)
    file = write(out, name, raw, c["stored"], c["fs"], centre, start, "synthetic test recording", fields)
    n = int(round(c["fs"] * c["seconds"]))
    plain = {k: v for k, v in c.items() if k in ("filter", "passband", "agc", "spur", "transmit", "dc", "iq", "invert", "phase_noise")}
    save(os.path.join(out, name + ".truth.json"), dict(
        file=file, format=c["stored"], sample_rate_hz=c["fs"], samples=n, duration_s=n / c["fs"], center_frequency_hz=centre, datetime=start,
        satellite="Petrel-1 (invented)", clipped_fraction=clipped, impairments=plain, **truth))
    return a, truth


def trial(out, name, seed, pairs, change_db, scatter_db, fade_db, minutes, seconds):
    """A swap trial ABBA...: side B has change_db less receiver noise, no satellite noise, scatter of each mounting."""
    rng, gain, rows = np.random.default_rng(seed), None, []
    for k in range(2 * pairs):
        b = k % 4 in (1, 2)
        at = 60.0 * minutes * k
        remount = float(rng.normal(0, scatter_db))
        c = alone(seconds=seconds, lo=-300 + 0.05 * at, t0=at, fade=lambda t: fade_db * np.sin(2 * np.pi * t / (60 * minutes * 9) + 0.9))
        fields = dict(side="AB"[b], remount=k + 1, block=1)
        stamp = f"2031-04-03T{10 + int(at // 3600):02d}:{int(at // 60) % 60:02d}:{int(at % 60):02d}.000Z"
        full = f"{name}-{k + 1:02d}{'AB'[b]}"
        a, truth = make(out, full, c, [seed, k], float(lin(-change_db)) if b else 1.0, remount, gain, fields, stamp)
        gain = gain or a
        rows.append(dict(name=full, side="AB"[b], remount=k + 1, t_s=at, remount_db=rounded(remount), fade_mean_db=truth["fade_mean_db"], cn0_dbhz=truth["signals"][0]["cn0_dbhz"]))
    save(os.path.join(out, name + ".set.truth.json"), dict(kind="swap trial", true_change_B_minus_A_db=change_db, remount_scatter_db=scatter_db, recordings=rows))


def main(which, out):
    shutil.rmtree(out, ignore_errors=True)
    for k, (name, c) in enumerate((small() if which == "small" else catalogue()).items()):
        make(out, name, c, 7000 + k)
        print(name, flush=True)
    if which == "small":
        trial(out, "small-trial", 7501, 3, 0.6, 0.1, 0.4, 20, 2.5)
    else:
        for k, (scatter, change) in enumerate(((0.1, 0.3), (0.15, 0.7), (0.2, 1.0), (0.15, 0.0))):
            trial(out, f"trial{k}", 7600 + k, 6, change, scatter, 0.5, 20, 6.0)


if __name__ == "__main__":
    if len(sys.argv) != 3 or sys.argv[1] not in ("small", "all"):
        sys.exit(__doc__)
    main(sys.argv[1], sys.argv[2])

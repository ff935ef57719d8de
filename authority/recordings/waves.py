"""Waveforms and a receiver in explicit numpy, independent of the Rust code that measures them.

Unit of noise: a density of 1/fs (power 1 over the whole sampled band) is "0 dB", the receiver noise of the reference
state. Signals are scaled from the wanted C/N0. Pulses are continuous-time root-raised-cosine sums evaluated at the exact
sample instants, so that any ratio of sample rate and symbol rate is exact. Noise is shaped by circular FFT over the whole
recording: the first and last hundred samples may show a tiny transient.
"""
import hashlib
import json
import os
import struct
import subprocess
import tempfile

import numpy as np
from scipy import signal as sg
from scipy.io import wavfile


def db(x):
    return 10 * np.log10(x)


def lin(d):
    return 10 ** (np.asarray(d, float) / 10)


# Single-sideband phase noise, dBc/Hz at Hz: an ordinary low-noise block with a phase-locked oscillator.
PHASE_NOISE = [(1, -25), (10, -42), (100, -62), (1e3, -78), (1e4, -90), (1e5, -105)]


def rrc(u, a):
    """Root-raised-cosine pulse of unit energy; u in symbols, roll-off a."""
    u = np.asarray(u, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        h = (np.sin(np.pi * u * (1 - a)) + 4 * a * u * np.cos(np.pi * u * (1 + a))) / (np.pi * u * (1 - (4 * a * u) ** 2))
    h = np.where(np.abs(u) < 1e-9, 1 - a + 4 * a / np.pi, h)
    edge = a / np.sqrt(2) * ((1 + 2 / np.pi) * np.sin(np.pi / (4 * a)) + (1 - 2 / np.pi) * np.cos(np.pi / (4 * a)))
    return np.where(np.abs(np.abs(u) - 1 / (4 * a)) < 1e-7, edge, h)


def shaped(sym, rs, fs, n, rolloff, start, span=40, steps=4096):
    """x(t) = sum of sym[k] g(t rs + start - k) at the sample instants."""
    u = start + np.arange(n) * (rs / fs)
    k0 = np.floor(u).astype(np.int64)
    fr = (u - k0) * steps
    ix = np.minimum(fr.astype(np.int64), steps - 1)
    w = fr - ix
    x = np.zeros(n)
    for j in range(-span + 1, span + 1):
        g = rrc(np.arange(steps + 1) / steps - j, rolloff)
        k = k0 + j
        a = np.where((k >= 0) & (k < len(sym)), sym[np.clip(k, 0, len(sym) - 1)], 0)
        x += a * (g[ix] * (1 - w) + g[ix + 1] * w)
    return x


def bpsk(fs, n, rng, seed, rs=1200.0, rolloff=0.5, manchester=False):
    """Differential BPSK of unit mean power: a text in turn with random bits."""
    r = np.random.default_rng(50000 + seed)
    text = np.array([int(b) for c in b"QQ0AAA PETREL-1 BEACON  " for b in f"{c:08b}"], int)
    rounds = int((n / fs + 4) * rs / (len(text) + 512)) + 2
    bits = np.concatenate([np.concatenate([text, r.integers(0, 2, 512)]) for _ in range(rounds)])
    s = 1.0 - 2 * (np.cumsum(bits) % 2)
    if manchester:
        s = np.repeat(s, 2)
        s[1::2] *= -1
        rs *= 2
    x = shaped(s, rs, fs, n, rolloff, 60 + rng.random() * 50)
    return (x / np.sqrt(np.mean(x**2))).astype(complex)


MORSE = dict(A=".-", B="-...", C="-.-.", D="-..", E=".", G="--.", H="....", K="-.-", L=".-..", N="-.", O="---", Q="--.-",
             R=".-.", S="...", T="-", **{"0": "-----", "3": "...--"})


def keyed(text, wpm, tail_s, fs, n, t0):
    """Keyed carrier of unit key-down power: 5 ms raised-cosine edges, a long dash after the text."""
    d = 1.2 / wpm
    seq = []
    for ch in text:
        if ch == " ":
            seq.append((0, 4 * d))
            continue
        for e in MORSE[ch]:
            seq += [(1, d if e == "." else 3 * d), (0, d)]
        seq.append((0, 2 * d))
    if tail_s:
        seq.append((1, tail_s))
    seq.append((0, 7 * d))
    sub = 4000.0
    one = np.concatenate([np.full(int(round(t * sub)), v, float) for v, t in seq])
    tt = t0 + np.arange(int(n / fs * sub) + 200) / sub
    w = np.hanning(22)
    k = np.convolve(one[np.round(tt * sub).astype(int) % len(one)], w / w.sum(), "same")
    return np.interp(np.arange(n) / fs, np.arange(len(k)) / sub, k).astype(complex)


_spoken = {}


def voice(text, who, fs, n, rng, sideband="usb"):
    """Single-sideband speech of unit mean power (espeak-ng), 300-2700 Hz above (or below) its suppressed carrier."""
    if (text, who) not in _spoken:
        with tempfile.TemporaryDirectory() as folder:
            name = os.path.join(folder, "speech.wav")
            subprocess.run(["espeak-ng", "-v", who, "-s", "150", "-w", name, text], check=True)
            rate, a = wavfile.read(name)
        a = sg.resample_poly(a.astype(float), 8000, rate)
        a = sg.filtfilt(sg.firwin(255, [300, 2700], fs=8000, pass_zero=False), 1, a)
        a = sg.hilbert(a)
        a /= np.sqrt(np.mean(np.abs(a) ** 2))
        a *= np.minimum(1, 2.6 / np.maximum(np.abs(a), 1e-9))
        _spoken[(text, who)] = a
    a = _spoken[(text, who)]
    need = int(n / fs * 8000) + 80
    a = np.tile(a, need // len(a) + 2)[int(rng.integers(0, 2000)):][:need]
    x = sg.resample_poly(a, int(fs / 8000), 1)[:n]
    x = np.conj(x) if sideband == "lsb" else x
    return x / np.sqrt(np.mean(np.abs(x) ** 2))


def noise(rng, n):
    return (rng.standard_normal(n) + 1j * rng.standard_normal(n)) * np.sqrt(0.5)


def phase_noise(rng, n, fs, mask):
    """Gaussian phase whose single-sideband density follows the mask (dBc/Hz over log frequency)."""
    if not mask:
        return np.zeros(n)
    m = 1 << int(np.ceil(np.log2(n)))
    f = np.fft.rfftfreq(m, 1 / fs)
    at = np.log10(np.maximum(f, mask[0][0]))
    ssb = lin(np.interp(at, np.log10([q[0] for q in mask]), [q[1] for q in mask]))
    w = np.fft.rfft(rng.standard_normal(m)) * np.sqrt(ssb * fs)
    w[0] = 0
    return np.fft.irfft(w, m)[:n]


def passband(f, p):
    """Transponder noise density: a plateau with tilt, ripple and steep sides; 1 is the receiver's own in the reference state."""
    x = (f - p["centre_hz"]) / (p["width_hz"] / 2)
    d = p["level_db"] + p.get("tilt_db", 0) * x / 2 + p.get("ripple_db", 0) * np.cos(2 * np.pi * x * 1.5)
    return lin(d) / (1 + np.abs(x) ** p.get("order", 60))


def receiver_response(f, fs, r):
    """Receiver filter in power: linear slope in dB over the band, and a roll-off to -25 dB at its edges."""
    if not r:
        return np.ones_like(f)
    e = np.clip((np.abs(f) / fs - r["edge"]) / (0.5 - r["edge"]), 0, 1)
    return lin(r["slope_db"] * f / fs - 25 * np.sin(np.pi / 2 * e) ** 2)


def shape(x, density, fs):
    f = np.fft.fftfreq(len(x), 1 / fs)
    return np.fft.ifft(np.fft.fft(x) * np.sqrt(density(f)))


# name: (numpy type, codes per full scale, zero, lowest, highest)
STORED = {
    "cu8": (np.uint8, 127.5, 127.5, 0, 255),
    "ci8": (np.int8, 127.0, 0.0, -128, 127),
    "ci16_le": ("<i2", 32767.0, 0.0, -32768, 32767),
    "ci16_be": (">i2", 32767.0, 0.0, -32768, 32767),
    "cf32_le": ("<f4", None, 0.0, None, None),
    "wav16": ("<i2", 32767.0, 0.0, -32768, 32767),
    "wav24": (None, 8388607.0, 0.0, -8388608, 8388607),
    "wavf32": ("<f4", None, 0.0, None, None),
}


def to_bytes(y, stored, dc=None, iq=None):
    """Analogue-to-digital conversion; full scale 1.0 is the rail of one component. Returns bytes, clipped fraction, step noise."""
    if iq:
        g, ph = 10 ** (iq[0] / 20), np.deg2rad(iq[1])
        y = y.real + 1j * g * (y.imag * np.cos(ph) + y.real * np.sin(ph))
    if dc:
        y = y + dc[0] + 1j * dc[1]
    v = np.empty(2 * len(y))
    v[0::2], v[1::2] = y.real, y.imag
    kind, full, zero, low, high = STORED[stored]
    if full is None:
        return v.astype(kind).tobytes(), 0.0, 0.0
    codes = np.clip(np.round(zero + full * v), low, high)
    clipped = float(np.mean(np.abs(v) > 1))
    if kind is None:
        return codes.astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3].tobytes(), clipped, 2 / 12 / full**2
    return codes.astype(kind).tobytes(), clipped, 2 / 12 / full**2


def write_wav(path, raw, stored, fs):
    bits = {"wav16": 16, "wav24": 24, "wavf32": 32}[stored]
    frame = bits // 4
    head = struct.pack("<4sI4s4sIHHIIHH4sI", b"RIFF", 36 + len(raw), b"WAVE", b"fmt ", 16, 3 if stored == "wavf32" else 1, 2,
                       int(fs), int(fs) * frame, frame, bits, b"data", len(raw))
    with open(path, "wb") as f:
        f.write(head + raw)


def write(folder, name, raw, stored, fs, centre_hz, start, description, fields=None):
    """Writes the recording; returns the name of the file that holds the samples."""
    os.makedirs(folder, exist_ok=True)
    if stored.startswith("wav"):
        write_wav(os.path.join(folder, name + ".wav"), raw, stored, fs)
        return name + ".wav"
    with open(os.path.join(folder, name + ".sigmf-data"), "wb") as f:
        f.write(raw)
    top = {"core:datatype": stored, "core:sample_rate": fs, "core:version": "1.0.0", "core:description": description,
           "core:author": "QQ0AAA", "core:recorder": "synthetic", "core:hw": "synthetic receive chain, invented satellite Petrel-1",
           "core:sha512": hashlib.sha512(raw).hexdigest(),
           "core:extensions": [{"name": "slantpath", "version": "1.0.0", "optional": True}]}
    top.update({"slantpath:" + k: v for k, v in (fields or {}).items()})
    capture = {"core:sample_start": 0, "core:frequency": centre_hz, "core:datetime": start}
    save(os.path.join(folder, name + ".sigmf-meta"), {"global": top, "captures": [capture], "annotations": []})
    return name + ".sigmf-data"


def save(path, tree):
    os.makedirs(os.path.dirname(path), exist_ok=True)
    with open(path, "w") as f:
        json.dump(tree, f, indent=1)
        f.write("\n")


def rounded(x, digits=4):
    return None if x is None else round(float(x), digits)


def narrowband(c, seed, receiver=1.0, received_db=0.0, gain=None):
    """One narrowband recording as complex samples before the converter, with its truth.

    c: fs, seconds, parts (bpsk / keyed / voice / tone, each with f and C/N0 in the reference state), lo (Hz), drift (Hz/s),
    and optionally passband or flat_db (transponder noise), filter, fade (dB as a function of time), agc, t0, invert.
    receiver: density of the receiver's noise. received_db: what the antenna and the path add to everything from the satellite.
    gain: amplitude before the converter; None sets the mean level to c["dbfs"].
    """
    rng = np.random.default_rng(seed)
    fs, n = c["fs"], int(round(c["fs"] * c["seconds"]))
    t, f = np.arange(n) / fs, np.fft.fftfreq(n, 1 / fs)
    if c.get("passband"):
        transponder = lambda x: passband(x, c["passband"])
    elif c.get("flat_db") is not None:
        transponder = lambda x: np.full_like(np.asarray(x, float), lin(c["flat_db"]))
    else:
        transponder = lambda x: np.zeros_like(np.asarray(x, float))
    got = float(lin(received_db))
    lo, drift = c["lo"], c.get("drift", 0.0)
    rot = np.exp(1j * (2 * np.pi * (lo * t + 0.5 * drift * t * t) + phase_noise(rng, n, fs, c.get("phase_noise", PHASE_NOISE))))
    fade_db = c["fade"](c.get("t0", 0.0) + t) if c.get("fade") else np.zeros(n)
    fade = 10 ** (fade_db / 20)
    fade_mean = float(db(np.mean(fade**2)))
    total, signals, clean = np.zeros(n, complex), [], {}
    middle = lo + drift * c["seconds"] / 2
    for k in c["parts"]:
        kind = k["kind"]
        if kind == "bpsk":
            x = bpsk(fs, n, rng, k["seed"], k.get("rs", 1200.0), k.get("rolloff", 0.5), k.get("manchester", False))
        elif kind == "keyed":
            x = keyed(k["text"], k["wpm"], k.get("tail_s", 0), fs, n, c.get("t0", 0.0) + k.get("phase_s", 0.0))
        elif kind == "voice":
            x = voice(k["text"], k["who"], fs, n, rng, k.get("sideband", "usb"))
        else:
            x = np.ones(n, complex)
        side = {"voice": 1500 if k.get("sideband", "usb") == "usb" else -1500}.get(kind, 0)
        there = float(transponder(np.array([k["f"] + side]))[0])
        reference = 1 + there
        power = float(lin(k["cn0"])) * reference / fs
        x = x * np.sqrt(power * got) * fade * np.exp(1j * (2 * np.pi * k["f"] * t + rng.random() * 2 * np.pi))
        total += x
        n0 = receiver + there * got
        fades_noise = float(lin(fade_mean)) if c.get("fade_moves_noise") else 1.0
        cn0 = db(power * got * fs * lin(fade_mean) / (receiver + there * got * fades_noise))
        truth = dict(name=k["name"], kind=kind, nominal_hz_from_centre=k["f"], measured_hz_start=rounded(k["f"] + lo),
                     measured_hz_mid=rounded(k["f"] + middle), measured_hz_end=rounded(k["f"] + lo + drift * c["seconds"]),
                     cn0_dbhz=rounded(cn0), n0_rel_receiver_db=rounded(db(n0 / receiver)))
        if kind == "bpsk":
            truth.update(symbol_rate=k.get("rs", 1200.0), manchester=k.get("manchester", False), meaning="mean power")
        if kind == "keyed":
            truth.update(meaning="key-down power", wpm=k["wpm"], text=k["text"])
        if kind == "voice":
            truth.update(meaning="mean power over the recording", text=k["text"])
        signals.append(truth)
        if k["name"].startswith("beacon"):
            clean[k["name"]] = x * rot
    up = shape(noise(rng, n), lambda q: transponder(q) * got, fs) * (fade if c.get("fade_moves_noise") else 1.0)
    y = total * rot + up * rot + np.sqrt(receiver) * noise(rng, n)
    response = lambda q: receiver_response(q, fs, c.get("filter"))
    if c.get("filter"):
        y = shape(y, response, fs)
        clean = {k: shape(v, response, fs) for k, v in clean.items()}
    a = gain if gain else 10 ** (c["dbfs"] / 20) / np.sqrt(np.mean(np.abs(y) ** 2))
    y = y * a
    if c.get("agc"):
        m = int(c["agc"]["tau_s"] * fs)
        q = np.abs(y) ** 2
        w = sg.lfilter([1 / m], [1, -(1 - 1 / m)], q, zi=[q[:m].mean() * (1 - 1 / m)])[0]
        y = y * (w / np.mean(w)) ** (-c["agc"]["strength"] / 2)
    if c.get("spur"):  # made in the receiver: it does not follow the oscillator
        y = y + a * np.sqrt(lin(c["spur"]["cn0"]) / fs) * np.exp(2j * np.pi * c["spur"]["f"] * t)
    if c.get("transmit"):  # the own transmitter raises the receiver's noise and takes gain from it, in overs
        on = ((t % c["transmit"]["period_s"]) < c["transmit"]["on_s"]).astype(float)
        extra = noise(rng, n) * a * np.sqrt(lin(c["transmit"]["noise_db"]) - 1)
        y = y * np.where(on > 0, 10 ** (-c["transmit"]["desense_db"] / 20), 1.0) + on * extra
    if c.get("invert"):
        y, clean = np.conj(y), {k: np.conj(v) for k, v in clean.items()}
        for s in signals:
            for key in ("measured_hz_start", "measured_hz_mid", "measured_hz_end"):
                s[key] = -s[key]
    truth = dict(seed=seed, receiver_noise_dbfs_per_hz=rounded(db(a * a * receiver / fs)), lo_hz_start=lo, lo_hz_per_s=drift,
                 fade_mean_db=rounded(fade_mean), signals=signals)
    if c.get("passband"):
        p = c["passband"]
        q = np.linspace(-0.3, 0.3, 601) * p["width_hz"] + p["centre_hz"]
        truth["noise_step_db"] = rounded(db(np.mean(receiver + got * transponder(q)) / receiver))
        truth["noise_step_meaning"] = "mean density over the central 60 % of the passband over the receiver's own, slope removed"
    return y, a, clean, truth


def with_quantiser(truth, c, a, step_noise, receiver=1.0):
    """Adds the C/N0 with the converter's step noise (white at the converter, behind the filter)."""
    for s in truth["signals"]:
        sign = -1 if c.get("invert") else 1
        h = float(receiver_response(np.array([sign * s["measured_hz_mid"]]), c["fs"], c.get("filter"))[0])
        q = step_noise / a**2 / h
        s["cn0_dbhz_with_quantisation_noise"] = rounded(s["cn0_dbhz"] - db(1 + q / (receiver * lin(s["n0_rel_receiver_db"]))))

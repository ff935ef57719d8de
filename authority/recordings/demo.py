#!/usr/bin/env python3
"""Makes the demonstration's recordings: an invented station before and after a change of its feed.

    python3 authority/recordings/demo.py [--figures figures.json] [--out demo]

Every true value stands in FIGURES (or in a JSON file with the same keys, to follow the prediction when its figures are
refined); levels follow from them by the link equation. Needs numpy, scipy and espeak-ng. Same figures, same bytes.

What the story is: the old feed (side A) shadows the receive horn by 1.7 dB, the new one (side B) by 0.3 dB. Two recordings
on different days, the second in drizzle, show nothing. A trial of six pairs within three hours shows the gain, though a
slow fade and the scatter of remounting lie over it. One wide recording a side gives the noise step, and a drift scan
through the Sun, a season apart, gives G/T by another route.
"""
import argparse
import datetime
import json
import os
import shutil

import numpy as np

from waves import db, lin, narrowband, rounded, save, to_bytes, with_quantiser, write

BOLTZMANN = 1.380649e-23

FIGURES = {
    "satellite": {"longitude_deg": -11.7, "beacon_eirp_dbw": 15.0, "noise_eirp_dbw_per_hz": -43.8,
                  "passband_centre_hz": 10472.350e6, "passband_width_hz": 400e3, "beacon_offset_hz": 175e3},
    "site": {"latitude_deg": 57.3, "longitude_deg": -5.6, "height_m": 20.0},
    "oscillator_nominal_hz": 9750e6,
    "clear_sky": {"attenuation_db": 0.30},
    # Gain at the horn's port, shadow included; noise temperature there in clear sky; beam width over the Sun.
    "old": {"gain_dbi": 38.45, "system_temperature_k": 119.0, "beam_deg": 1.66, "sky_coupling": 0.68},
    "new": {"gain_dbi": 39.88, "system_temperature_k": 90.0, "beam_deg": 1.70, "sky_coupling": 0.93},
    "air_temperature_k": 275.0,
    "trial": {"start": "2031-10-11T09:00:00Z", "sides": "ABBAABBAABBA", "minutes_apart": 15.0, "seconds": 6.0,
              "remount_scatter_db": 0.12, "fade_db": 0.35, "fade_period_min": 130.0, "drift_db_per_hour": -0.12,
              "oscillator_error_hz": -2100.0, "oscillator_hz_per_min": 4.0},
    "wide": {"seconds": 1.5, "old_error_hz": -3420.0, "new_error_hz": -2960.0},
    "days": {"old": {"start": "2031-09-20T14:05:00Z", "rain_db": 0.0, "satellite_db": 0.10, "oscillator_error_hz": 1250.0},
             "new": {"start": "2031-10-25T16:40:00Z", "rain_db": 0.80, "satellite_db": -0.05, "oscillator_error_hz": -3900.0}},
    "sun": {"frequency_hz": 10470.0e6, "bandwidth_hz": 150e3, "every_s": 2.0, "half_length_s": 1200.0,
            "old": {"day": "2031-02-28", "flux_sfu": 285.0}, "new": {"day": "2031-10-13", "flux_sfu": 310.0}},
    "seed": 61031,
}


# ---------------------------------------------------------------------------------------------- geometry
def look(site, longitude_deg):
    """Topocentric unit vector and range of a geostationary satellite: WGS-84 ellipsoid, Earth-fixed axes."""
    a, f, r = 6378137.0, 1 / 298.257223563, 42164.2e3
    phi, lam = np.deg2rad(site["latitude_deg"]), np.deg2rad(site["longitude_deg"])
    e2 = f * (2 - f)
    nu = a / np.sqrt(1 - e2 * np.sin(phi) ** 2)
    h = site["height_m"]
    here = np.array([(nu + h) * np.cos(phi) * np.cos(lam), (nu + h) * np.cos(phi) * np.sin(lam), (nu * (1 - e2) + h) * np.sin(phi)])
    there = r * np.array([np.cos(np.deg2rad(longitude_deg)), np.sin(np.deg2rad(longitude_deg)), 0.0])
    d = there - here
    up = np.array([np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)])
    distance = float(np.linalg.norm(d))
    return d / distance, distance, float(np.rad2deg(np.arcsin(d @ up / distance)))


def sun_direction(t):
    """Unit vector to the Sun in Earth-fixed axes: the Astronomical Almanac's low-precision formula (0.01 deg), from memory."""
    days = (t - datetime.datetime(2000, 1, 1, 12, tzinfo=datetime.timezone.utc)).total_seconds() / 86400
    mean, anomaly = np.deg2rad(280.460 + 0.9856474 * days), np.deg2rad(357.528 + 0.9856003 * days)
    lam = mean + np.deg2rad(1.915) * np.sin(anomaly) + np.deg2rad(0.020) * np.sin(2 * anomaly)
    eps = np.deg2rad(23.439 - 0.0000004 * days)
    v = np.array([np.cos(lam), np.cos(eps) * np.sin(lam), np.sin(eps) * np.sin(lam)])
    gmst = np.deg2rad(280.46061837 + 360.98564736629 * days)
    c, s = np.cos(gmst), np.sin(gmst)
    return np.array([c * v[0] + s * v[1], -s * v[0] + c * v[1], v[2]])


# ---------------------------------------------------------------------------------------------- levels
def levels(fig, side, rain_db=0.0, satellite_db=0.0, remount_db=0.0):
    """Densities and C/N0 by the link equation, everything at the horn's port."""
    sat, s = fig["satellite"], fig[side]
    _, distance, _ = look(fig["site"], sat["longitude_deg"])
    f = sat["passband_centre_hz"]
    spreading_db = 20 * np.log10(4 * np.pi * distance * f / 299792458.0)
    loss_db = spreading_db + fig["clear_sky"]["attenuation_db"] + rain_db
    gain_db = s["gain_dbi"] + remount_db - loss_db
    rain_k = (1 - lin(-rain_db)) * fig["air_temperature_k"] * s["sky_coupling"]
    temperature = s["system_temperature_k"] + rain_k
    station = BOLTZMANN * temperature
    carrier = lin(sat["beacon_eirp_dbw"] + satellite_db + gain_db)
    transponder = lin(sat["noise_eirp_dbw_per_hz"] + satellite_db + gain_db)
    return dict(station=station, carrier=float(carrier), transponder=float(transponder), temperature_k=temperature,
                gain_dbi=s["gain_dbi"] + remount_db, g_over_t_db=s["gain_dbi"] + remount_db - db(temperature),
                cn0_station_dbhz=db(carrier / station), cn0_satellite_dbhz=db(carrier / transponder),
                cn0_total_dbhz=db(carrier / (station + transponder)), noise_step_db=db(1 + transponder / station))


def shown(level):
    return {k: rounded(v, 4) for k, v in level.items() if k not in ("station", "carrier", "transponder")}


def iso(t):
    return t.strftime("%Y-%m-%dT%H:%M:%S.000Z")


def parse(text):
    return datetime.datetime.fromisoformat(text.replace("Z", "+00:00"))


def common_truth(name, file, stored, c, centre_hz, start, clipped, truth, fields, level):
    n = int(round(c["fs"] * c["seconds"]))
    return dict(file=file, format=stored, sample_rate_hz=c["fs"], samples=n, duration_s=n / c["fs"], center_frequency_hz=centre_hz,
                datetime=start, satellite="Petrel-1 (invented)", clipped_fraction=clipped, set_up=fields, station=shown(level), **truth)


def narrow(fig, out, name, side, start, level, lo, drift, fields, seed, fade=None, t0=0.0, description=""):
    """16 kS/s around the BPSK beacon, at its intermediate frequency."""
    sat = fig["satellite"]
    centre = sat["passband_centre_hz"] - sat["beacon_offset_hz"] - fig["oscillator_nominal_hz"]
    reference = levels(fig, "old")
    ratio = level["transponder"] / level["station"]
    c = dict(fs=16000.0, seconds=fig["trial"]["seconds"], lo=lo, drift=drift, dbfs=-15.0, flat_db=float(db(ratio)), fade=fade, t0=t0,
             fade_moves_noise=True, parts=[dict(kind="bpsk", name="beacon_bpsk", f=0.0, cn0=level["cn0_total_dbhz"], seed=seed % 1000)])
    # One gain for all: the level in the file moves with the station's, as with a receiver whose gain was left alone.
    gain = 0.10 * np.sqrt(level["station"] / reference["station"])
    y, a, clean, truth = narrowband(c, seed, gain=gain)
    raw, clipped, step = to_bytes(y, "cu8")
    with_quantiser(truth, c, a, step)
    file = write(os.path.join(out, "recordings"), name, raw, "cu8", c["fs"], centre, start, description, fields)
    save(os.path.join(out, "truth", os.path.basename(name) + ".truth.json"),
         common_truth(name, file, "cu8", c, centre, start, clipped, truth, fields, level))
    return truth


def trial(fig, out):
    t, rng = fig["trial"], np.random.default_rng(fig["seed"])
    start, rows = parse(t["start"]), []
    for k, letter in enumerate(t["sides"]):
        side = {"A": "old", "B": "new"}[letter]
        seconds = 60 * t["minutes_apart"] * k + float(rng.integers(-120, 120)) * (k > 0)
        remount_db = float(rng.normal(0, t["remount_scatter_db"]))
        level = levels(fig, side, remount_db=remount_db)
        # A slow change of the satellite's level: it moves the beacon and the satellite's noise alike, in both sides.
        fade = lambda at: (t["fade_db"] * np.sin(2 * np.pi * at / 60 / t["fade_period_min"] + 0.6)
                           + t["drift_db_per_hour"] * at / 3600)
        fields = dict(side=letter, remount=k + 1, block=1, branch="sdr", target="satellite", transmitting=False)
        lo = t["oscillator_error_hz"] + t["oscillator_hz_per_min"] * seconds / 60
        when = iso(start + datetime.timedelta(seconds=seconds))
        name = f"trial-{k + 1:02d}{letter}"
        truth = narrow(fig, out, name, side, when, level, lo, t["oscillator_hz_per_min"] / 60, fields, fig["seed"] + 10 + k,
                       fade, seconds, f"swap trial, mounting {k + 1}, {side} feed")
        rows.append(dict(name=name, side=letter, remount=k + 1, t_s=seconds, remount_db=rounded(remount_db),
                         fade_mean_db=truth["fade_mean_db"], cn0_dbhz=truth["signals"][0]["cn0_dbhz"]))
    old, new = levels(fig, "old"), levels(fig, "new")
    mean = lambda letter: np.mean([r["cn0_dbhz"] for r in rows if r["side"] == letter])
    save(os.path.join(out, "truth", "trial.set.truth.json"), dict(
        kind="swap trial", old=shown(old), new=shown(new), remount_scatter_db=t["remount_scatter_db"],
        true_change_cn0_total_db=rounded(new["cn0_total_dbhz"] - old["cn0_total_dbhz"]),
        true_change_cn0_station_db=rounded(new["cn0_station_dbhz"] - old["cn0_station_dbhz"]),
        true_change_g_over_t_db=rounded(new["g_over_t_db"] - old["g_over_t_db"]),
        naive_mean_difference_db=rounded(mean("B") - mean("A")), recordings=rows,
        note="the true change is that of the set-ups; remounting and the fade lie over it"))


def wide(fig, out):
    sat, w = fig["satellite"], fig["wide"]
    centre = sat["passband_centre_hz"] - fig["oscillator_nominal_hz"]
    talk = {"old": ("Good morning to the field camp, your audio is fine today.", "en-gb+m3", -62e3, 14.0),
            "new": ("Thank you for the report, back to you.", "en-gb+f1", 41e3, 12.0)}
    for j, (side, letter) in enumerate((("old", "A"), ("new", "B"))):
        level = levels(fig, side)
        ratio_db = float(db(level["transponder"] / level["station"]))
        text, who, f, snr = talk[side]
        c = dict(fs=640e3, seconds=w["seconds"], lo=w[side + "_error_hz"], drift=0.07, dbfs=-15.0, t0=0.0,
                 passband=dict(centre_hz=0.0, width_hz=sat["passband_width_hz"], level_db=ratio_db, order=60, tilt_db=-0.2, ripple_db=0.1),
                 filter=dict(slope_db=0.6, edge=0.47),
                 parts=[dict(kind="bpsk", name="beacon_bpsk", f=-sat["beacon_offset_hz"], cn0=level["cn0_total_dbhz"], seed=71 + j),
                        dict(kind="keyed", name="beacon_carrier", f=sat["beacon_offset_hz"], cn0=level["cn0_total_dbhz"], wpm=20,
                             text="QQ0AAA", tail_s=1.5, phase_s=5.2),
                        dict(kind="voice", name="voice", f=f, cn0=snr + float(db(2700)), text=text, who=who),
                        dict(kind="keyed", name="contact", f=-20e3 + 5e3 * j, cn0=44.0, wpm=22, text="CQ DE QQ3CCC", phase_s=0.4)])
        gain = 0.105 * np.sqrt(level["station"] / levels(fig, "old")["station"])
        y, a, clean, truth = narrowband(c, fig["seed"] + 100 + j, gain=gain)
        raw, clipped, step = to_bytes(y, "cu8", dc=(0.006, -0.004), iq=(0.08, 0.3))
        with_quantiser(truth, c, a, step)
        fields = dict(side=letter, remount=1 + j, block=2, branch="sdr", target="satellite", transmitting=False)
        start = iso(parse(fig["trial"]["start"]) + datetime.timedelta(minutes=fig["trial"]["minutes_apart"] * j + 3))
        name = f"wide-{side}"
        file = write(os.path.join(out, "recordings"), name, raw, "cu8", c["fs"], centre, start, f"whole narrow passband, {side} feed", fields)
        save(os.path.join(out, "truth", name + ".truth.json"),
             common_truth(name, file, "cu8", c, centre, start, clipped, truth, fields, level))


def days(fig, out):
    truth = {}
    for j, (side, letter) in enumerate((("old", "A"), ("new", "B"))):
        d = fig["days"][side]
        level = levels(fig, side, d["rain_db"], d["satellite_db"])
        fields = dict(side=letter, remount=1, block=1, branch="sdr", target="satellite", transmitting=False)
        name = f"day-{side}"
        narrow(fig, out, name, side, iso(parse(d["start"])), level, d["oscillator_error_hz"], 0.05, fields, fig["seed"] + 200 + j,
               description=f"{side} feed, one recording")
        truth[side] = shown(level)
    truth["naive_difference_db"] = rounded(truth["new"]["cn0_total_dbhz"] - truth["old"]["cn0_total_dbhz"])
    truth["note"] = "drizzle on the second day hides what the new feed gained"
    save(os.path.join(out, "truth", "day.set.truth.json"), truth)


def sun(fig, out):
    s, sat = fig["sun"], fig["satellite"]
    dish, _, elevation = look(fig["site"], sat["longitude_deg"])
    for j, side in enumerate(("old", "new")):
        flux = s[side]["flux_sfu"]
        day = parse(s[side]["day"] + "T00:00:00Z")
        away = lambda t: np.rad2deg(np.arccos(np.clip(sun_direction(t) @ dish, -1, 1)))
        minutes = [day + datetime.timedelta(seconds=20 * k) for k in range(4320)]
        transit = min(minutes, key=away)
        first = transit - datetime.timedelta(seconds=s["half_length_s"] - 60 * j)
        times = [first + datetime.timedelta(seconds=s["every_s"] * k) for k in range(int(2 * s["half_length_s"] / s["every_s"]))]
        separation = np.array([away(t) for t in times])
        level = levels(fig, side)
        wavelength = 299792458.0 / s["frequency_hz"]
        correction = 1 + 0.38 * (0.53 / fig[side]["beam_deg"]) ** 2
        air = lin(-fig["clear_sky"]["attenuation_db"])
        # Y - 1 = S lambda^2 G / (8 pi k T L): one polarisation of a source of flux S, spread over the beam by L.
        excess = flux * 1e-22 * wavelength**2 * lin(level["g_over_t_db"]) * air / (8 * np.pi * BOLTZMANN * correction)
        beam = np.exp(-4 * np.log(2) * (separation / fig[side]["beam_deg"]) ** 2)
        power = 1 + excess * beam
        rng = np.random.default_rng(fig["seed"] + 300 + j)
        power = power * (1 + rng.standard_normal(len(power)) / np.sqrt(s["bandwidth_hz"] * s["every_s"]))
        reading = db(power) - 47.3 + db(level["temperature_k"] / fig["old"]["system_temperature_k"])
        name = f"sun-{side}"
        os.makedirs(os.path.join(out, "recordings"), exist_ok=True)
        with open(os.path.join(out, "recordings", name + ".csv"), "w") as f:
            f.write(f"# drift scan through the Sun, {side} feed, {s['frequency_hz'] / 1e6:.0f} MHz, dish at rest on the satellite\n")
            f.write("time,power_db\n")
            f.writelines(f"{iso(t)},{p:.3f}\n" for t, p in zip(times, reading))
        k = int(np.argmin(separation))
        save(os.path.join(out, "truth", name + ".truth.json"), dict(
            kind="Sun drift scan, power log", file=name + ".csv", flux_sfu=flux, frequency_hz=s["frequency_hz"],
            bandwidth_hz=s["bandwidth_hz"], integration_s=s["every_s"], elevation_deg=rounded(elevation), station=shown(level),
            y_on_axis_db=rounded(db(1 + excess)), y_peak_db=rounded(db(1 + excess * beam[k])), closest_deg=rounded(separation[k]),
            peak_time=iso(times[k]), beam_over_the_sun_deg=fig[side]["beam_deg"], beam_correction=rounded(correction)))


def main():
    args = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    args.add_argument("--figures", help="JSON file with true values that replace those of FIGURES")
    args.add_argument("--out", default="demo")
    args = args.parse_args()
    fig = json.loads(json.dumps(FIGURES))
    if args.figures:
        def merge(into, new):
            for k, v in new.items():
                if isinstance(v, dict) and isinstance(into.get(k), dict):
                    merge(into[k], v)
                else:
                    into[k] = v
        with open(args.figures) as f:
            merge(fig, json.load(f))
    for part in ("recordings", "truth"):
        shutil.rmtree(os.path.join(args.out, part), ignore_errors=True)
    trial(fig, args.out)
    wide(fig, args.out)
    days(fig, args.out)
    sun(fig, args.out)
    save(os.path.join(args.out, "truth", "figures.json"), fig)
    for side in ("old", "new"):
        print(side, shown(levels(fig, side)))


if __name__ == "__main__":
    main()

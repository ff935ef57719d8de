#!/usr/bin/env python3
"""Makes the demo's acts of faults (invented), independent of the Rust code. The same files every time.

    python3 demo/authority/make_watch.py

1. A wet feed at the club, QQ0AAA: readings every half hour over three days. A storm blows over on the second day; water
   stays in the feed after it and dries with a time constant of 9 h. Loss before the converter, its own radiation, the
   return loss at 13 cm and a little loss there.
2. The camp's plain crystal, QQ7BBB, over a hot day: the beacon's frequency every ten minutes; 0.21 ppm/K behind a case of
   15 minutes, and the satellite's Doppler.
3. The club's splitter passes another box's DC: a recording of the narrow passband's beacon 16 dB down, and the volts read at
   the converter. Needs numpy and scipy.
"""
import datetime
import json
import math
import os
import random
import sys

sys.path.insert(0, os.path.join(os.path.dirname(__file__), "..", "..", "authority", "recordings"))


def iso(t):
    return t.strftime("%Y-%m-%dT%H:%M:%SZ")


def db(x):
    return 10 * math.log10(x)


def lin(x):
    return 10 ** (x / 10)


def write(path, rows):
    with open(path, "w") as f:
        f.write("\n".join(rows) + "\n")


def truth(name, **fields):
    with open(f"demo/truth/{name}.truth.json", "w") as f:
        json.dump(fields, f, indent=1)
        f.write("\n")


def wet_feed():
    rng = random.Random(4711)
    start = datetime.datetime(2031, 11, 3, 6, 0, tzinfo=datetime.timezone.utc)
    t_sys, sky, satellite = 119.0, 75.0, 76.7
    storm = (26.0, 31.0)
    dry_h, at_first = 9.0, 1.7
    rows = ["# Invented: QQ0AAA, half-hourly readings of the club's receiver; made by demo/authority/make_watch.py",
            "quantity,value,u,time,branch,passband,beacon"]
    weather = ["# Invented: the school's weather station; made by demo/authority/make_watch.py", "time,temperature,rain,wind"]
    wander = {"beacon-psk": 0.0, "beacon-keyed": 0.0, "noise": 0.0}
    for k in range(144):
        h = 0.5 * k
        t = start + datetime.timedelta(hours=h)
        raining = storm[0] <= h <= storm[1]
        rate = max(0.3, 5.0 * math.sin(math.pi * (h - storm[0]) / (storm[1] - storm[0])) + rng.gauss(0, 0.6)) if raining else 0.0
        temperature = 8.0 + 2.5 * math.sin(2 * math.pi * (h - 3) / 24) - (2.0 if raining else 0.0)
        weather.append(f"{iso(t)},{temperature + rng.gauss(0, 0.2):.1f},{rate:.1f},{abs(rng.gauss(9 if raining else 4, 1.2)):.1f}")
        path = 0.14 * rate
        if h < storm[0]:
            feed = 0.0
        elif raining:
            feed = at_first * (h - storm[0]) / (storm[1] - storm[0])
        else:
            feed = at_first * math.exp(-(h - storm[1]) / dry_h)
        for key in wander:
            wander[key] = 0.8 * wander[key] + rng.gauss(0, 0.02)
        # At the converter: what comes from the sky passes rain and wet feed, which radiate at 275 and 280 K.
        through = lin(-feed)
        antenna = sky * lin(-path) + 265 * (1 - lin(-path))
        station = t_sys - sky + antenna * through + 280 * (1 - through)
        gain = lin(-path - feed)
        noise = satellite * gain * lin(wander["noise"])
        u = lambda s: rng.gauss(0, s)
        when = iso(t)
        for name, nominal in (("beacon-psk", 55.35), ("beacon-keyed", 55.30)):
            total = nominal + db(gain) + wander[name] - db((station + noise) / t_sys)
            rows.append(f"cn0,{total + u(0.06):.2f} dBHz,0.06 dB,{when},sdr,narrow,{name}")
        rows.append(f"noise_step,{db(1 + noise / station) + u(0.04):.3f} dB,0.04 dB,{when},sdr,narrow,")
        rows.append(f"level,{-62.4 + db(station / t_sys) + u(0.03):.2f} dB,0.03 dB,{when},sdr,,")
        if k % 4 == 0:
            forward = 34.8
            reflected = forward - (14.2 - 1.5 * feed)
            rows.append(f"forward_power,{forward + u(0.1):.1f} dBm,0.1 dB,{when},,,")
            rows.append(f"reflected_power,{reflected + u(0.1):.1f} dBm,0.1 dB,{when},,,")
    write("demo/logs/qq0aaa-wet-feed.csv", rows)
    write("demo/logs/qq0aaa-weather.csv", weather)
    truth("wet-feed", storm_ends=iso(start + datetime.timedelta(hours=storm[1])), loss_db=at_first, time_constant_h=dry_h)


def drift():
    rng = random.Random(815)
    start = datetime.datetime(2031, 1, 19, 4, 0, tzinfo=datetime.timezone.utc)
    beacon, lo = 10472.175e6, 9750e6
    per_k, case_s, doppler = 0.21, 900.0, 22.0
    rows = ["# Invented: QQ7BBB, where the beacon was found; made by demo/authority/make_watch.py", "quantity,value,u,time,branch,beacon"]
    weather = ["# Invented: the camp's thermometer in the shade; made by demo/authority/make_watch.py", "time,temperature,wind"]
    air = lambda s: 33.0 + 11.0 * math.sin(2 * math.pi * (s - 5 * 3600) / 86400) + 2.0 * math.sin(2 * math.pi * s / 9000)
    case, wander = air(0), 0.0
    for k in range(24 * 6 * 4 // 3 + 1):
        s = 600.0 * k
        t = start + datetime.timedelta(seconds=s)
        for step in range(60):
            case += 10.0 * (air(s - 600 + 10 * step) - case) / case_s
        wander = 0.85 * wander + rng.gauss(0, 90)
        f = beacon - lo * 1e-6 * (-12.0) + lo * 1e-6 * per_k * (case - 33.0) + wander + doppler * math.sin(2 * math.pi * s / 86164.1 + 1.1)
        rows.append(f"beacon_frequency,{f / 1e6:.6f} MHz,5 Hz,{iso(t)},sdr,beacon-psk")
        weather.append(f"{iso(t)},{air(s) + rng.gauss(0, 0.15):.2f},{abs(rng.gauss(3, 1)):.1f}")
    write("demo/logs/qq7bbb-beacon.csv", rows)
    write("demo/logs/qq7bbb-weather.csv", weather)
    truth("drift", ppm_per_kelvin=per_k, case_s=case_s, doppler_hz=doppler, oscillator_hz=lo)


def splitter():
    from demo import FIGURES, levels, narrow

    fig = json.loads(json.dumps(FIGURES))
    # The converter listens to the other polarisation: beacon and satellite's noise fall by what it keeps apart.
    isolation = 16.0
    level = levels(fig, "old", satellite_db=-isolation)
    fields = dict(branch="sdr", target="satellite", transmitting=False)
    narrow(fig, "demo", "splitter-fault", "old", "2031-10-30T18:40:00.000Z", level, -1830.0, 0.04, fields, 73411, description="narrow passband after the evening's television")
    rows = ["# Invented: QQ0AAA, volts at the converter's plug that evening; made by demo/authority/make_watch.py",
            "quantity,value,u,time,branch,passband", "lnb_volts,12.9 V,0.1 V,2031-10-30T18:55:00Z,sdr,narrow"]
    write("demo/logs/qq0aaa-volts.csv", rows)
    truth("splitter", isolation_db=isolation, fault="the box on port 2 feeds 13 V through a port that should block it")


if __name__ == "__main__":
    wet_feed()
    drift()
    splitter()

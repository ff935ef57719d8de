#!/usr/bin/env python3
"""Makes the demo's operating log (invented): the field camp's hot afternoon.

A sink of 0.9 K/W and 12 min in air that climbs from 44 to 47 degrees Celsius. The amplifier runs at 16 W with 50.67 W of
heat (24 % efficiency) and folds back to 1 W at 75 degrees, until the sink is at 68. There it makes 15.7 W of heat
(class AB: the DC power goes with the root of the output). Euler steps of 0.1 s, one row every 15 s, sensor noise 0.1 K.
Standard library only; the same file every time.
"""
import math
import random

random.seed(7)
R, TAU = 0.9, 720.0
HIGH = (16.0, 16.0 / 0.24 - 16.0)
LOW = (1.0, 16.0 / 0.24 * math.sqrt(1.0 / 16.0) - 1.0)

rows = ["# Invented: field camp QQ7BBB, hot afternoon, 16 W of television; made by demo/authority/make_logs.py",
        "time,sink,air,heat,output,drive"]
sink, low = 44.0, False
for k in range(4 * 60 * 3):
    t = 15.0 * k
    air = 44.0 + 3.0 * math.sin(math.pi * t / 21600.0)
    low = sink >= 75.0 or (low and sink > 68.0)
    out, heat = LOW if low else HIGH
    rows.append(f"{t:.0f},{sink + random.gauss(0, 0.1):.2f},{air + random.gauss(0, 0.05):.2f},{heat:.2f},{out * (1 + random.gauss(0, 0.01)):.2f},-1.0")
    for _ in range(150):
        sink += 0.1 * (air + R * heat - sink) / TAU
with open("demo/logs/qq7bbb-afternoon.csv", "w") as f:
    f.write("\n".join(rows) + "\n")

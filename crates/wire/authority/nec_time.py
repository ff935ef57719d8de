"""Time of NEC-2 (PyNEC) for fill and factoring, on the wires of benches/solve.rs. Processor seconds of one thread, as NEC-2
runs on one.

Run: python nec_time.py [N ...]     default 600 1200 2400 segments
"""
import math
import sys
import time
import PyNEC

LAM = 0.1249


def helix_in_space(n, per=20, a=0.5e-3):
    """A helix of circumference 1 wavelength, pitch 12.5 deg, in free space, n segments."""
    r, s = LAM / (2 * math.pi), LAM * math.tan(math.radians(12.5))
    return [(r * math.cos(2 * math.pi * i / per), r * math.sin(2 * math.pi * i / per), s * i / per) for i in range(n + 1)], a


for n in [int(x) for x in sys.argv[1:]] or [600, 1200, 2400]:
    p, a = helix_in_space(n)
    c = PyNEC.nec_context()
    g = c.get_geometry()
    for i in range(n):
        g.wire(i + 1, 1, *p[i], *p[i + 1], a, 1.0, 1.0)
    c.geometry_complete(0)
    c.fr_card(0, 1, 299.792458 / LAM, 0)
    c.ex_card(0, n // 2, 1, 0, 1.0, 0, 0, 0, 0, 0)
    start = time.process_time()
    # structure currents only: fill, factor, one solve
    c.xq_card(0)
    print(f"{n} segments: {time.process_time() - start:.2f} s", flush=True)

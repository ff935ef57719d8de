"""Times PyPI itur 0.4.0 on the two cases of benches/total.rs (full attenuation statistics of one site).

One call per site is what a program that treats one station does; a call with many sites at once is itur's best.
"""
import time
import warnings

import numpy as np

warnings.simplefilter("ignore")
import itur

one = lambda: itur.atmospheric_attenuation_slant_path(50.0, 10.0, 10.475, 30.0, 0.1, 1.2, hs=0.3, tau=0, eta=0.6)
one()
t = time.perf_counter()
for _ in range(50):
    one()
print("one site, one percentage: %.3f ms" % ((time.perf_counter() - t) / 50 * 1e3))

n = 2000
rng = np.random.default_rng(1)
la, lo = rng.uniform(-55, 65, n), rng.uniform(-180, 180, n)
many = lambda: itur.atmospheric_attenuation_slant_path(la, lo, 10.475, 30.0, 0.1, 1.2, hs=0.3, tau=0, eta=0.6)
many()
t = time.perf_counter()
many()
print("%d sites in one call: %.3f us per site" % (n, (time.perf_counter() - t) / n * 1e6))

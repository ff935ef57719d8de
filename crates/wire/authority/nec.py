"""Tables of NEC-2 results for the tests of the wire solver. Needs PyNEC (PyPI): pip install PyNEC

Run: python nec.py FOLDER   writes helix_nec_plane.csv, helix_nec_disc.csv, dipole_spread_nec.csv into FOLDER.
NEC-2: G. J. Burke and A. J. Poggio, Numerical Electromagnetics Code, UCID-18834, 1981.
Geometry is written out by this script and rebuilt by the tests from the same few dimensions.
"""
import math
import sys
from importlib.metadata import version
import numpy as np
import PyNEC

LAM_MM = 124.9
F_MHZ = 299.792458 / (LAM_MM * 1e-3)


def context(wires, ground):
    """wires: (points, radius, segments per leg); metres. Returns context and number of wires."""
    c = PyNEC.nec_context()
    g = c.get_geometry()
    tag = 0
    for p, q, radius, n in wires:
        tag += 1
        g.wire(tag, n, *p, *q, radius, 1.0, 1.0)
    c.geometry_complete(1 if ground else 0)
    if ground:
        c.gn_card(1, 0, 0, 0, 0, 0, 0, 0)
    c.fr_card(0, 1, F_MHZ, 0)
    c.ex_card(0, 1, 1, 0, 1.0, 0, 0, 0, 0, 0)
    return c


def pattern(c, nt, np_, t_max):
    c.rp_card(0, nt, np_, 0, 5, 0, 0, 0.0, 0.0, t_max / (nt - 1), 360.0 / np_, 0.0, 0.0)
    r = c.get_radiation_pattern(0)
    et, ep = np.array(r.get_e_theta()), np.array(r.get_e_phi())
    # arrays run theta fastest
    return et.reshape(np_, nt), ep.reshape(np_, nt)


def measures(c, ground):
    nt, np_ = (91, 24) if ground else (181, 24)
    t_max = 90.0 if ground else 180.0
    et, ep = pattern(c, nt, np_, t_max)
    u = abs(et) ** 2 + abs(ep) ** 2
    th = np.radians(np.linspace(0, t_max, nt))
    ring = u.mean(axis=0) * 2 * math.pi * np.sin(th)
    h = th[1]
    # Simpson in theta
    w = np.ones(nt)
    w[1:-1:2], w[2:-1:2] = 4, 2
    power = (w * ring).sum() * h / 3
    d = 10 * math.log10(4 * math.pi * u[0, 0] / power)
    r, l = abs(et[0, 0] + 1j * ep[0, 0]), abs(et[0, 0] - 1j * ep[0, 0])
    ar = 20 * math.log10((r + l) / abs(r - l))
    fb = math.nan if ground else 10 * math.log10(u[0, 0] / u[0, -1])
    half = u[0] / u[0, 0]
    i = int(np.argmax(half < 0.5))
    z = c.get_input_parameters(0).get_impedance()[0]
    return d, ar, fb, z


def helix(turns, circumference, pitch_deg, per, a, stub, lam):
    r = circumference * lam / (2 * math.pi)
    s = circumference * lam * math.tan(math.radians(pitch_deg))
    n = round(turns * per)
    p = [(r * math.cos(2 * math.pi * i / per), r * math.sin(2 * math.pi * i / per), stub + s * i / per) for i in range(n + 1)]
    wires = [((r, 0.0, 0.0), p[0], a, 1)]
    wires += [(p[i], p[i + 1], a, 1) for i in range(n)]
    return wires, r


def disc(radii, radials, a):
    def at(r, j):
        t = 2 * math.pi * (j % radials) / radials
        return (r * math.cos(t), r * math.sin(t), 0.0)
    wires = []
    for i, r in enumerate(radii):
        inner = radii[i - 1] if i else 0.0
        for j in range(radials):
            wires.append((at(inner, j), at(r, j), a, 1))
            wires.append((at(r, j), at(r, j + 1), a, 1))
    return wires


def write(folder, name, header, columns, rows):
    with open(f"{folder}/{name}", "w") as f:
        f.writelines(f"# {h}\n" for h in header)
        f.write(",".join(columns) + "\n")
        f.writelines(",".join(str(x) for x in r) + "\n" for r in rows)


def main(folder):
    lam = LAM_MM * 1e-3
    made = f"NEC-2 by PyNEC {version('PyNEC')}, authority/nec.py; wavelength {LAM_MM} mm, source over the whole stub (one segment)"
    rows = []
    for turns, a_mm, per in [(2, 1, 20), (3, 1, 20), (4, 1, 20), (3, 0.25, 20), (3, 0.5, 20), (3, 1.5, 20), (3, 1, 10), (2, 1, 40), (3, 1, 40), (3, 0.5, 40), (5, 0.5, 20), (10, 0.5, 24)]:
        wires, _ = helix(turns, 1.0, 12.5, per, a_mm * 1e-3, 5e-3, lam)
        d, ar, _, z = measures(context(wires, True), True)
        rows.append([turns, a_mm, per, f"{d:.4f}", f"{ar:.4f}", f"{z.real:.2f}", f"{z.imag:.2f}"])
    write(folder, "helix_nec_plane.csv", [made, "Helix of circumference 1 wavelength, pitch angle 12.5 deg, on a 5 mm stub over an infinite perfect plane; zenith"],
          ["turns", "wire_radius_mm", "per_turn", "D_dBi", "AR_dB", "R_ohm", "X_ohm"], rows)
    rows = []
    for turns, size, radials, a_mm, grid_mm in [(2, 0.8, 24, 1, 0.25), (3, 0.8, 24, 1, 0.25), (3, 0.8, 16, 0.5, 0.25), (4, 0.8, 24, 1, 0.25), (3, 1.0, 24, 1, 0.25)]:
        wires, r = helix(turns, 1.0, 12.5, 20, a_mm * 1e-3, 5e-3, lam)
        edge = 0.5 * size * lam
        # the winding's foot on the second of five rings
        radii = [0.5 * r, r] + [r + (edge - r) * i / 3 for i in (1, 2, 3)]
        wires += disc(radii, radials, grid_mm * 1e-3)
        d, ar, fb, z = measures(context(wires, False), False)
        rows.append([turns, size, radials, a_mm, grid_mm, f"{d:.4f}", f"{ar:.4f}", f"{fb:.3f}", f"{z.real:.2f}", f"{z.imag:.2f}"])
    write(folder, "helix_nec_disc.csv", [made, "The same helix (20 segments a turn) on a polar wire-grid disc: rings at R/2, R and three even steps to the edge, one segment a piece"],
          ["turns", "disc_wavelengths", "radials", "wire_radius_mm", "grid_radius_mm", "D_dBi", "AR_dB", "FB_dB", "R_ohm", "X_ohm"], rows)


if __name__ == "__main__":
    main(sys.argv[1])

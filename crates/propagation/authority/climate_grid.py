"""Makes the built-in climate grid and measures what it loses.

Full digital maps (PyPI itur 0.4.0, MIT, which carries the ITU-R files) are resampled to a coarser grid where
that costs little, quantised to one byte (value = lo + (hi - lo) (q/255)^power), and written one layer after
the other: rows from 90 N to 90 S, columns from 0 E eastward, the last column one step before 360 E.

Rain rate has edges (coasts under mountains) that half a degree smears. Where a land cell of its raster loses
more than 5 % and 0.5 mm/h anywhere inside, the full map's 5 x 5 points of that cell are kept as well: a bitmap
of such cells, then their blocks.

Then the grid, read back by an independent interpolation in this file, is compared with the full maps at
2000 random land points (seed below). Per layer: rms and 95 % absolute and relative error, and (a, b) such that
u^2 = a^2 + (b value)^2 fits the squared errors (least squares, both >= 0). Those figures go into
src/climate/layers.rs, and 200 of the points into tests/data/climate_points.csv.
"""
import os
import warnings

import numpy as np
from scipy.ndimage import map_coordinates, maximum_filter
from scipy.optimize import nnls

warnings.simplefilter("ignore")
import itur
from itur.models import itu453, itu836, itu837, itu839, itu840, itu1510, itu1511

HERE = os.path.dirname(os.path.abspath(__file__))
CRATE = os.path.join(HERE, "..")
DATA = os.path.join(os.path.dirname(itur.__file__), "data")
SEED = 20261125
PS = [1, 2, 3, 5, 10, 20, 50]


def load(name):
    return np.load(os.path.join(DATA, name + ".npz"))["arr_0"].astype(float)


def onto(grid, lat0, dlat, lon0, dlon, step):
    """Bilinear resampling of a full map to our raster (90 N down, 0 E eastward)."""
    lat = 90 - step * np.arange(round(180 / step) + 1)
    lon = step * np.arange(round(360 / step))
    la, lo = np.meshgrid(lat, lon, indexing="ij")
    lo = np.where((lo - lon0) > (grid.shape[1] - 1) * abs(dlon) + 1e-9, lo - 360, lo)
    return map_coordinates(grid, [(la - lat0) / dlat, (lo - lon0) / dlon], order=1, mode="nearest")


def polar_fill(a):
    """The 1.125 deg maps lack values in the southernmost row: the row before it stands in."""
    a = a.copy()
    for i in range(a.shape[0]):
        bad = np.isnan(a[i])
        if bad.any():
            a[i, bad] = a[i - 1, bad]
    return a


def smooth(a, n):
    k = np.ones(n) / n
    a = np.apply_along_axis(lambda r: np.convolve(np.pad(r, n // 2, mode="wrap"), k, "same")[n // 2:-(n // 2)], 1, a)
    return np.apply_along_axis(lambda c: np.convolve(np.pad(c, n // 2, mode="edge"), k, "same")[n // 2:-(n // 2)], 0, a)


layers = []


def add(name, doc, unit, source, step, values, power):
    lo, hi = float(values.min()), float(values.max())
    if power == 2:
        lo = 0.0
    q = np.clip(np.round(255 * ((values - lo) / (hi - lo)) ** (1 / power)), 0, 255).astype(np.uint8)
    layers.append(dict(name=name, doc=doc, unit=unit, source=source, step=step, lo=lo, hi=hi, power=power, q=q))


tag = lambda p: str(p).replace(".", "")
add("R001", "rain rate exceeded for 0.01 % of an average year", "mm/h", "P.837-7", 0.5,
    np.maximum(onto(load("837/v7_r001"), -90, 0.125, -180, 0.125, 0.5), 0), 2)
# P0 is computed by P.837-7 from monthly maps; sampled here at the raster.
la, lo = np.meshgrid(90 - 0.75 * np.arange(241), 0.75 * np.arange(480), indexing="ij")
add("P0", "probability of rain in an average year", "%", "P.837-7", 0.75,
    np.maximum(itu837.rainfall_probability(la, lo).value, 0), 2)
add("H0", "mean annual height of the 0 degC isotherm", "km", "P.839-4", 1.5, onto(load("839/v4_esa0height"), 90, -1.5, 0, 1.5, 1.5), 1)
add("NWET_50", "median wet term of surface refractivity", "N-units", "P.453-13", 0.75, onto(load("453/v13_nwet_annual_50"), -90, 0.75, -180, 0.75, 0.75), 1)
add("T_MEAN", "annual mean surface temperature", "K", "P.1510-1", 0.75, onto(load("1510/v1_t_annual"), -90, 0.75, -180, 0.75, 0.75), 1)
topo = np.maximum(load("1511/v2_topo"), 0) / 1000
add("TOPO", "height of the ground above mean sea level, averaged over a degree", "km", "P.1511-2", 1.0,
    onto(smooth(topo, 12), 90.125, -1 / 12, -180.125, 1 / 12, 1.0), 2)
# P.836 scales with height from the height of each of its own raster points, by its own topography.
la, lo = np.meshgrid(90 - 1.125 * np.arange(161), 1.125 * np.arange(320), indexing="ij")
add("NODE_HEIGHT", "height of the ground at the points of the P.836 raster", "km", "P.836-6", 1.125,
    itu836._ITU836_6().topo_alt(la, lo), 1)
native = lambda f: onto(polar_fill(load(f)), 90, -1.125, 0, 1.125, 1.125)
for p in PS:
    add(f"L_RED_{p}", f"reduced cloud liquid water exceeded for {p} % of the year", "kg/m2", "P.840-7", 1.125, np.maximum(native(f"840/v7_lred_{tag(p)}"), 0), 2)
for p in PS:
    add(f"RHO_{p}", f"surface water vapour density exceeded for {p} % of the year", "g/m3", "P.836-6", 1.125, native(f"836/v6_rho_{tag(p)}"), 2)
for p in PS:
    add(f"V_{p}", f"total water vapour content exceeded for {p} % of the year", "kg/m2", "P.836-6", 1.125, native(f"836/v6_v_{tag(p)}"), 2)
for p in PS:
    add(f"VSCH_{p}", f"scale height of water vapour, {p} % of the year", "km", "P.836-6", 1.125, native(f"836/v6_vsch_{tag(p)}"), 1)


# ---- rain rate: the full map's own points where half a degree is too coarse ----
full = np.maximum(load("837/v7_r001"), 0)[::-1, :-1]  # 90 N down, 180 W eastward, 0.125 deg
full = np.roll(full, -1440, axis=1)  # 0 E eastward
full = np.concatenate([full, full[:, :1]], axis=1)
R001 = layers[0]
FINE_ROWS, FINE_COLS = 360, 720
block = np.empty((FINE_ROWS, FINE_COLS, 5, 5))
for a in range(5):
    for b in range(5):
        block[:, :, a, b] = full[a:a + 4 * FINE_ROWS:4, b:b + 4 * FINE_COLS:4][:FINE_ROWS, :FINE_COLS]
w = np.arange(5) / 4
cell = lambda a, b, wa, wb: block[:, :, a, b][..., None, None] * (wa[:, None] * wb[None, :])
coarse = cell(0, 0, 1 - w, 1 - w) + cell(0, 4, 1 - w, w) + cell(4, 0, w, 1 - w) + cell(4, 4, w, w)
lost = np.abs(coarse - block)
rough = ((lost > 0.05 * np.maximum(block, 1e-9)) & (lost > 0.5)).any(axis=(2, 3))
# Land: any ground above sea level within the cell (a window of 9 points of P.1511's 1/12 deg).
middle_row = np.clip(np.round((90.125 - (90 - 0.5 * (np.arange(FINE_ROWS) + 0.5))) * 12).astype(int), 0, 2163)
middle_col = np.round(((0.5 * (np.arange(FINE_COLS) + 0.5) + 180) % 360 - 180 + 180.125) * 12).astype(int)
rough &= maximum_filter((topo > 0).astype(np.uint8), size=9)[np.ix_(middle_row, middle_col)] > 0
fine_q = np.clip(np.round(255 * np.sqrt(block[rough] / R001["hi"])), 0, 255).astype(np.uint8)
bitmap = np.packbits(rough, axis=1, bitorder="little")
assert bitmap.shape == (FINE_ROWS, FINE_COLS // 8)
row_start = np.concatenate([[0], np.cumsum(rough.sum(axis=1))])[:-1]
print("refined cells", rough.sum())


# ---- read back, independently of the Rust reader ----
def value(layer):
    return layer["lo"] + (layer["hi"] - layer["lo"]) * (layer["q"] / 255.0) ** layer["power"]


def corners(layer, la, lo):
    r, c = (90 - la) / layer["step"], np.mod(lo, 360) / layer["step"]
    rows, cols = layer["q"].shape
    i = np.minimum(np.floor(r).astype(int), rows - 2)
    j = np.floor(c).astype(int) % cols
    fr, fc = r - i, c - np.floor(c)
    return i, j, (j + 1) % cols, fr, fc


def bilinear(layer, la, lo, grid=None):
    v = value(layer) if grid is None else grid
    i, j, k, fr, fc = corners(layer, la, lo)
    return (1 - fr) * ((1 - fc) * v[i, j] + fc * v[i, k]) + fr * ((1 - fc) * v[i + 1, j] + fc * v[i + 1, k])


by = {l["name"]: l for l in layers}


def scaled(layer, vsch, la, lo, alt):
    """P.836-6: each corner brought to the station's height, then bilinear."""
    v, s, h = value(layer), value(vsch), value(by["NODE_HEIGHT"])
    i, j, k, fr, fc = corners(layer, la, lo)
    out = 0
    for a, wa in ((i, 1 - fr), (i + 1, fr)):
        for b, wb in ((j, 1 - fc), (k, fc)):
            out = out + wa * wb * v[a, b] * np.exp(-(alt - h[a, b]) / s[a, b])
    return out


def refined(la, lo):
    out = bilinear(by["R001"], la, lo)
    i, j, _, fr, fc = corners(by["R001"], la, lo)
    index = np.full(rough.shape, -1)
    index[rough] = np.arange(rough.sum())
    n = index[i, j]
    hit = n >= 0
    v = (fine_q[n[hit]] / 255.0) ** 2 * R001["hi"]
    r, c = 4 * fr[hit], 4 * fc[hit]
    a, b = np.minimum(r.astype(int), 3), np.minimum(c.astype(int), 3)
    r, c, k = r - a, c - b, np.arange(hit.sum())
    out[hit] = (1 - r) * ((1 - c) * v[k, a, b] + c * v[k, a, b + 1]) + r * ((1 - c) * v[k, a + 1, b] + c * v[k, a + 1, b + 1])
    return out


rng = np.random.default_rng(SEED)
la = np.degrees(np.arcsin(rng.uniform(-0.9, 0.97, 12000)))
lo = rng.uniform(-180, 180, 12000)
height = itu1511.topographic_altitude(la, lo).value.ravel()
land = (height > 0.001) & (la > -60)
la, lo, height = la[land][:2000], lo[land][:2000], height[land][:2000]
assert len(la) == 2000
col = lambda x: np.array(getattr(x, "value", x)).ravel()
truth = {
    "R001": col(itu837.rainfall_rate(la, lo, 0.01)), "P0": col(itu837.rainfall_probability(la, lo)),
    "H0": col(itu839.isoterm_0(la, lo)), "NWET_50": col(itu453.map_wet_term_radio_refractivity(la, lo, 50)),
    "T_MEAN": col(itu1510.surface_mean_temperature(la, lo)), "TOPO": height,
}
for p in PS:
    truth[f"L_RED_{p}"] = col(itu840.columnar_content_reduced_liquid(la, lo, p))
    truth[f"RHO_{p}"] = col(itu836.surface_water_vapour_density(la, lo, p, height))
    truth[f"V_{p}"] = col(itu836.total_water_vapour_content(la, lo, p, height))
grid = {}
for n in truth:
    if n.startswith(("RHO_", "V_")):
        grid[n] = scaled(by[n], by["VSCH_" + n.split("_")[-1]], la, lo, height)
    elif n == "R001":
        grid[n] = refined(la, lo)
    else:
        grid[n] = bilinear(by[n], la, lo)

stats = {}
for n, t in truth.items():
    e = grid[n] - t
    big = np.abs(t) > 0.05 * np.quantile(np.abs(t), 0.95)  # relative error where there is something
    rel = e[big] / t[big]
    ab, _ = nnls(np.column_stack([np.ones_like(t), t * t]), e * e)
    a, b = np.sqrt(ab)
    s = dict(rms=np.sqrt((e * e).mean()), p95=np.quantile(np.abs(e), 0.95), rms_rel=np.sqrt((rel * rel).mean()),
             p95_rel=np.quantile(np.abs(rel), 0.95), max_rel=np.abs(rel).max(), a=a, b=b)
    u = np.hypot(a, b * t)
    s["within2u"] = (np.abs(e) <= 2 * u).mean()
    stats[n] = s
    print(f"{n:10s} rms {s['rms']:.4g}  p95 {s['p95']:.4g}  rel rms {100*s['rms_rel']:.2f} %  rel p95 {100*s['p95_rel']:.2f} %"
          f"  rel max {100*s['max_rel']:.1f} %  a {a:.3g} b {b:.3g}  within 2u {100*s['within2u']:.1f} %")

layer_bytes = sum(l["q"].size for l in layers)
blob = b"".join(l["q"].tobytes() for l in layers) + bitmap.tobytes() + fine_q.tobytes()
print("bytes", len(blob))
os.makedirs(os.path.join(CRATE, "data"), exist_ok=True)
with open(os.path.join(CRATE, "data", "climate.bin"), "wb") as f:
    f.write(blob)

out = '''//! The layers of `data/climate.bin` and what each loses against the full map.
//!
//! Written by `authority/climate_grid.py` (itur %s, seed %d, 2000 random land points): do not edit.

use super::grid::{Layer, Loss, Refinement};

/// Percentages at which P.836 and P.840 are kept.
pub(super) const PERCENTS: [f64; %d] = [%s];

/// Bytes in `data/climate.bin`.
pub(super) const BYTES: usize = %d;
''' % (itur.__version__, SEED, len(PS), ", ".join(f"{p}.0" for p in PS), len(blob))
offset = 0


def literal(l, offset):
    s = stats.get(l["name"], dict(rms=0, p95=0, rms_rel=0, p95_rel=0, a=0, b=0))
    r, c = l["q"].shape
    g = lambda x: repr(float(f"{x:.4g}"))
    return (f"Layer {{ offset: {offset}, rows: {r}, cols: {c}, step_deg: {l['step']}, lo: {l['lo']!r}, hi: {l['hi']!r}, squared: {str(l['power'] == 2).lower()}, "
            f"loss: Loss {{ rms: {g(s['rms'])}, p95: {g(s['p95'])}, rms_relative: {g(s['rms_rel'])}, p95_relative: {g(s['p95_rel'])}, u_absolute: {g(s['a'])}, u_relative: {g(s['b'])} }} }}")


groups = {}
for l in layers:
    stem, _, p = l["name"].rpartition("_")
    if stem in ("L_RED", "RHO", "V", "VSCH"):
        groups.setdefault(stem, []).append((l, offset))
    else:
        out += f"\n/// {l['doc'][0].upper() + l['doc'][1:]}, {l['unit']} ({l['source']}).\n#[rustfmt::skip]\npub(super) const {l['name']}: Layer = {literal(l, offset)};\n"
    offset += l["q"].size
for stem, members in groups.items():
    l = members[0][0]
    doc = l["doc"].replace(f"exceeded for {PS[0]} % of the year", "exceeded for each of `PERCENTS`").replace(f", {PS[0]} % of the year", ", for each of `PERCENTS`")
    out += f"\n/// {doc[0].upper() + doc[1:]}, {l['unit']} ({l['source']}).\n#[rustfmt::skip]\npub(super) const {stem}: [Layer; {len(members)}] = [\n"
    out += "".join(f"    {literal(l, o)},\n" for l, o in members) + "];\n"
out += f"""
/// Cells of the rain-rate raster for which the full map's 5 x 5 points are kept too.
#[rustfmt::skip]
pub(super) static RAIN_DETAIL: Refinement = Refinement {{
    bitmap: {layer_bytes}, blocks: {layer_bytes + bitmap.size}, count: {int(rough.sum())}, rows: {FINE_ROWS}, cols: {FINE_COLS},
    row_start: [{", ".join(str(int(x)) for x in row_start)}],
}};
"""
with open(os.path.join(CRATE, "src", "climate", "layers.rs"), "w") as f:
    f.write(out)

names = ["R001", "P0", "H0", "NWET_50", "T_MEAN", "TOPO", "L_RED_1", "L_RED_10", "L_RED_50", "RHO_1", "RHO_50", "V_1", "V_50"]
with open(os.path.join(CRATE, "tests", "data", "climate_points.csv"), "w") as f:
    f.write("# Full digital maps at random land points (itur %s, seed %d), to measure the built-in grid; height is P.1511-2's\n" % (itur.__version__, SEED))
    f.write("# Written by authority/climate_grid.py\nlat,lon,height_km," + ",".join(names) + "\n")
    for i in range(200):
        f.write(f"{la[i]:.5f},{lo[i]:.5f},{height[i]:.6f}," + ",".join(f"{truth[n][i]:.6g}" for n in names) + "\n")

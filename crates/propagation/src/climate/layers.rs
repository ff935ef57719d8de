//! The layers of `data/climate.bin` and what each loses against the full map.
//!
//! Written by `authority/climate_grid.py` (itur 0.4.0, seed 20261125, 2000 random land points): do not edit.

use super::grid::{Layer, Loss};

/// Percentages at which P.836 and P.840 are kept.
pub(super) const PERCENTS: [f64; 7] = [1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0];

/// Bytes in `data/climate.bin`.
pub(super) const BYTES: usize = 2339480;

/// Rain rate exceeded for 0.01 % of an average year, mm/h (P.837-7).
#[rustfmt::skip]
pub(super) const R001: Layer = Layer { offset: 0, rows: 361, cols: 720, step_deg: 0.5, lo: 0.0, hi: 148.623, squared: true, loss: Loss { rms: 0.7477, p95: 1.432, rms_relative: 0.01998, p95_relative: 0.03758, u_absolute: 0.4312, u_relative: 0.01268 } };

/// Probability of rain in an average year, % (P.837-7).
#[rustfmt::skip]
pub(super) const P0: Layer = Layer { offset: 259920, rows: 361, cols: 720, step_deg: 0.5, lo: 0.0, hi: 47.76551836603435, squared: true, loss: Loss { rms: 0.2781, p95: 0.3087, rms_relative: 0.04273, p95_relative: 0.0847, u_absolute: 0.0, u_relative: 0.08204 } };

/// Mean annual height of the 0 degC isotherm, km (P.839-4).
#[rustfmt::skip]
pub(super) const H0: Layer = Layer { offset: 519840, rows: 121, cols: 240, step_deg: 1.5, lo: 0.006, hi: 6.281, squared: false, loss: Loss { rms: 0.004656, p95: 0.008877, rms_relative: 0.001557, p95_relative: 0.002861, u_absolute: 0.004656, u_relative: 0.0 } };

/// Median wet term of surface refractivity, N-units (P.453-13).
#[rustfmt::skip]
pub(super) const NWET_50: Layer = Layer { offset: 548880, rows: 241, cols: 480, step_deg: 0.75, lo: 0.483, hi: 138.04, squared: false, loss: Loss { rms: 0.1042, p95: 0.1961, rms_relative: 0.00368, p95_relative: 0.007715, u_absolute: 0.1038, u_relative: 0.0001469 } };

/// Annual mean surface temperature, K (P.1510-1).
#[rustfmt::skip]
pub(super) const T_MEAN: Layer = Layer { offset: 664560, rows: 241, cols: 480, step_deg: 0.75, lo: 220.477, hi: 304.509, squared: false, loss: Loss { rms: 0.06325, p95: 0.117, rms_relative: 0.0002209, p95_relative: 0.0004053, u_absolute: 0.06325, u_relative: 0.0 } };

/// Height of the ground above mean sea level, averaged over a degree, km (P.1511-2).
#[rustfmt::skip]
pub(super) const TOPO: Layer = Layer { offset: 780240, rows: 181, cols: 360, step_deg: 1.0, lo: 0.0, hi: 5.473069444444444, squared: true, loss: Loss { rms: 0.1939, p95: 0.4292, rms_relative: 0.3384, p95_relative: 0.6699, u_absolute: 0.1441, u_relative: 0.1251 } };

/// Height of the ground at the points of the P.836 raster, km (P.836-6).
#[rustfmt::skip]
pub(super) const NODE_HEIGHT: Layer = Layer { offset: 845400, rows: 161, cols: 320, step_deg: 1.125, lo: -0.17142022705078125, hi: 5.86613409423828, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } };

/// Reduced cloud liquid water exceeded for each of `PERCENTS`, kg/m2 (P.840-7).
#[rustfmt::skip]
pub(super) const L_RED: [Layer; 7] = [
    Layer { offset: 896920, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 4.5681391, squared: true, loss: Loss { rms: 0.004072, p95: 0.008088, rms_relative: 0.003135, p95_relative: 0.00634, u_absolute: 0.002784, u_relative: 0.001479 } },
    Layer { offset: 948440, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 4.3133078, squared: true, loss: Loss { rms: 0.003767, p95: 0.00784, rms_relative: 0.003542, p95_relative: 0.0071, u_absolute: 0.002461, u_relative: 0.001634 } },
    Layer { offset: 999960, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 4.1728621, squared: true, loss: Loss { rms: 0.003326, p95: 0.007048, rms_relative: 0.003659, p95_relative: 0.007461, u_absolute: 0.002208, u_relative: 0.00159 } },
    Layer { offset: 1051480, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 3.9797497, squared: true, loss: Loss { rms: 0.002933, p95: 0.006069, rms_relative: 0.004017, p95_relative: 0.007847, u_absolute: 0.002085, u_relative: 0.00158 } },
    Layer { offset: 1103000, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 3.5871735, squared: true, loss: Loss { rms: 0.002137, p95: 0.004425, rms_relative: 0.004811, p95_relative: 0.0101, u_absolute: 0.001446, u_relative: 0.001733 } },
    Layer { offset: 1154520, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 3.034894, squared: true, loss: Loss { rms: 0.001391, p95: 0.002965, rms_relative: 0.006559, p95_relative: 0.01343, u_absolute: 0.0009172, u_relative: 0.002168 } },
    Layer { offset: 1206040, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 1.7341284, squared: true, loss: Loss { rms: 0.0003145, p95: 0.0006527, rms_relative: 0.01302, p95_relative: 0.02691, u_absolute: 0.0002593, u_relative: 0.001966 } },
];

/// Surface water vapour density exceeded for each of `PERCENTS`, g/m3 (P.836-6).
#[rustfmt::skip]
pub(super) const RHO: [Layer; 7] = [
    Layer { offset: 1257560, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 31.837124, squared: true, loss: Loss { rms: 0.04066, p95: 0.07963, rms_relative: 0.002533, p95_relative: 0.004871, u_absolute: 0.01927, u_relative: 0.002085 } },
    Layer { offset: 1309080, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 31.110444, squared: true, loss: Loss { rms: 0.03941, p95: 0.07799, rms_relative: 0.002565, p95_relative: 0.0048, u_absolute: 0.01909, u_relative: 0.002083 } },
    Layer { offset: 1360600, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 30.64902, squared: true, loss: Loss { rms: 0.04055, p95: 0.08108, rms_relative: 0.002644, p95_relative: 0.005144, u_absolute: 0.01599, u_relative: 0.002307 } },
    Layer { offset: 1412120, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 29.891888, squared: true, loss: Loss { rms: 0.039, p95: 0.07671, rms_relative: 0.002731, p95_relative: 0.005229, u_absolute: 0.01814, u_relative: 0.002214 } },
    Layer { offset: 1463640, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 28.655065, squared: true, loss: Loss { rms: 0.03838, p95: 0.07854, rms_relative: 0.002881, p95_relative: 0.005605, u_absolute: 0.01691, u_relative: 0.002345 } },
    Layer { offset: 1515160, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 26.611904, squared: true, loss: Loss { rms: 0.03646, p95: 0.07563, rms_relative: 0.003096, p95_relative: 0.006057, u_absolute: 0.01583, u_relative: 0.002437 } },
    Layer { offset: 1566680, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 24.808964, squared: true, loss: Loss { rms: 0.03205, p95: 0.06843, rms_relative: 0.003907, p95_relative: 0.007704, u_absolute: 0.01696, u_relative: 0.002531 } },
];

/// Total water vapour content exceeded for each of `PERCENTS`, kg/m2 (P.836-6).
#[rustfmt::skip]
pub(super) const V: [Layer; 7] = [
    Layer { offset: 1618200, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 76.189818, squared: true, loss: Loss { rms: 0.1026, p95: 0.207, rms_relative: 0.002472, p95_relative: 0.004639, u_absolute: 0.04018, u_relative: 0.00215 } },
    Layer { offset: 1669720, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 73.978906, squared: true, loss: Loss { rms: 0.09961, p95: 0.2019, rms_relative: 0.002603, p95_relative: 0.00515, u_absolute: 0.05056, u_relative: 0.002041 } },
    Layer { offset: 1721240, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 72.616295, squared: true, loss: Loss { rms: 0.09892, p95: 0.2022, rms_relative: 0.002622, p95_relative: 0.004995, u_absolute: 0.02708, u_relative: 0.002331 } },
    Layer { offset: 1772760, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 70.94977, squared: true, loss: Loss { rms: 0.09758, p95: 0.1946, rms_relative: 0.002807, p95_relative: 0.005459, u_absolute: 0.04965, u_relative: 0.00215 } },
    Layer { offset: 1824280, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 69.144734, squared: true, loss: Loss { rms: 0.09391, p95: 0.1966, rms_relative: 0.00285, p95_relative: 0.005421, u_absolute: 0.04403, u_relative: 0.002287 } },
    Layer { offset: 1875800, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 66.681506, squared: true, loss: Loss { rms: 0.08684, p95: 0.1798, rms_relative: 0.00318, p95_relative: 0.006253, u_absolute: 0.04732, u_relative: 0.002234 } },
    Layer { offset: 1927320, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 62.018041, squared: true, loss: Loss { rms: 0.07324, p95: 0.1601, rms_relative: 0.003926, p95_relative: 0.007916, u_absolute: 0.03942, u_relative: 0.00249 } },
];

/// Scale height of water vapour, for each of `PERCENTS`, km (P.836-6).
#[rustfmt::skip]
pub(super) const VSCH: [Layer; 7] = [
    Layer { offset: 1978840, rows: 161, cols: 320, step_deg: 1.125, lo: 2.0014658, hi: 9.9053516, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 2030360, rows: 161, cols: 320, step_deg: 1.125, lo: 1.869513, hi: 9.7888365, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 2081880, rows: 161, cols: 320, step_deg: 1.125, lo: 1.7864074, hi: 9.6753426, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 2133400, rows: 161, cols: 320, step_deg: 1.125, lo: 1.6565938, hi: 9.451335, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 2184920, rows: 161, cols: 320, step_deg: 1.125, lo: 1.4594047, hi: 8.879921, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 2236440, rows: 161, cols: 320, step_deg: 1.125, lo: 1.2474035, hi: 7.8039989, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 2287960, rows: 161, cols: 320, step_deg: 1.125, lo: 0.9044466, hi: 4.7764163, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
];

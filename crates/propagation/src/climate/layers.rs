//! The layers of `data/climate.bin` and what each loses against the full map.
//!
//! Written by `authority/climate_grid.py` (itur 0.4.0, seed 20261125, 2000 random land points): do not edit.

use super::grid::{Layer, Loss, Refinement};

/// Percentages at which P.836 and P.840 are kept.
pub(super) const PERCENTS: [f64; 7] = [1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0];

/// Bytes in `data/climate.bin`.
pub(super) const BYTES: usize = 2439215;

/// Rain rate exceeded for 0.01 % of an average year, mm/h (P.837-7).
#[rustfmt::skip]
pub(super) const R001: Layer = Layer { offset: 0, rows: 361, cols: 720, step_deg: 0.5, lo: 0.0, hi: 148.623, squared: true, loss: Loss { rms: 0.4736, p95: 0.9758, rms_relative: 0.01033, p95_relative: 0.02347, u_absolute: 0.1508, u_relative: 0.009316 } };

/// Probability of rain in an average year, % (P.837-7).
#[rustfmt::skip]
pub(super) const P0: Layer = Layer { offset: 259920, rows: 241, cols: 480, step_deg: 0.75, lo: 0.0, hi: 46.7274621840635, squared: true, loss: Loss { rms: 0.3532, p95: 0.5293, rms_relative: 0.07475, p95_relative: 0.1375, u_absolute: 0.0, u_relative: 0.09263 } };

/// Mean annual height of the 0 degC isotherm, km (P.839-4).
#[rustfmt::skip]
pub(super) const H0: Layer = Layer { offset: 375600, rows: 121, cols: 240, step_deg: 1.5, lo: 0.006, hi: 6.281, squared: false, loss: Loss { rms: 0.004656, p95: 0.008877, rms_relative: 0.001557, p95_relative: 0.002861, u_absolute: 0.004656, u_relative: 0.0 } };

/// Median wet term of surface refractivity, N-units (P.453-13).
#[rustfmt::skip]
pub(super) const NWET_50: Layer = Layer { offset: 404640, rows: 241, cols: 480, step_deg: 0.75, lo: 0.483, hi: 138.04, squared: false, loss: Loss { rms: 0.1042, p95: 0.1961, rms_relative: 0.00368, p95_relative: 0.007715, u_absolute: 0.1038, u_relative: 0.0001469 } };

/// Annual mean surface temperature, K (P.1510-1).
#[rustfmt::skip]
pub(super) const T_MEAN: Layer = Layer { offset: 520320, rows: 241, cols: 480, step_deg: 0.75, lo: 220.477, hi: 304.509, squared: false, loss: Loss { rms: 0.06325, p95: 0.117, rms_relative: 0.0002209, p95_relative: 0.0004053, u_absolute: 0.06325, u_relative: 0.0 } };

/// Height of the ground above mean sea level, averaged over a degree, km (P.1511-2).
#[rustfmt::skip]
pub(super) const TOPO: Layer = Layer { offset: 636000, rows: 181, cols: 360, step_deg: 1.0, lo: 0.0, hi: 5.473069444444444, squared: true, loss: Loss { rms: 0.1939, p95: 0.4292, rms_relative: 0.3384, p95_relative: 0.6699, u_absolute: 0.1441, u_relative: 0.1251 } };

/// Height of the ground at the points of the P.836 raster, km (P.836-6).
#[rustfmt::skip]
pub(super) const NODE_HEIGHT: Layer = Layer { offset: 701160, rows: 161, cols: 320, step_deg: 1.125, lo: -0.17142022705078125, hi: 5.86613409423828, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } };

/// Reduced cloud liquid water exceeded for each of `PERCENTS`, kg/m2 (P.840-7).
#[rustfmt::skip]
pub(super) const L_RED: [Layer; 7] = [
    Layer { offset: 752680, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 4.5681391, squared: true, loss: Loss { rms: 0.004072, p95: 0.008088, rms_relative: 0.003135, p95_relative: 0.00634, u_absolute: 0.002784, u_relative: 0.001479 } },
    Layer { offset: 804200, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 4.3133078, squared: true, loss: Loss { rms: 0.003767, p95: 0.00784, rms_relative: 0.003542, p95_relative: 0.0071, u_absolute: 0.002461, u_relative: 0.001634 } },
    Layer { offset: 855720, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 4.1728621, squared: true, loss: Loss { rms: 0.003326, p95: 0.007048, rms_relative: 0.003659, p95_relative: 0.007461, u_absolute: 0.002208, u_relative: 0.00159 } },
    Layer { offset: 907240, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 3.9797497, squared: true, loss: Loss { rms: 0.002933, p95: 0.006069, rms_relative: 0.004017, p95_relative: 0.007847, u_absolute: 0.002085, u_relative: 0.00158 } },
    Layer { offset: 958760, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 3.5871735, squared: true, loss: Loss { rms: 0.002137, p95: 0.004425, rms_relative: 0.004811, p95_relative: 0.0101, u_absolute: 0.001446, u_relative: 0.001733 } },
    Layer { offset: 1010280, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 3.034894, squared: true, loss: Loss { rms: 0.001391, p95: 0.002965, rms_relative: 0.006559, p95_relative: 0.01343, u_absolute: 0.0009172, u_relative: 0.002168 } },
    Layer { offset: 1061800, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 1.7341284, squared: true, loss: Loss { rms: 0.0003145, p95: 0.0006527, rms_relative: 0.01302, p95_relative: 0.02691, u_absolute: 0.0002593, u_relative: 0.001966 } },
];

/// Surface water vapour density exceeded for each of `PERCENTS`, g/m3 (P.836-6).
#[rustfmt::skip]
pub(super) const RHO: [Layer; 7] = [
    Layer { offset: 1113320, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 31.837124, squared: true, loss: Loss { rms: 0.04066, p95: 0.07963, rms_relative: 0.002533, p95_relative: 0.004871, u_absolute: 0.01927, u_relative: 0.002085 } },
    Layer { offset: 1164840, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 31.110444, squared: true, loss: Loss { rms: 0.03941, p95: 0.07799, rms_relative: 0.002565, p95_relative: 0.0048, u_absolute: 0.01909, u_relative: 0.002083 } },
    Layer { offset: 1216360, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 30.64902, squared: true, loss: Loss { rms: 0.04055, p95: 0.08108, rms_relative: 0.002644, p95_relative: 0.005144, u_absolute: 0.01599, u_relative: 0.002307 } },
    Layer { offset: 1267880, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 29.891888, squared: true, loss: Loss { rms: 0.039, p95: 0.07671, rms_relative: 0.002731, p95_relative: 0.005229, u_absolute: 0.01814, u_relative: 0.002214 } },
    Layer { offset: 1319400, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 28.655065, squared: true, loss: Loss { rms: 0.03838, p95: 0.07854, rms_relative: 0.002881, p95_relative: 0.005605, u_absolute: 0.01691, u_relative: 0.002345 } },
    Layer { offset: 1370920, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 26.611904, squared: true, loss: Loss { rms: 0.03646, p95: 0.07563, rms_relative: 0.003096, p95_relative: 0.006057, u_absolute: 0.01583, u_relative: 0.002437 } },
    Layer { offset: 1422440, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 24.808964, squared: true, loss: Loss { rms: 0.03205, p95: 0.06843, rms_relative: 0.003907, p95_relative: 0.007704, u_absolute: 0.01696, u_relative: 0.002531 } },
];

/// Total water vapour content exceeded for each of `PERCENTS`, kg/m2 (P.836-6).
#[rustfmt::skip]
pub(super) const V: [Layer; 7] = [
    Layer { offset: 1473960, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 76.189818, squared: true, loss: Loss { rms: 0.1026, p95: 0.207, rms_relative: 0.002472, p95_relative: 0.004639, u_absolute: 0.04018, u_relative: 0.00215 } },
    Layer { offset: 1525480, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 73.978906, squared: true, loss: Loss { rms: 0.09961, p95: 0.2019, rms_relative: 0.002603, p95_relative: 0.00515, u_absolute: 0.05056, u_relative: 0.002041 } },
    Layer { offset: 1577000, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 72.616295, squared: true, loss: Loss { rms: 0.09892, p95: 0.2022, rms_relative: 0.002622, p95_relative: 0.004995, u_absolute: 0.02708, u_relative: 0.002331 } },
    Layer { offset: 1628520, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 70.94977, squared: true, loss: Loss { rms: 0.09758, p95: 0.1946, rms_relative: 0.002807, p95_relative: 0.005459, u_absolute: 0.04965, u_relative: 0.00215 } },
    Layer { offset: 1680040, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 69.144734, squared: true, loss: Loss { rms: 0.09391, p95: 0.1966, rms_relative: 0.00285, p95_relative: 0.005421, u_absolute: 0.04403, u_relative: 0.002287 } },
    Layer { offset: 1731560, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 66.681506, squared: true, loss: Loss { rms: 0.08684, p95: 0.1798, rms_relative: 0.00318, p95_relative: 0.006253, u_absolute: 0.04732, u_relative: 0.002234 } },
    Layer { offset: 1783080, rows: 161, cols: 320, step_deg: 1.125, lo: 0.0, hi: 62.018041, squared: true, loss: Loss { rms: 0.07324, p95: 0.1601, rms_relative: 0.003926, p95_relative: 0.007916, u_absolute: 0.03942, u_relative: 0.00249 } },
];

/// Scale height of water vapour, for each of `PERCENTS`, km (P.836-6).
#[rustfmt::skip]
pub(super) const VSCH: [Layer; 7] = [
    Layer { offset: 1834600, rows: 161, cols: 320, step_deg: 1.125, lo: 2.0014658, hi: 9.9053516, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 1886120, rows: 161, cols: 320, step_deg: 1.125, lo: 1.869513, hi: 9.7888365, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 1937640, rows: 161, cols: 320, step_deg: 1.125, lo: 1.7864074, hi: 9.6753426, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 1989160, rows: 161, cols: 320, step_deg: 1.125, lo: 1.6565938, hi: 9.451335, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 2040680, rows: 161, cols: 320, step_deg: 1.125, lo: 1.4594047, hi: 8.879921, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 2092200, rows: 161, cols: 320, step_deg: 1.125, lo: 1.2474035, hi: 7.8039989, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
    Layer { offset: 2143720, rows: 161, cols: 320, step_deg: 1.125, lo: 0.9044466, hi: 4.7764163, squared: false, loss: Loss { rms: 0.0, p95: 0.0, rms_relative: 0.0, p95_relative: 0.0, u_absolute: 0.0, u_relative: 0.0 } },
];

/// Cells of the rain-rate raster for which the full map's 5 x 5 points are kept too.
#[rustfmt::skip]
pub(super) static RAIN_DETAIL: Refinement = Refinement {
    bitmap: 2195240, blocks: 2227640, count: 8463, rows: 360, cols: 720,
    row_start: [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 5, 13, 22, 46, 64, 91, 119, 144, 165, 182, 213, 246, 274, 314, 365, 390, 426, 451, 479, 505, 520, 531, 535, 556, 570, 590, 611, 624, 636, 651, 667, 683, 696, 712, 722, 740, 760, 766, 773, 779, 787, 807, 833, 869, 896, 919, 944, 964, 977, 987, 1006, 1023, 1039, 1051, 1064, 1069, 1076, 1091, 1095, 1109, 1127, 1149, 1161, 1186, 1206, 1223, 1243, 1264, 1284, 1300, 1325, 1350, 1366, 1391, 1429, 1465, 1507, 1541, 1594, 1649, 1735, 1822, 1873, 1936, 1993, 2066, 2136, 2196, 2248, 2315, 2372, 2436, 2527, 2601, 2681, 2761, 2830, 2910, 2963, 3026, 3094, 3165, 3231, 3312, 3397, 3479, 3547, 3611, 3699, 3782, 3848, 3886, 3932, 3979, 4024, 4073, 4125, 4159, 4195, 4238, 4291, 4346, 4397, 4455, 4514, 4568, 4641, 4716, 4805, 4886, 4983, 5074, 5143, 5196, 5249, 5322, 5379, 5418, 5449, 5482, 5522, 5559, 5601, 5652, 5705, 5755, 5785, 5813, 5835, 5856, 5883, 5909, 5937, 5964, 5999, 6036, 6063, 6088, 6109, 6136, 6161, 6184, 6208, 6232, 6258, 6289, 6319, 6349, 6382, 6414, 6436, 6467, 6488, 6519, 6540, 6561, 6590, 6621, 6642, 6672, 6711, 6749, 6777, 6810, 6847, 6879, 6908, 6934, 6955, 6980, 7002, 7023, 7050, 7078, 7109, 7124, 7143, 7168, 7197, 7224, 7258, 7288, 7311, 7343, 7367, 7392, 7420, 7456, 7480, 7508, 7540, 7569, 7605, 7629, 7655, 7672, 7691, 7714, 7735, 7753, 7774, 7796, 7821, 7844, 7865, 7877, 7895, 7913, 7930, 7949, 7963, 7981, 8013, 8033, 8058, 8071, 8087, 8092, 8100, 8109, 8128, 8144, 8152, 8167, 8182, 8196, 8209, 8224, 8237, 8249, 8259, 8271, 8282, 8293, 8304, 8316, 8326, 8331, 8342, 8354, 8356, 8357, 8359, 8363, 8372, 8379, 8384, 8389, 8394, 8400, 8405, 8412, 8417, 8423, 8428, 8438, 8446, 8447, 8449, 8451, 8453, 8455, 8456, 8458, 8461, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463, 8463],
};

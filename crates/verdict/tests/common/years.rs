//! A station over years, simulated without the watch's model: seasons, showers that the gauge misses now and then, clouds,
//! a satellite whose signals wander apart, heavy tails, gaps.

use slantpath_verdict::health::separate::Sight;

#[path = "dice.rs"]
mod dice;
pub use dice::Dice;

impl Dice {
    /// Student's t with four degrees of freedom.
    pub fn rough(&mut self, scale: f64) -> f64 {
        let chi2: f64 = (0..4).map(|_| self.normal(1.0).powi(2)).sum();
        self.normal(scale) / (chi2 / 4.0).sqrt()
    }
}

/// What happens to the station.
#[derive(Debug, Clone, Copy)]
pub struct Story {
    /// Day of a step, and its size in dB.
    pub step: Option<(f64, f64)>,
    /// Loss a year, dB.
    pub ageing: f64,
    /// Day of a step of the first beacon alone, and its size.
    pub beacon: Option<(f64, f64)>,
}

impl Story {
    pub const QUIET: Self = Self {
        step: None,
        ageing: 0.0,
        beacon: None,
    };
}

/// Sights, and what the weather station logged of each day: noon's temperature and whether it rained.
pub struct Years {
    pub sights: Vec<Sight>,
    pub kelvin: Vec<f64>,
    pub wet: Vec<f64>,
}

/// Sights of `days` days, two a day, of two beacons and the satellite's noise; what the gauge called rain is left out, as
/// the watch leaves it out.
pub fn years(seed: u64, days: u32, story: Story) -> Years {
    let mut d = Dice(seed.wrapping_mul(7919).wrapping_add(17));
    let phase = d.uniform(0.0, std::f64::consts::TAU);
    let per_k = d.uniform(0.004, 0.012);
    let season_k = d.uniform(5.0, 11.0);
    let (gap_at, gap) = (d.uniform(30.0, f64::from(days)), d.uniform(3.0, 14.0));
    let mut warm = 0.0;
    let mut alone = [0.0f64; 3];
    let mut shared = 0.0;
    let mut wet = false;
    let mut out = Years {
        sights: Vec::new(),
        kelvin: Vec::new(),
        wet: Vec::new(),
    };
    for day in 0..days {
        wet = d.uniform(0.0, 1.0) < if wet { 0.6 } else { 0.25 };
        warm = 0.75 * warm + d.normal(2.2);
        let middle = f64::from(day) + 0.5;
        let year = (std::f64::consts::TAU * middle / 365.25 + phase).sin();
        out.kelvin.push(season_k * year + warm + d.normal(0.7));
        // Now and then a shower passes the gauge by, or only the gauge is hit.
        out.wet
            .push(f64::from(u8::from(wet ^ (d.uniform(0.0, 1.0) < 0.1))));
        shared = 0.8 * shared + d.normal(0.02);
        for (k, a) in alone.iter_mut().enumerate() {
            *a = 0.7 * *a + d.normal([0.05, 0.06, 0.04][k]);
        }
        for half in [0.3, 0.8] {
            let t = f64::from(day) + half;
            if d.uniform(0.0, 1.0) < 0.04 || (t > gap_at && t < gap_at + gap) {
                continue;
            }
            let raining = wet && d.uniform(0.0, 1.0) < 0.2;
            let rain = if raining {
                d.normal(0.9).exp() * 0.5
            } else {
                0.0
            };
            // The gauge is beside the dish, not on the path.
            if raining && d.uniform(0.0, 1.0) < 0.85 {
                continue;
            }
            let cloud = if wet { d.uniform(0.0, 0.12) } else { 0.0 };
            let year = (std::f64::consts::TAU * t / 365.25 + phase).sin();
            let kelvin = season_k * year + warm + if half > 0.5 { 2.0 } else { -2.0 };
            let mut g = shared - per_k * kelvin - 2.6 * (rain + cloud) - story.ageing * t / 365.25;
            if let Some((at, size)) = story.step {
                g += if t >= at { size } else { 0.0 };
            }
            let values = (0..3)
                .map(|k| {
                    let mut v = [51.0, 50.2, -1.3][k] + g + alone[k] + d.rough(0.035);
                    if let (0, Some((at, size))) = (k, story.beacon) {
                        v += if t >= at { size } else { 0.0 };
                    }
                    Some((v, 0.04))
                })
                .collect();
            out.sights.push(Sight { t, values });
        }
    }
    out
}

//! Random numbers of the simulators: none of the program's own.

/// SplitMix64 (Steele, Lea, Flood 2014).
pub struct Dice(pub u64);

impl Dice {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    pub fn uniform(&mut self, lo: f64, hi: f64) -> f64 {
        lo + (hi - lo) * ((self.next() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }
    pub fn normal(&mut self, sd: f64) -> f64 {
        let r = (-2.0 * self.uniform(0.0, 1.0).ln()).sqrt();
        sd * r * (std::f64::consts::TAU * self.uniform(0.0, 1.0)).cos()
    }
}

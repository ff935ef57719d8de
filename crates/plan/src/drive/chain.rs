//! The transmit chain as one map of the complex envelope.

use crate::error::{PlanError, Result};
use num_complex::Complex64;
use slantpath_chain::amplifier::Curve;
use slantpath_chain::level::TransmitStage;
use slantpath_quantity::{Power, Validity, amplitude_from_db};

/// Points of the tabulated map. Linear interpolation of the complex gain between them errs by less than 1e-6.
const GRID: usize = 8192;

/// Parts from the transmitter's output to the feed, and which of them is the power amplifier.
#[derive(Debug, Clone, PartialEq)]
pub struct Chain {
    stages: Vec<TransmitStage>,
    amplifier: usize,
}

impl Chain {
    /// From parts in order; the power amplifier is the last that is no straight gain, else the last with gain.
    ///
    /// # Errors
    /// No amplifier in the chain.
    pub fn new(stages: Vec<TransmitStage>) -> Result<Self> {
        let bent = stages
            .iter()
            .rposition(|s| !matches!(s.curve, Curve::Linear(_)));
        let gain = || stages.iter().rposition(|s| s.curve.gain_db() > 0.0);
        let amplifier = bent.or_else(gain).ok_or_else(|| PlanError::Missing {
            what: "an amplifier in the transmit chain".into(),
            remedy: "describe the power amplifier with its `p1db` or a measured `am_am` table"
                .into(),
        })?;
        Ok(Self { stages, amplifier })
    }
    /// The parts.
    pub fn stages(&self) -> &[TransmitStage] {
        &self.stages
    }
    /// The power amplifier.
    pub fn amplifier(&self) -> &TransmitStage {
        &self.stages[self.amplifier]
    }
    /// Place of the power amplifier among the parts.
    pub fn amplifier_index(&self) -> usize {
        self.amplifier
    }
    /// The same chain with another curve of the power amplifier (a measured table, a fitted ramp).
    pub fn with_amplifier(mut self, curve: Curve) -> Self {
        self.stages[self.amplifier].curve = curve;
        self
    }
    /// Gain from the transmitter to the amplifier's output for small signals, dB.
    pub fn small_gain_db(&self) -> f64 {
        self.stages
            .iter()
            .take(self.amplifier + 1)
            .map(|s| s.curve.gain_db())
            .sum()
    }
    /// Loss from the amplifier's output to the feed, dB (what stands there does not compress).
    pub fn loss_to_feed_db(&self) -> f64 {
        -self
            .stages
            .iter()
            .skip(self.amplifier + 1)
            .map(|s| s.curve.gain_db())
            .sum::<f64>()
    }
    /// One sample, root watt, to the amplifier's output.
    fn apply(&self, z: Complex64) -> Complex64 {
        self.stages
            .iter()
            .take(self.amplifier + 1)
            .fold(z, |z, s| s.curve.apply(z))
    }
    /// Whether every part's curve reaches up to a peak input of the chain, dBm.
    pub fn validity(&self, peak_dbm: f64) -> Validity {
        let mut level = peak_dbm;
        let mut v = Validity::Inside;
        for s in self.stages.iter().take(self.amplifier + 1) {
            let Ok((out, inside)) = s.curve.output_dbm(level) else {
                return v.and(Validity::outside(format!("{}: level not finite", s.label)));
            };
            if !inside.is_inside() {
                v = v.and(Validity::outside(format!(
                    "{}: its peaks reach {level:.1} dBm, its curve ends at {:.1} dBm and is held there",
                    s.label,
                    s.curve.max_input_dbm()
                )));
            }
            level = out;
        }
        v
    }
    /// Samples of mean power one, driven with `drive_dbm` mean, to the amplifier's output in root watt.
    pub fn run(&self, samples: &[Complex64], drive_dbm: f64) -> Vec<Complex64> {
        let scale = Power::dbm(drive_dbm).as_w().sqrt();
        let top = samples
            .iter()
            .fold(0.0f64, |m, z| m.max(z.norm_sqr()))
            .sqrt()
            * scale;
        if top == 0.0 || samples.len() < 4 * GRID {
            return samples.iter().map(|z| self.apply(z * scale)).collect();
        }
        // Without memory the chain is a complex gain that depends on the amplitude alone.
        let step = top / (GRID - 1) as f64;
        let mut gain: Vec<Complex64> = (0..=GRID)
            .map(|k| {
                let r = (k as f64).max(1e-3) * step;
                self.apply(Complex64::new(r, 0.0)) / r
            })
            .collect();
        gain.push(gain[GRID]);
        samples
            .iter()
            .map(|z| {
                let z = z * scale;
                let x = z.norm() / step;
                let k = (x as usize).min(GRID - 1);
                let t = x - k as f64;
                z * (gain[k] * (1.0 - t) + gain[k + 1] * t)
            })
            .collect()
    }
    /// Amplitude gain of the straight chain.
    pub(crate) fn small_gain(&self) -> f64 {
        amplitude_from_db(self.small_gain_db())
    }
}

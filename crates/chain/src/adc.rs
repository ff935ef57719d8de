//! Quantisation and clipping of a receiver's converter.
//!
//! 0 dBFS is the tone that just reaches full scale: each rail (I or Q, or the one of a real converter) then has
//! the full-scale amplitude. A complex level in dBFS of noise with standard deviation `sigma` per rail, full scale
//! 1, is `10 log10(2 sigma^2)`.
//!
//! Quantisation is the uniform additive noise of Widrow (`LSB^2/12` per rail), which holds for Gaussian noise of
//! half an LSB rms or more (Widrow and Kollar, Quantization Noise, 2008; range from memory). Below that levels
//! stick and the figure is marked as outside.

use crate::error::{ChainError, Result, finite, fraction, positive};
use crate::noise::{Linear, Stage};
use slantpath_quantity::constants::BOLTZMANN;
use slantpath_quantity::{
    ContributorId, Frequency, Power, Validity, decibel::relative_to_db, from_db, to_db,
};

/// A converter.
#[derive(Debug, Clone, PartialEq)]
pub struct Adc {
    /// What a person calls it.
    pub name: String,
    /// Bits of the word.
    pub bits: u32,
    /// Effective bits, at most `bits`; they set the noise, the word sets the LSB.
    pub effective_bits: f64,
    /// Power at the receiver's input of the tone that reaches full scale, at the present gain, dBm.
    pub full_scale_dbm: f64,
}

/// Gain change, relative to now, between which a converter neither adds too much noise nor clips too often.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GainWindow {
    /// Lowest gain change: quantisation raises the noise just by the limit, dB.
    pub lo_db: f64,
    /// Highest gain change: clips just as often as the limit allows, dB.
    pub hi_db: f64,
}

impl Adc {
    /// A converter with ideal effective bits.
    ///
    /// # Errors
    /// Bits outside 1..=32 or a full scale that is not finite.
    pub fn new(name: impl Into<String>, bits: u32, full_scale_dbm: f64) -> Result<Self> {
        let name = name.into();
        if !(1..=32).contains(&bits) {
            return Err(ChainError::Impossible {
                part: name,
                symbol: "bits",
                value: f64::from(bits),
                must: "1 to 32",
            });
        }
        finite(&name, "full_scale_dbm", full_scale_dbm)?;
        Ok(Self {
            name,
            bits,
            effective_bits: f64::from(bits),
            full_scale_dbm,
        })
    }
    /// With effective bits below the word's.
    ///
    /// # Errors
    /// Not above zero or more than the word has.
    pub fn with_effective_bits(mut self, bits: f64) -> Result<Self> {
        positive(&self.name, "effective_bits", bits)?;
        if bits > f64::from(self.bits) {
            return Err(ChainError::Impossible {
                part: self.name,
                symbol: "effective_bits",
                value: bits,
                must: "at most the bits of the word",
            });
        }
        self.effective_bits = bits;
        Ok(self)
    }
    /// Level in dBFS of a power at the input, dBm.
    pub fn dbfs(&self, dbm: f64) -> f64 {
        dbm - self.full_scale_dbm
    }
    /// Total quantisation noise, dBFS: `-(6.02 b + 1.76)` with the effective bits.
    pub fn quantisation_dbfs(&self) -> f64 {
        to_db(2.0 / 3.0) - to_db(4.0) * self.effective_bits
    }
    /// Noise per rail in LSB rms of a total noise level in dBFS.
    pub fn lsb_rms(&self, noise_dbfs: f64) -> f64 {
        (from_db(noise_dbfs) / 2.0).sqrt() * 2f64.powi(self.bits as i32 - 1)
    }
    /// How far quantisation raises a noise floor of `noise_dbfs` (in the whole sampled bandwidth), dB.
    pub fn noise_rise_db(&self, noise_dbfs: f64) -> (f64, Validity) {
        let rise = relative_to_db(from_db(self.quantisation_dbfs() - noise_dbfs));
        let v = Validity::check(
            "uniform quantisation noise",
            "noise",
            self.lsb_rms(noise_dbfs),
            0.5..=f64::INFINITY,
            "LSB rms",
        );
        (rise, v)
    }
    /// Quantisation noise, spread over the sampled bandwidth (the sample rate for complex samples, half of it for real
    /// ones), as a noise temperature at the receiver's input, K.
    ///
    /// # Errors
    /// Bandwidth not above zero.
    pub fn noise_k(&self, sampled: Frequency) -> Result<f64> {
        let b_hz = positive(&self.name, "sampled_hz", sampled.as_hz())?;
        let w = Power::dbm(self.full_scale_dbm + self.quantisation_dbfs()).as_w();
        Ok(w / (BOLTZMANN * b_hz))
    }
    /// The converter as a stage of unit gain with the noise of [`Adc::noise_k`].
    ///
    /// # Errors
    /// Bandwidth not above zero.
    pub fn stage(&self, id: impl Into<String>, sampled: Frequency) -> Result<Stage> {
        Ok(Stage {
            id: ContributorId::new(id),
            label: format!("{}: quantisation", self.name),
            linear: Linear {
                gain: 1.0,
                te_k: self.noise_k(sampled)?,
            },
        })
    }
    /// The gain changes between which the noise rises by at most `max_rise_db` and a rail clips with at most
    /// probability `max_clip` per sample. Levels in dBm at the present gain.
    ///
    /// # Errors
    /// No such gain: then too many bits are needed, and the remedy is a filter or more bits. Limits out of range.
    pub fn gain_window(
        &self,
        noise_dbm: f64,
        carriers_dbm: &[f64],
        max_rise_db: f64,
        max_clip: f64,
    ) -> Result<GainWindow> {
        positive(&self.name, "max_rise_db", max_rise_db)?;
        fraction(&self.name, "max_clip", max_clip)?;
        positive(&self.name, "max_clip", max_clip)?;
        let noise = self.dbfs(finite(&self.name, "noise_dbm", noise_dbm)?);
        let carriers: Vec<f64> = carriers_dbm.iter().map(|c| self.dbfs(*c)).collect();
        // noise may come down until q/noise = 10^(rise/10) - 1
        let lo_db = self.quantisation_dbfs() - to_db(from_db(max_rise_db) - 1.0) - noise;
        let clip = |g: f64| {
            let c: Vec<f64> = carriers.iter().map(|x| x + g).collect();
            clip_probability(noise + g, &c)
        };
        let (mut a, mut b) = (-noise - 100.0, -noise + 60.0);
        if clip(a)? > max_clip || clip(b)? < max_clip {
            return Err(ChainError::Undetermined {
                part: self.name.clone(),
                why: "carriers are so far above the noise that no gain change within 100 dB meets the clip limit"
                    .into(),
            });
        }
        for _ in 0..60 {
            let m = 0.5 * (a + b);
            if clip(m)? <= max_clip {
                a = m;
            } else {
                b = m;
            }
        }
        if a < lo_db {
            return Err(ChainError::Undetermined {
                part: self.name.clone(),
                why: format!(
                    "no gain fits: {:.1} dB are missing between quantisation and clipping; filter the strongest \
                     carriers away or use more bits",
                    lo_db - a
                ),
            });
        }
        Ok(GainWindow { lo_db, hi_db: a })
    }
}

/// Probability per sample that one rail exceeds full scale, for Gaussian noise of `noise_dbfs` and carriers of
/// the given levels with independent random phases.
///
/// The sum's density is a Fourier series on an interval wide enough for it; its coefficients are the
/// characteristic function `exp(-sigma^2 t^2/2) prod J0(A_k t)` (Rice 1944 treats one carrier the same way). Exact
/// for any number of carriers; absolute error about 1e-13.
///
/// # Errors
/// Levels that are not finite, or noise so far below the carriers (more than 100 dB) that the series is impractical.
pub fn clip_probability(noise_dbfs: f64, carriers_dbfs: &[f64]) -> Result<f64> {
    let part = "clip probability";
    let sigma = (from_db(finite(part, "noise_dbfs", noise_dbfs)?) / 2.0).sqrt();
    let mut peak = 0.0;
    let mut amplitude = Vec::with_capacity(carriers_dbfs.len());
    for &c in carriers_dbfs {
        let a = from_db(finite(part, "carrier_dbfs", c)?).sqrt();
        peak += a;
        amplitude.push(a);
    }
    const F: f64 = 1.0;
    if carriers_dbfs.is_empty() {
        return Ok(libm::erfc(F / sigma / std::f64::consts::SQRT_2));
    }
    let reach = peak + 9.0 * sigma;
    if reach < F {
        // Beyond nine sigma of everything in phase: below 1e-18.
        return Ok(0.0);
    }
    let period = F + reach;
    let terms = (9.0 / sigma * period / std::f64::consts::TAU).ceil();
    if terms > 3e6 {
        return Err(ChainError::Undetermined {
            part: part.into(),
            why:
                "the noise is more than 100 dB below the carriers; state the converter's own noise"
                    .into(),
        });
    }
    let mut inside = 2.0 * F / period;
    for k in 1..=terms as u64 {
        let k = k as f64;
        let t = std::f64::consts::TAU * k / period;
        let phi = amplitude
            .iter()
            .fold((-0.5 * sigma * sigma * t * t).exp(), |p, &a| {
                p * libm::j0(a * t)
            });
        inside += 2.0 / (std::f64::consts::PI * k) * (t * F).sin() * phi;
    }
    Ok((1.0 - inside).clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_lsb_add_four_hundredths() {
        let adc = Adc::new("receiver", 12, -20.0).unwrap();
        // level of 3 LSB rms per rail
        let dbfs = to_db(2.0 * (3.0f64 / 2048.0).powi(2));
        assert!((adc.lsb_rms(dbfs) - 3.0).abs() < 1e-12);
        // closed form 10 log10(1 + 1/(12 * 9)); common practice rounds it to 0.04 dB
        let (rise, v) = adc.noise_rise_db(dbfs);
        assert!((rise - to_db(1.0 + 1.0 / 108.0)).abs() < 1e-9 && v.is_inside());
        assert!((rise - 0.04).abs() < 5e-4);
        assert!(!adc.noise_rise_db(dbfs - 20.0).1.is_inside());
        // 6.02 b + 1.76 dB
        assert!((adc.quantisation_dbfs() + 74.01).abs() < 0.01);
    }

    #[test]
    fn quantisation_in_the_ledger_is_the_same_rise() {
        let adc = Adc::new("receiver", 8, -30.0)
            .unwrap()
            .with_effective_bits(7.5)
            .unwrap();
        let b = Frequency::mhz(2.0);
        let te = adc.stage("q", b).unwrap().linear.te_k;
        let t_noise = 5e4;
        let dbm = to_db(BOLTZMANN * t_noise * b.as_hz()) + 30.0;
        let rise = adc.noise_rise_db(adc.dbfs(dbm)).0;
        assert!((to_db(1.0 + te / t_noise) - rise).abs() < 1e-10);
        assert!(
            Adc::new("r", 8, 0.0)
                .unwrap()
                .with_effective_bits(9.0)
                .is_err()
        );
        assert!(Adc::new("r", 0, 0.0).is_err());
    }

    #[test]
    fn clipping_in_closed_forms() {
        // Noise alone: 1e-4 at a peak 11.80 dB above the rms (rail), that is noise at -(11.80 - 3.01) dBFS.
        let p = clip_probability(-11.8003 + 3.0103, &[]).unwrap();
        assert!((p / 1e-4 - 1.0).abs() < 1e-3, "{p}");
        // A carrier far too small to matter does not change it.
        let q = clip_probability(-11.8003 + 3.0103, &[-90.0]).unwrap();
        assert!((q / p - 1.0).abs() < 1e-5);
        // A strong carrier with little noise: (2/pi) acos(1/A).
        let a: f64 = 1.25;
        let c = clip_probability(-60.0, &[to_db(a * a)]).unwrap();
        let want = 2.0 / std::f64::consts::PI * (1.0 / a).acos();
        assert!((c / want - 1.0).abs() < 1e-4, "{c} {want}");
        assert_eq!(clip_probability(-60.0, &[-1.0]).unwrap(), 0.0);
    }

    #[test]
    fn one_carrier_in_noise_is_the_phase_average() {
        // Average over phase of the two tails: an independent computation.
        let (noise, level) = (-14.0, -5.0);
        let (s, a) = ((from_db(noise) / 2.0f64).sqrt(), from_db(level).sqrt());
        let n = 4000;
        let want: f64 = (0..n)
            .map(|i| {
                let m = a * (std::f64::consts::TAU * (f64::from(i) + 0.5) / f64::from(n)).cos();
                0.5 * (libm::erfc((1.0 - m) / s / 2f64.sqrt())
                    + libm::erfc((1.0 + m) / s / 2f64.sqrt()))
            })
            .sum::<f64>()
            / f64::from(n);
        let got = clip_probability(noise, &[level]).unwrap();
        assert!((got / want - 1.0).abs() < 1e-9, "{got} {want}");
    }

    #[test]
    fn many_carriers_become_noise() {
        // Forty equal carriers of the same total power as a Gaussian noise clip nearly as often.
        let each = -7.0 - to_db(40.0);
        let many = clip_probability(-50.0, &[each; 40]).unwrap();
        let gauss = clip_probability(-7.0, &[]).unwrap();
        assert!((many / gauss - 1.0).abs() < 0.2, "{many} {gauss}");
    }

    #[test]
    fn the_window_is_bounded_by_both_limits() {
        let adc = Adc::new("receiver", 12, -20.0).unwrap();
        let (noise, carriers) = (-60.0, [-50.0, -52.0]);
        let w = adc.gain_window(noise, &carriers, 0.05, 1e-6).unwrap();
        assert!(w.lo_db < w.hi_db);
        let rise = adc.noise_rise_db(adc.dbfs(noise + w.lo_db)).0;
        assert!((rise - 0.05).abs() < 1e-9);
        let c: Vec<f64> = carriers.iter().map(|c| adc.dbfs(c + w.hi_db)).collect();
        assert!(
            (clip_probability(adc.dbfs(noise + w.hi_db), &c).unwrap() / 1e-6 - 1.0).abs() < 1e-4
        );
        let eight = Adc::new("receiver", 8, -20.0).unwrap();
        assert!(eight.gain_window(noise, &[-20.0], 0.05, 1e-6).is_err());
    }
}

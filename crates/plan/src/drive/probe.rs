//! What comes out of the chain at one drive.

use super::chain::Chain;
use super::waveform::{
    PER_WIDTH, Waveform, WaveformKind, bin_frequency, crest_db, level, mean_power,
};
use crate::error::{Result, positive};
use num_complex::Complex64;
use slantpath_chain::level::{TransmitPoint, transmit_plan};
use slantpath_quantity::{Power, Validity, to_db};
use slantpath_signal::pulse::raised_cosine;

/// Where shoulders are read: a window beside the carrier, in reference widths (symbol rates).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShoulderWindow {
    /// Middle of the window from the carrier's middle.
    pub offset: f64,
    /// Its width.
    pub width: f64,
}

impl ShoulderWindow {
    /// A tenth of the symbol rate wide, a twentieth of it beyond the carrier's edge: where a spectrum analyser's cursor
    /// is put (common practice, no source).
    pub fn beside(kind: WaveformKind) -> Self {
        let edge = match kind {
            WaveformKind::Symbols { rolloff } => 0.5 * (1.0 + rolloff),
            // The third-order product of two tones at +-1/2 stands at 3/2.
            WaveformKind::TwoTone => 1.4,
            WaveformKind::Speech(_) | WaveformKind::Carrier => 0.5,
        };
        Self {
            offset: edge + 0.1,
            width: 0.1,
        }
    }
}

/// Spectrum beside the carrier against the spectrum in it, density against density.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shoulder {
    /// Below the carrier, dBc (negative).
    pub lower_dbc: f64,
    /// Above the carrier, dBc.
    pub upper_dbc: f64,
}

impl Shoulder {
    /// The higher of the two.
    pub fn worst_dbc(&self) -> f64 {
        self.lower_dbc.max(self.upper_dbc)
    }
}

/// What comes out of the chain at one drive.
#[derive(Debug, Clone, PartialEq)]
pub struct Probe {
    /// Mean level out of the transmitter, dBm.
    pub drive_dbm: f64,
    /// Mean level out of the power amplifier, dBm.
    pub out_dbm: f64,
    /// Level that the amplifier's output passes for one part in ten thousand of the time, dBm.
    pub peak_dbm: f64,
    /// Mean level at the feed, dBm.
    pub feed_dbm: f64,
    /// Peak to mean ratio going in, dB (1e-4).
    pub crest_in_db: f64,
    /// Peak to mean ratio coming out, dB (1e-4).
    pub crest_out_db: f64,
    /// How far the mean output stays below saturation, dB; infinite when nothing saturates.
    pub backoff_db: f64,
    /// How far the mean output is below what a straight chain would give, dB.
    pub compression_db: f64,
    /// Shoulders; of two tones, the third-order products against a tone.
    pub shoulder: Shoulder,
    /// Modulation error ratio at the decision points of an ideal receiver, dB; `None` without symbols.
    pub mer_db: Option<f64>,
    /// Root mean square error vector, share of the root mean square symbol; `None` without symbols.
    pub evm: Option<f64>,
    /// Levels behind each part, of a steady carrier of the same mean and of the same peak.
    pub levels: Vec<TransmitPoint>,
    /// Outside where peaks pass the end of a measured curve.
    pub validity: Validity,
}

impl Probe {
    /// Sends a waveform through a chain at a mean drive.
    ///
    /// # Errors
    /// A drive that is no level, a window without width.
    pub fn at(
        chain: &Chain,
        waveform: &Waveform,
        drive_dbm: f64,
        window: ShoulderWindow,
    ) -> Result<Self> {
        level(drive_dbm)?;
        positive("the shoulder window's width", window.width, "")?;
        let crest_in_db = waveform.planning_crest_db();
        let out = chain.run(&waveform.samples, drive_dbm);
        let mean = mean_power(&out);
        let out_dbm = Power::w(mean).as_dbm();
        let crest_out_db = match waveform.kind {
            WaveformKind::TwoTone | WaveformKind::Carrier => crest_db(&out, 0.0),
            _ => crest_db(&out, 1e-4),
        };
        let mut spectrum = out;
        waveform.forward.process(&mut spectrum);
        let shoulder = shoulders(&spectrum, waveform.kind, window);
        let mer_db = match waveform.kind {
            WaveformKind::Symbols { rolloff } => Some(mer(waveform, &spectrum, rolloff)),
            _ => None,
        };
        let small = Power::dbm(drive_dbm).as_w() * chain.small_gain().powi(2);
        Ok(Self {
            drive_dbm,
            out_dbm,
            peak_dbm: out_dbm + crest_out_db,
            feed_dbm: out_dbm - chain.loss_to_feed_db(),
            crest_in_db,
            crest_out_db,
            backoff_db: chain.amplifier().curve.output_backoff_db(out_dbm),
            compression_db: to_db(small / mean),
            shoulder,
            evm: mer_db.map(|m| slantpath_quantity::amplitude_from_db(-m)),
            mer_db,
            levels: transmit_plan(chain.stages(), drive_dbm, crest_in_db)?,
            validity: chain.validity(drive_dbm + waveform.peak_db()),
        })
    }
}

/// Density in a window, mean of the bins whose frequency lies in it.
fn density(spectrum: &[Complex64], lo: f64, hi: f64) -> f64 {
    let n = spectrum.len();
    let per = n as f64 / PER_WIDTH as f64;
    let (a, b) = ((lo * per).ceil() as i64, (hi * per).floor() as i64);
    let (mut sum, mut count) = (0.0, 0.0f64);
    for k in a..=b {
        if let Some(z) = spectrum.get(k.rem_euclid(n as i64) as usize) {
            sum += z.norm_sqr();
            count += 1.0;
        }
    }
    sum / count.max(1.0)
}

fn shoulders(spectrum: &[Complex64], kind: WaveformKind, w: ShoulderWindow) -> Shoulder {
    let within = match kind {
        // The flat part of the carrier.
        WaveformKind::Symbols { rolloff } => {
            let edge = 0.5 * (1.0 - rolloff).max(0.2);
            density(spectrum, -edge, edge)
        }
        WaveformKind::Speech(_) => density(spectrum, -0.45, 0.45),
        // A line against a line: the same window around a tone.
        WaveformKind::Carrier => density(spectrum, -0.5 * w.width, 0.5 * w.width),
        WaveformKind::TwoTone => density(spectrum, 0.5 - 0.5 * w.width, 0.5 + 0.5 * w.width),
    };
    let (lo, hi) = (w.offset - 0.5 * w.width, w.offset + 0.5 * w.width);
    // The transform's own rounding leaves some 1e-30 of the carrier.
    let dbc = |d: f64| to_db(d.max(1e-30 * within) / within);
    Shoulder {
        lower_dbc: dbc(density(spectrum, -hi, -lo)),
        upper_dbc: dbc(density(spectrum, lo, hi)),
    }
}

/// Modulation error ratio behind the matched filter: the best complex gain between sent and received symbols is taken
/// out (as a receiver's level, phase and timing loops do), the rest is error.
fn mer(waveform: &Waveform, spectrum: &[Complex64], rolloff: f64) -> f64 {
    let (n, m) = (spectrum.len(), waveform.symbols.len());
    // Matched filter, then one sample a symbol: the spectrum folds with the symbol rate.
    let mut folded = vec![Complex64::default(); m];
    for (k, z) in spectrum.iter().enumerate() {
        let h = raised_cosine(bin_frequency(k, n), 1.0, rolloff);
        if h > 0.0 {
            folded[k % m] += z * h.sqrt();
        }
    }
    if let Some(back) = &waveform.back {
        back.process(&mut folded);
    }
    let (mut cross, mut sent) = (Complex64::default(), 0.0);
    for (y, s) in folded.iter().zip(&waveform.symbols) {
        cross += y * s.conj();
        sent += s.norm_sqr();
    }
    let gain = cross / sent;
    let error: f64 = folded
        .iter()
        .zip(&waveform.symbols)
        .map(|(y, s)| (y - gain * s).norm_sqr())
        .sum();
    to_db(gain.norm_sqr() * sent / error.max(1e-28 * gain.norm_sqr() * sent))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{chain_of, qpsk, straight};
    use super::super::waveform::Speech;
    use super::*;
    use slantpath_chain::amplifier::{Cubic, Curve, Rapp, Table, TableRow};

    fn probe(chain: &Chain, w: &Waveform, drive: f64) -> Probe {
        Probe::at(chain, w, drive, ShoulderWindow::beside(w.kind())).unwrap()
    }

    #[test]
    fn a_straight_chain_changes_nothing_but_the_level() {
        let p = probe(&straight(30.0), &qpsk(4096, 0.25), -3.0);
        assert!((p.out_dbm - 27.0).abs() < 1e-9 && p.compression_db.abs() < 1e-9);
        assert!(p.mer_db.unwrap() > 200.0, "{:?}", p.mer_db);
        assert!(p.shoulder.worst_dbc() < -200.0, "{:?}", p.shoulder);
    }

    #[test]
    fn two_tones_through_the_cubic_are_the_closed_form() {
        // Gain, OIP3, nominal tone, exact product in dBc and tone out in dBm: discrete Fourier transform of the
        // memoryless cubic, 50 ohm (table two_tone_cubic, three rows).
        for (gain, oip3, nominal, dbc, tone) in [
            (20.0, 40.0, 10.0, 59.9739, 9.973_903),
            (30.0, 50.0, 34.0, 31.319_49, 33.319_49),
            (15.0, 33.0, 20.0, 24.584_74, 18.584_74),
        ] {
            let chain = chain_of(Curve::Cubic(Cubic::new(gain, oip3).unwrap()));
            let mean = nominal + to_db(2.0) - gain;
            let p = probe(&chain, &Waveform::two_tone(), mean);
            assert!((p.shoulder.worst_dbc() + dbc).abs() < 1e-3, "{p:?}");
            // Both tones and both products together; a product is `dbc` below its tone.
            let both = to_db(2.0) + tone + to_db(1.0 + slantpath_quantity::from_db(-dbc));
            assert!((p.out_dbm - both).abs() < 1e-3);
            assert!((p.crest_in_db - 3.0103).abs() < 1e-4);
        }
    }

    #[test]
    fn shoulders_of_the_cubic_rise_two_decibels_a_decibel() {
        // Third order: density beside the carrier goes with the cube of the power, so 2 dBc per dB of drive.
        let chain = chain_of(Curve::Cubic(Cubic::new(20.0, 50.0).unwrap()));
        let w = qpsk(8192, 0.25);
        let a = probe(&chain, &w, 5.0).shoulder.worst_dbc();
        let b = probe(&chain, &w, 6.0).shoulder.worst_dbc();
        assert!(((b - a) - 2.0).abs() < 0.1, "{a} {b}");
    }

    #[test]
    fn phase_alone_bends_too_and_the_table_is_the_curve() {
        let rapp = Rapp::new(25.0, 50.0, 2.0).unwrap();
        let curve = Curve::Rapp(rapp);
        let row = |x: f64, phase: f64| TableRow {
            in_dbm: x,
            out_dbm: curve.output_dbm(x).unwrap().0,
            phase_deg: phase,
        };
        let rows = |bend: f64| -> Vec<TableRow> {
            (0..=90)
                .map(|k| -10.0 + 0.5 * f64::from(k))
                .map(|x| row(x, bend * (x - 10.0).max(0.0)))
                .collect()
        };
        let w = qpsk(8192, 0.2);
        let exact = probe(&chain_of(curve.clone()), &w, 20.0);
        let table = probe(
            &chain_of(Curve::Table(Table::new(&rows(0.0)).unwrap())),
            &w,
            20.0,
        );
        assert!((exact.out_dbm - table.out_dbm).abs() < 2e-3);
        assert!((exact.mer_db.unwrap() - table.mer_db.unwrap()).abs() < 0.1);
        let turned = probe(
            &chain_of(Curve::Table(Table::new(&rows(1.5)).unwrap())),
            &w,
            20.0,
        );
        assert!(turned.mer_db.unwrap() < exact.mer_db.unwrap() - 0.5);
        // A peak beyond the table is said.
        assert!(
            !probe(
                &chain_of(Curve::Table(Table::new(&rows(0.0)[..50]).unwrap())),
                &w,
                20.0
            )
            .validity
            .is_inside()
        );
    }

    #[test]
    fn the_tabulated_chain_is_the_chain() {
        let chain = chain_of(Curve::Rapp(Rapp::new(25.0, 50.0, 1.3).unwrap()));
        let w = qpsk(8192, 0.35);
        let fast = chain.run(w.samples(), 24.0);
        let slow: Vec<Complex64> = w
            .samples()
            .chunks(1000)
            .flat_map(|c| chain.run(c, 24.0))
            .collect();
        let worst = fast
            .iter()
            .zip(&slow)
            .map(|(a, b)| (a - b).norm())
            .fold(0.0f64, f64::max);
        assert!(worst < 1e-5, "{worst}");
    }

    #[test]
    fn speech_has_its_peaks() {
        for s in [Speech::Unprocessed, Speech::Processed] {
            let w = Waveform::speech(s, 1);
            assert!((w.crest_db(1e-4).unwrap() - s.crest_db()).abs() < 0.1);
            assert!((mean_power(w.samples()) - 1.0).abs() < 1e-9);
            // and drives the amplifier's peaks into compression first
            let p = probe(
                &chain_of(Curve::Rapp(Rapp::new(25.0, 50.0, 2.0).unwrap())),
                &w,
                50.0 - 25.0 - s.crest_db(),
            );
            assert!(p.shoulder.worst_dbc() > -40.0 && p.mer_db.is_none());
            assert!(p.crest_out_db < p.crest_in_db);
        }
    }
}

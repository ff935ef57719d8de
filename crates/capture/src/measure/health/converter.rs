//! What the analogue-to-digital converter did: rails, steps, direct current, imbalance.

use super::super::{floor_line_without_bands, level_words};
use super::{Consequence, EVERYTHING, Flag, FlagKind, Severity};
use crate::source::About;
use slantpath_quantity::decibel::relative_to_db;
use slantpath_quantity::{Unit, to_db};
use slantpath_signal::{LevelStats, Spectrum};
use slantpath_stats::intervals::{normal_cdf, normal_quantile};

/// What the converter's own findings rest on.
pub(super) struct Converter<'a> {
    pub about: &'a About,
    pub s: &'a Spectrum,
    pub floor: &'a [f64],
    pub levels: &'a LevelStats,
}

/// Flags of the converter alone, for recordings of noise.
pub(crate) fn converter_flags(about: &About, s: &Spectrum, levels: &LevelStats) -> Vec<Flag> {
    let floor = floor_line_without_bands(s);
    let c = Converter {
        about,
        s,
        floor: &floor,
        levels,
    };
    let mut flags = Vec::new();
    clipping(&c, &mut flags);
    bits(&c, &mut flags);
    converter(&c, &mut flags);
    flags
}

/// Power of what a limiter at `r` standard deviations takes off a normal variable of unit variance.
fn clipped_power(r: f64) -> f64 {
    let q = 1.0 - normal_cdf(r);
    let phi = (-0.5 * r * r).exp() / (2.0 * std::f64::consts::PI).sqrt();
    2.0 * ((1.0 + r * r) * q - r * phi)
}

fn lowest_density(floor: &[f64]) -> f64 {
    let n = floor.len();
    let mut v: Vec<f64> = floor.get(n / 12..n - n / 12).unwrap_or(&[]).to_vec();
    v.sort_by(f64::total_cmp);
    v.get(v.len() / 10).copied().unwrap_or(0.0)
}

pub(super) fn clipping(x: &Converter<'_>, flags: &mut Vec<Flag>) {
    let Some(r) = x.levels.rails() else { return };
    let sigma = normal_quantile((1.0 - 0.5 * r.fraction).clamp(0.5, 1.0 - 1e-12));
    let power = x.levels.power() - x.levels.dc_power();
    // Distortion spreads over the whole band.
    let density = clipped_power(sigma.max(0.1)) * power / x.s.sample_rate_hz;
    let n0 = lowest_density(x.floor);
    let effect = relative_to_db(density / (n0 - density).max(0.05 * n0));
    let bad = effect > 0.3 || r.fraction > 0.02;
    let f = Flag::new(
        FlagKind::Clipping,
        if bad { Severity::Refusal } else if effect > 0.01 { Severity::Warning } else { Severity::Note },
        "the converter clips",
        format!(
            "{:.3} % of the components stand at the outermost value {:.3} of full scale, {:.0} times more than at its \
             neighbours; {}",
            100.0 * r.fraction,
            r.rail,
            r.pile_up,
            level_words(x.levels)
        ),
    )
    .figure("components at the rail", 100.0 * r.fraction, Unit::Percent)
    .figure("rise of the noise floor by the distortion", effect, Unit::Db)
    .means(
        "clipping compresses strong signals and spreads distortion over the band; the noise floor reads high",
        "lower the gain by 6 dB or more",
    );
    flags.push(if bad {
        f.refusing(&EVERYTHING)
    } else {
        f.adding(effect, &EVERYTHING)
    });
}

pub(super) fn bits(x: &Converter<'_>, flags: &mut Vec<Flag>) {
    let stored = x.about.format.lsb();
    let seen = x.levels.quantiser_step();
    let Some(step) = stored.into_iter().chain(seen).reduce(f64::max) else {
        return;
    };
    // White step noise of step^2/12 a component (W. R. Bennett, Bell System Tech. J. 27, 1948).
    let density = 2.0 * step * step / 12.0 / x.s.sample_rate_hz;
    let n0 = lowest_density(x.floor);
    let effect = relative_to_db(density / (n0 - density).max(0.05 * n0));
    let rms = x.levels.component_rms() / step;
    if effect < 0.05 && rms > 1.5 {
        return;
    }
    let bad = rms < 0.5 || effect > 1.0;
    let warn = effect > 0.2 || rms < 1.0;
    let f = Flag::new(
        FlagKind::FewBits,
        if bad { Severity::Refusal } else if warn { Severity::Warning } else { Severity::Note },
        "the converter's steps are coarse for this noise",
        format!(
            "the samples spread over {rms:.1} steps rms; step noise lifts the lowest floor by {effect:.2} dB \
             ({} values in use)",
            x.levels.codes_in_use()
        ),
    )
    .figure("root mean square of a component, in steps", rms, Unit::One)
    .figure("rise of the lowest noise floor", effect, Unit::Db)
    .means(
        "the receiver's noise reads high and steps small; the effect is part of the recording, not of the station",
        "raise the gain in front of the converter",
    );
    flags.push(if bad {
        f.refusing(&[Consequence::NoiseStep, Consequence::Level])
    } else {
        f
    });
}

pub(super) fn converter(x: &Converter<'_>, flags: &mut Vec<Flag>) {
    let dc = x.levels.dc_power();
    let noise = x.levels.power() / (x.levels.n.max(1) as f64);
    if dc > 30.0 * noise && to_db(dc) > -60.0 {
        let (i, q) = x.levels.dc();
        let bad = dc > 0.3 * x.levels.power();
        flags.push(
            Flag::new(
                FlagKind::DirectCurrent,
                if bad {
                    Severity::Warning
                } else {
                    Severity::Note
                },
                "direct current",
                format!(
                    "means of I and Q are {i:+.4} and {q:+.4} of full scale, {:.1} dBFS",
                    to_db(dc)
                ),
            )
            .figure("direct current", to_db(dc), Unit::Dbfs)
            .means(
                "bins at the centre are left out",
                "keep wanted signals off the centre",
            ),
        );
    }
    if let Some(m) = x.levels.imbalance() {
        let real = m.gain_db.abs() > 5.0 * m.u_gain_db || m.phase_deg.abs() > 5.0 * m.u_phase_deg;
        if real && m.image_rejection_db < 45.0 {
            flags.push(
                Flag::new(
                    FlagKind::Imbalance,
                    if m.image_rejection_db < 28.0 { Severity::Warning } else { Severity::Note },
                    "I and Q differ",
                    format!(
                        "Q against I: {:+.3} dB and {:+.2} degrees; images stand {:.0} dB below what they mirror",
                        m.gain_db, m.phase_deg, m.image_rejection_db
                    ),
                )
                .figure("gain", m.gain_db, Unit::Db)
                .figure("phase", m.phase_deg, Unit::Deg)
                .figure("image rejection", m.image_rejection_db, Unit::Db)
                .means(
                    "each signal has a weak image on the other side of the centre; they are listed and left out",
                    "tune so that no beacon lies at the image of a strong signal",
                ),
            );
        }
    }
}

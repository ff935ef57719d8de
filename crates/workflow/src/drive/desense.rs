//! Desense from recordings: same quiet frequencies of every one, compared in linear power.

use crate::WorkflowError;
use crate::measure::MeasureOptions;
use slantpath_capture::power::{NoisePower, noise_power};
use slantpath_capture::source::open;
use slantpath_plan::Known;
use slantpath_plan::desense::{Desense, NoiseLevels, Way, desense, rounds};
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, Estimate, Unit, show, to_db};
use slantpath_report::Section;
use slantpath_stats::{Progress, Stop};
use std::path::{Path, PathBuf};

/// A loss that matters (common practice, no source).
const MATTERS_DB: f64 = 0.1;

fn read(path: &Path, o: &MeasureOptions, progress: &Progress) -> Result<NoisePower, WorkflowError> {
    let mut source = open(path, &o.open)?;
    Ok(noise_power(&mut *source, progress, &Stop::new())?)
}

/// Mean power in the bins, and its standard uncertainty: the scatter of the recording's rows, which holds drift and
/// bursts too.
fn level(p: &NoisePower, common: &[bool]) -> Option<Known> {
    let (mut sum, mut n) = (0.0, 0.0);
    for (k, quiet) in common.iter().enumerate() {
        if *quiet {
            sum += p.spectrum.power(k..k + 1);
            n += 1.0;
        }
    }
    if n < 16.0 || sum <= 0.0 {
        return None;
    }
    let relative = p.spectrum.relative_variance(n).max(0.0).sqrt();
    Some(Known::new(to_db(sum / n), db_of_relative_u(relative)))
}

/// How far a receiver's gain moves between two recordings made within minutes, standard uncertainty (common practice, no
/// source); taken with one round when nothing is stated.
const DRIFT_DB: f64 = 0.05;

/// Compares the recordings: off and on the air, or off, dummy load and on the air; perhaps in several rounds.
///
/// # Errors
/// Two or three recordings a round are needed; one that cannot be read.
pub(super) fn section(
    paths: &[PathBuf],
    count: usize,
    drift_db: Option<f64>,
    o: &MeasureOptions,
    progress: &Progress,
) -> Result<(Section, Option<Desense>), WorkflowError> {
    let wrong = || {
        WorkflowError::argument(
            format!(
                "--desense has {} recordings for {count} rounds",
                paths.len()
            ),
            "each round takes two or three in this order: transmitter off, (into a dummy load,) on the air; same gain, same \
             frequency; say with --desense-rounds how many rounds there are",
        )
    };
    if count == 0 || !paths.len().is_multiple_of(count) || !(2..=3).contains(&(paths.len() / count))
    {
        return Err(wrong());
    }
    let states = paths.len() / count;
    let all: Vec<NoisePower> = paths
        .iter()
        .map(|p| read(p, o, progress))
        .collect::<Result<_, _>>()?;
    let first = all.first().ok_or_else(wrong)?;
    let bins = first.quiet.len();
    let rate = first.about.sample_rate_hz;
    if all
        .iter()
        .any(|p| p.quiet.len() != bins || p.about.sample_rate_hz != rate)
    {
        return Err(WorkflowError::argument(
            "the desense recordings differ in sample rate or in length too much to be compared",
            "record all with the same settings, at least a few seconds each",
        ));
    }
    let common: Vec<bool> = (0..bins)
        .map(|k| all.iter().all(|p| p.quiet.get(k).copied().unwrap_or(false)))
        .collect();
    let levels: Vec<Known> = all.iter().filter_map(|p| level(p, &common)).collect();
    let together = if levels.len() == all.len() {
        let each: Vec<Vec<Known>> = levels.chunks(states).map(<[Known]>::to_vec).collect();
        Some(rounds(&each, drift_db.unwrap_or(DRIFT_DB))?)
    } else {
        None
    };
    let mut s = Section::new(
        "desense",
        "what transmitting costs the receiver",
        Vec::new(),
    );
    let found = match together.as_ref().map(|t| t.levels_db.as_slice()) {
        Some([off, on]) => Some((*off, None, *on)),
        Some([off, dummy, on]) => Some((*off, Some(*dummy), *on)),
        _ => None,
    };
    let Some((off_db, dummy_db, on_air_db)) = found else {
        s.answers.push(Answer::unknown(
            "desense.loss",
            "loss of carrier to noise while transmitting",
            Unit::Db,
            "the recordings share no quiet frequencies",
            "record where only noise is: beside the passband, same centre for all",
        ));
        return Ok((s, None));
    };
    let d = desense(
        &NoiseLevels {
            off_db,
            dummy_db,
            on_air_db,
        },
        MATTERS_DB,
    )?;
    let answer = |id: &str, label: &str, k: Known| {
        Answer::known(id, label, Unit::Db, Estimate::normal(k.value, k.u))
    };
    s.answers.push(answer(
        "desense.loss",
        "loss of carrier to noise while transmitting",
        d.loss_db,
    ));
    for (id, label, way) in [
        (
            "desense.shack",
            "of it by leakage in the shack alone",
            d.shack,
        ),
        (
            "desense.feed",
            "of it by coupling at the feed alone",
            d.feed,
        ),
    ] {
        if let Some(w) = way {
            let ratio = (1.0 + w.value).max(1e-6);
            s.answers.push(answer(
                id,
                label,
                Known::new(to_db(ratio), db_of_relative_u(w.u / ratio)),
            ));
        }
    }
    s.text.push(match (together.and_then(|t| t.scatter_db), drift_db) {
        (Some(u), _) => format!(
            "Drift of the gain from {count} rounds: two recordings of one round differ by {} dB by chance (standard deviation).",
            show::significant(u, 2)
        ),
        (None, Some(u)) => format!("Drift of the gain between two recordings, as stated: {} dB.", show::significant(u, 2)),
        (None, None) => format!(
            "Drift of the gain between two recordings is taken as {DRIFT_DB} dB; state yours (--drift), or record several \
             rounds in turn (--desense-rounds), which tell it."
        ),
    });
    s.text.push(
        match d.way {
            Way::None => "No loss that these recordings can show.",
            Way::Shack => "It is there with the dummy load too: leakage in the shack, by cables or the supply. Screen and choke there; the feed is not at fault.",
            Way::Feed => "It comes only with the antenna: coupling at the feed. A filter before the LNB, or more distance and isolation between the feeds.",
            Way::Both => "Part of it is there with the dummy load (shack), part comes only with the antenna (feed).",
            Way::Unknown => "It cannot be told which way it comes in: record into a dummy load as well.",
            Way::Overload => "The noise FELL while transmitting: the receiver is overdriven and loses gain, so that its loss is larger than any level here says. Put a filter before the LNB or reduce the gain, and measure the beacon's C/N0 in each state.",
        }
        .into(),
    );
    Ok((s, Some(d)))
}

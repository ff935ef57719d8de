//! Better values for what the satellite file guesses: proposed with the lines to write, never written.

use super::judge;
use crate::measure::Measured;
use crate::predict::predicted;
use slantpath_link::{Conditions, Drawing};
use slantpath_quantity::{Contributor, show};
use slantpath_report::Section;
use slantpath_station::Station;
use slantpath_stats::Progress;
use slantpath_verdict::explain::{Explanation, Suspect};

/// A value is proposed when the recordings leave less than this part of what the guess left open.
const WORTH_WRITING: f64 = 0.7;

/// A guessed figure and where it stands in the satellite file.
struct Guess<'a> {
    contributor: &'a Contributor,
    heading: String,
    key: &'static str,
    unit: &'static str,
}

fn guesses(station: &Station) -> Vec<Guess<'_>> {
    let mut out = Vec::new();
    for p in &station.satellite.passbands {
        let heading = format!("[passband.{}]", p.name);
        for (contributor, key, unit) in [
            (&p.saturated_eirp, "saturated_eirp", "dBW"),
            (&p.g_over_t, "g_over_t", "dB/K"),
            (&p.noise_density, "noise_density", "dBW/Hz"),
        ] {
            out.push(Guess {
                contributor,
                heading: heading.clone(),
                key,
                unit,
            });
        }
        for b in &p.beacons {
            out.push(Guess {
                contributor: &b.eirp,
                heading: format!("[[passband.{}.beacon]] with name = \"{}\"", p.name, b.name),
                key: "eirp",
                unit: "dBW",
            });
        }
    }
    out.retain(|g| g.contributor.source.starts_with("guess"));
    out
}

/// What these recordings make of the guesses. `None` when nothing is guessed or nothing was measured.
pub fn proposals(station: &Station, measured: &[Measured]) -> Option<Section> {
    if measured.is_empty() || guesses(station).is_empty() {
        return None;
    }
    // Only the model and its slopes are used, not the draws' tails.
    let drawing = Drawing {
        trials: 1000,
        ..Drawing::default()
    };
    let judged = predicted(
        station,
        &Conditions::default(),
        drawing,
        &Progress::silent(),
    )
    .and_then(|p| judge(station, &p, measured, &[]));
    match judged {
        Ok(j) => section(station, &j.explanation),
        Err(why) => {
            let mut s = head();
            s.text.push(format!(
                "Nothing can be made of the guesses from this: {why}"
            ));
            Some(s)
        }
    }
}

fn head() -> Section {
    Section::new(
        "guesses",
        "guessed figures of the satellite file",
        Vec::new(),
    )
}

/// The lines to write for every guess that the explanation narrows.
pub(super) fn section(station: &Station, x: &Explanation) -> Option<Section> {
    let all = guesses(station);
    if all.is_empty() {
        return None;
    }
    let mut s = head();
    let mut open = Vec::new();
    for g in &all {
        let found = x
            .suspects
            .iter()
            .find(|k| k.contributor.id == g.contributor.id);
        match found {
            Some(k) if k.u_after < WORTH_WRITING * g.contributor.distribution.u() => {
                propose(g, k, &mut s.text);
            }
            _ => open.push(g.contributor.label.clone()),
        }
    }
    if s.text.is_empty() {
        s.text
            .push("These recordings say too little to replace a guess.".to_string());
    } else {
        s.text.push(
            "Nothing was written. The values rest on the station file: what may be wrong there is in their ±.".to_string(),
        );
    }
    if !open.is_empty() {
        s.text.push(format!("Still a guess: {}.", open.join(", ")));
    }
    Some(s)
}

fn propose(g: &Guess<'_>, k: &Suspect, out: &mut Vec<String>) {
    let d = g.contributor.distribution;
    let places = show::decimals_for(k.u_after).unwrap_or(1);
    out.push(format!(
        "{}: {} {} (u = {}) was a guess. To take what was measured, write under {}:",
        g.contributor.label,
        show::significant(d.mean(), 3),
        g.unit,
        show::significant(d.u(), 2),
        g.heading
    ));
    out.push(format!(
        "{} = \"{} {} ± {}\"",
        g.key,
        show::fixed(d.mean() + k.shift, places),
        g.unit,
        show::fixed(k.u_after, places)
    ));
}

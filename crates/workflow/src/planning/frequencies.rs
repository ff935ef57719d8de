//! The frequency sheet.

use super::number;
use crate::WorkflowError;
use slantpath_plan::Known;
use slantpath_plan::frequency::bands::{Service, Standing, built_in, free, neighbours, remedy};
use slantpath_plan::frequency::mixing::{Product, Source, Target, products};
use slantpath_plan::frequency::{Conversion, error_from, error_of_ppm, retune_interval_s, tune};
use slantpath_quantity::{Answer, Estimate, Frequency, Unit, show};
use slantpath_report::{Cell, Section, Sheet, Table};
use slantpath_station::Station;
use slantpath_station::checked::{Branch, Lnb, PartKind, Passband};
use slantpath_station::reach::{lnb_of, oscillator, reach};

/// A signal of known frequency as it was found.
#[derive(Debug, Clone)]
pub struct Found {
    /// Beacon's name.
    pub beacon: String,
    /// True or intermediate frequency at which it was found, MHz, and its standard uncertainty.
    pub at_mhz: (f64, f64),
}

/// What was asked.
#[derive(Debug, Clone)]
pub struct FrequencyOptions {
    /// One branch only.
    pub branch: Option<String>,
    /// Further downlink frequencies to place, MHz.
    pub channels_mhz: Vec<f64>,
    /// A channel every so many kHz.
    pub step_khz: Option<f64>,
    /// The oscillator's error by a beacon.
    pub found: Option<Found>,
    /// The oscillator's error in ppm with its standard uncertainty.
    pub ppm: Option<(f64, f64)>,
    /// Highest order of mixing products.
    pub order: u32,
    /// Further oscillators and carriers: name, lower and upper end in MHz.
    pub sources: Vec<(String, f64, f64)>,
    /// Local services: name, lower and upper end in MHz.
    pub services: Vec<(String, f64, f64)>,
    /// Without the built-in table of services.
    pub only_typed: bool,
    /// How far off a channel may be before it is retuned, Hz.
    pub tolerance_hz: f64,
}

impl Default for FrequencyOptions {
    fn default() -> Self {
        Self {
            branch: None,
            channels_mhz: Vec::new(),
            step_khz: None,
            found: None,
            ppm: None,
            order: 7,
            sources: Vec::new(),
            services: Vec::new(),
            only_typed: false,
            // A voice still sounds right (common practice, no source).
            tolerance_hz: 100.0,
        }
    }
}

/// Branches that convert a passband the same way.
struct Way<'a> {
    passband: &'a Passband,
    branches: Vec<&'a Branch>,
    lnb: Option<(&'a str, &'a Lnb)>,
    conversion: Conversion,
    wander_hz: f64,
    /// The receivers' narrowest common range, Hz.
    receiver: (f64, f64),
}

impl Way<'_> {
    fn names(&self) -> String {
        let names: Vec<&str> = self.branches.iter().map(|b| b.name.as_str()).collect();
        names.join(", ")
    }
    fn wanted(&self) -> (f64, f64) {
        let d = &self.passband.downlink;
        let (a, b) = (
            self.conversion.nominal(d.lo.as_hz()),
            self.conversion.nominal(d.hi.as_hz()),
        );
        (a.min(b), a.max(b))
    }
}

/// Writes the sheet.
///
/// # Errors
/// A branch or beacon that is not there, frequencies that cannot be, too many combinations.
pub fn frequency_sheet(station: &Station, o: &FrequencyOptions) -> Result<Sheet, WorkflowError> {
    if let Some(name) = &o.branch
        && station.receive.branch(name).is_none()
    {
        let known: Vec<&str> = station
            .receive
            .branches
            .iter()
            .map(|b| b.name.as_str())
            .collect();
        return Err(WorkflowError::argument(
            format!("there is no branch `{name}`"),
            format!("the station has: {}", known.join(", ")),
        ));
    }
    let ways = ways(station, o)?;
    if ways.is_empty() {
        return Err(WorkflowError::argument(
            "no branch receives a passband of this satellite",
            "look at the ranges of converter and receiver with `predict`",
        ));
    }
    let mut sheet = Sheet {
        verb: "plan".into(),
        title: format!("{}: frequency sheet", station.name),
        ..Sheet::default()
    };
    sheet.sections.push(oscillators(&ways, o)?);
    for w in &ways {
        sheet.sections.push(tuning(station, w, o)?);
    }
    let (mixing, hits) = mixing(station, &ways, o)?;
    sheet.sections.push(mixing);
    let (services, inside) = interferers(station, &ways, o)?;
    sheet.sections.push(services);
    sheet.because.push(match (hits, inside.as_slice()) {
        (0, []) => format!("Nothing of the station's own to order {} and no service of the table falls on what is received.", o.order),
        (n, []) => format!("{n} mixing products to order {} fall on what is received; no service of the table does.", o.order),
        (n, list) => format!("{} inside the intermediate band; {n} mixing products to order {}.", list.join(", "), o.order),
    });
    sheet.cautions.push("Mixing products are placed, not weighed: how strong one is depends on parts that nobody describes. Low orders matter first.".into());
    sheet.next_measurement = Some("Record each intermediate band with the feed covered by an absorber, once with the transmitter into a dummy load and once off: what stays came in behind the feed.".into());
    Ok(sheet)
}

fn ways<'a>(station: &'a Station, o: &FrequencyOptions) -> Result<Vec<Way<'a>>, WorkflowError> {
    let mut out: Vec<Way> = Vec::new();
    for passband in &station.satellite.passbands {
        for branch in &station.receive.branches {
            if o.branch.as_ref().is_some_and(|b| *b != branch.name)
                || (branch.receives_written && !branch.receives.contains(&passband.name))
                || matches!(reach(&station.receive, branch, passband), Err((None, _)))
            {
                continue;
            }
            let lnb = lnb_of(&station.receive, branch);
            let lo_hz = lnb.map_or(0.0, |(_, l)| oscillator(l, branch.tone).as_hz());
            let receiver = station
                .receive
                .receiver(branch)
                .map_or((0.0, f64::MAX), |r| {
                    (r.frequency_range.lo.as_hz(), r.frequency_range.hi.as_hz())
                });
            if let Some(w) = out.iter_mut().find(|w| {
                w.passband.name == passband.name
                    && w.conversion.lo_hz == lo_hz
                    && w.lnb.map(|l| l.0) == lnb.map(|l| l.0)
            }) {
                w.branches.push(branch);
                w.receiver = (w.receiver.0.max(receiver.0), w.receiver.1.min(receiver.1));
                continue;
            }
            let wander_hz = lnb.map_or(0.0, |(_, l)| l.lo_wander_per_day.distribution.mean());
            out.push(Way {
                passband,
                branches: vec![branch],
                lnb,
                conversion: Conversion {
                    lo_hz,
                    error_hz: error(station, lnb.map(|l| l.1), lo_hz, wander_hz, o)?,
                },
                wander_hz,
                receiver,
            });
        }
    }
    Ok(out)
}

/// The oscillator's error: measured by a beacon, typed, or what the file says of it.
fn error(
    station: &Station,
    lnb: Option<&Lnb>,
    lo_hz: f64,
    wander_hz: f64,
    o: &FrequencyOptions,
) -> Result<Known, WorkflowError> {
    if lo_hz == 0.0 {
        return Ok(Known::exact(0.0));
    }
    if let Some(f) = &o.found {
        let beacon = station
            .satellite
            .passbands
            .iter()
            .find_map(|p| p.beacon(&f.beacon))
            .ok_or_else(|| {
                let known: Vec<&str> = station
                    .satellite
                    .passbands
                    .iter()
                    .flat_map(|p| p.beacons.iter().map(|b| b.name.as_str()))
                    .collect();
                WorkflowError::argument(
                    format!("there is no beacon `{}`", f.beacon),
                    format!("the satellite file has: {}", known.join(", ")),
                )
            })?;
        let sent = beacon.frequency.as_hz();
        let found = 1e6 * f.at_mhz.0;
        // A receiver that adds the oscillator shows the true frequency.
        let shown_true = (found - sent).abs() < 0.1 * (sent - lo_hz).abs();
        let at = if shown_true {
            (found - lo_hz).abs()
        } else {
            found
        };
        let e = error_from(lo_hz, sent, Known::new(at, 1e6 * f.at_mhz.1))?;
        // 1000 ppm: no oscillator is that far away, another signal was meant.
        if e.value.abs() > 1e-3 * lo_hz {
            return Err(WorkflowError::argument(
                format!(
                    "{} MHz is not where {} can be: the oscillator would be {} kHz away",
                    f.at_mhz.0,
                    f.beacon,
                    show::fixed(e.value / 1e3, 0)
                ),
                "give the frequency at which the beacon was found, in MHz, true or intermediate",
            ));
        }
        return Ok(e);
    }
    if let Some((value, u)) = o.ppm {
        return Ok(error_of_ppm(lo_hz, Known::new(value, u))?);
    }
    let d = lnb.map(|l| l.lo_error.distribution);
    // A sine of that peak to peak has W / sqrt 8 rms.
    let u = d.map_or(0.0, |d| d.u()).hypot(wander_hz / 8f64.sqrt());
    Ok(Known::new(d.map_or(0.0, |d| d.mean()), u))
}

fn oscillators(ways: &[Way], o: &FrequencyOptions) -> Result<Section, WorkflowError> {
    let mut answers: Vec<Answer> = Vec::new();
    let mut text = Vec::new();
    for w in ways {
        let Some((name, _)) = w.lnb else { continue };
        let id = format!("{name}.{:.0}", w.conversion.lo_hz / 1e6);
        if answers.iter().any(|a| a.measurand.starts_with(&id)) {
            continue;
        }
        let e = w.conversion.error_hz;
        let how = if o.found.is_some() {
            "from where the beacon was found"
        } else if o.ppm.is_some() {
            "as typed"
        } else {
            "from the station file: not measured"
        };
        answers.push(
            Answer::known(
                format!("{id}.error"),
                format!("{name}: true oscillator less nominal"),
                Unit::Hz,
                Estimate::normal(e.value, e.u),
            )
            .because(how),
        );
        let ppm = 1e6 / w.conversion.lo_hz;
        answers.push(Answer::known(
            format!("{id}.error_ppm"),
            format!("{name}: the same over its frequency"),
            Unit::Ppm,
            Estimate::normal(e.value * ppm, e.u * ppm),
        ));
        let t = retune_interval_s(w.wander_hz, o.tolerance_hz)?;
        let tolerance = show::significant(o.tolerance_hz, 3);
        text.push(if t > 86_400.0 {
            format!("{name}: stays within {tolerance} Hz for more than a day.")
        } else if t < 120.0 {
            format!(
                "{name}: can be {tolerance} Hz away after {} s: follow a beacon.",
                show::significant(t, 2)
            )
        } else {
            format!(
                "{name}: retune every {} min to stay within {tolerance} Hz.",
                show::significant(t / 60.0, 2)
            )
        });
        if let Some((_, l)) = w.lnb
            && let Some(other) = l.lo_with_tone
        {
            let tone = w.branches.iter().any(|b| b.tone);
            let unwanted = if tone { l.lo } else { other };
            text.push(format!(
                "{name}: {} the 22 kHz tone its oscillator stands at {} MHz, and nothing here is where it says.",
                if tone { "without" } else { "with" },
                show::significant(unwanted.as_mhz(), 6)
            ));
        }
    }
    let mut s = Section::new("oscillators", "oscillators", answers);
    s.text = text;
    Ok(s)
}

fn tuning(station: &Station, w: &Way, o: &FrequencyOptions) -> Result<Section, WorkflowError> {
    let p = w.passband;
    let mut rows: Vec<(String, f64)> = vec![
        ("lower edge".into(), p.downlink.lo.as_hz()),
        ("middle".into(), p.downlink.centre().as_hz()),
        ("upper edge".into(), p.downlink.hi.as_hz()),
    ];
    rows.extend(
        p.beacons
            .iter()
            .map(|b| (b.name.clone(), b.frequency.as_hz())),
    );
    let segment = station.transmit.as_ref().and_then(|t| t.segment(&p.name));
    if let Some(f) = segment.and_then(|s| s.frequency) {
        rows.push(("own carrier".into(), p.down(f).as_hz()));
    }
    for mhz in &o.channels_mhz {
        if p.downlink.contains(Frequency::mhz(*mhz)) {
            rows.push((format!("{mhz} MHz"), 1e6 * mhz));
        }
    }
    if let Some(khz) = o.step_khz {
        let n = p.downlink.width().as_hz() / (1e3 * khz);
        if !(khz > 0.0 && n <= 2000.0) {
            return Err(WorkflowError::argument(
                format!("a channel every {khz} kHz is no plan for {}", p.name),
                "give a step above zero that makes at most 2000 channels",
            ));
        }
        let mut k = 0u32;
        while f64::from(k) <= n + 1e-9 {
            rows.push((
                format!("channel {}", k + 1),
                p.downlink.lo.as_hz() + f64::from(k) * 1e3 * khz,
            ));
            k += 1;
        }
    }
    rows.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut t = Table::new(
        "channels",
        &[
            ("channel", "channel"),
            ("transmit", "transmit"),
            ("receive", "receive"),
            ("intermediate", "intermediate, nominal"),
            ("tune", "tune to"),
            ("image", "image"),
        ],
    );
    for (label, hz) in rows {
        let up = p.up(Frequency::hz(hz));
        let transmit = (station.transmit.is_some() && p.uplink.contains(up)).then(|| up.as_hz());
        let c = tune(hz, transmit, &w.conversion)?;
        let mhz = |hz: f64| number(hz / 1e6, 6, "MHz");
        t.rows.push(vec![
            Cell::Text(label),
            c.transmit_hz
                .map_or(Cell::Missing("no uplink there".into()), mhz),
            mhz(c.receive_hz),
            mhz(c.nominal_hz),
            Cell::Value(
                Estimate::normal(c.tuned_hz.value / 1e6, c.tuned_hz.u / 1e6),
                Unit::MHz,
            ),
            c.image_hz
                .map_or(Cell::Missing("no conversion".into()), mhz),
        ]);
    }
    let key = format!(
        "{}_{}",
        p.name,
        w.branches.first().map_or("", |b| b.name.as_str())
    );
    let mut s = Section::new(&key, format!("{} on {}", p.name, w.names()), Vec::new()).table(t);
    if w.conversion.mirrors(p.downlink.centre().as_hz()) {
        s = s.say("The oscillator stands above the signal: the spectrum is turned round, and so are the sidebands.");
    }
    if let Some((name, l)) = w.lnb
        && let Some(image) = w.conversion.image(p.downlink.centre().as_hz())
    {
        let inside = l.input_range.contains(Frequency::hz(image));
        s = s.say(if inside {
            format!("The image stands inside what {name} accepts: a filter before it, or another oscillator, is needed.")
        } else {
            format!("The image stands outside what {name} accepts ({} to {} MHz); its own filter keeps it out.",
                show::significant(l.input_range.lo.as_mhz(), 6), show::significant(l.input_range.hi.as_mhz(), 6))
        });
    }
    Ok(s)
}

fn mixing(
    station: &Station,
    ways: &[Way],
    o: &FrequencyOptions,
) -> Result<(Section, usize), WorkflowError> {
    let typed: Vec<Source> = o
        .sources
        .iter()
        .map(|(n, lo, hi)| Source {
            name: n.clone(),
            lo_hz: 1e6 * lo,
            hi_hz: 1e6 * hi,
        })
        .collect();
    // One transmitter sends in one passband at a time.
    let mut sending: Vec<Option<Source>> = vec![None];
    if let Some(t) = &station.transmit {
        for s in &t.segments {
            let Some(p) = station.satellite.passband(&s.passband) else {
                continue;
            };
            let (lo, hi) = s.frequency.map_or((p.uplink.lo, p.uplink.hi), |f| (f, f));
            sending.push(Some(Source {
                name: format!("transmitter ({})", p.name),
                lo_hz: lo.as_hz(),
                hi_hz: hi.as_hz(),
            }));
        }
    }
    let mut found: Vec<(String, Product, String, String)> = Vec::new();
    for w in ways {
        let (lo, hi) = w.wanted();
        let mut targets = vec![Target {
            name: format!("{}, intermediate", w.passband.name),
            lo_hz: lo,
            hi_hz: hi,
        }];
        let d = &w.passband.downlink;
        if let Some((name, l)) = w.lnb {
            targets.push(Target {
                name: format!("{}, at the feed", w.passband.name),
                lo_hz: d.lo.as_hz(),
                hi_hz: d.hi.as_hz(),
            });
            targets.push(Target {
                name: format!("what {name} accepts"),
                lo_hz: l.input_range.lo.as_hz(),
                hi_hz: l.input_range.hi.as_hz(),
            });
        }
        for tx in &sending {
            let mut sources = Vec::new();
            if let Some((name, _)) = w.lnb {
                sources.push(Source {
                    name: format!("{name} oscillator"),
                    lo_hz: w.conversion.lo_hz,
                    hi_hz: w.conversion.lo_hz,
                });
            }
            let lnb_at = sources.len();
            sources.extend(tx.clone());
            sources.extend(typed.iter().cloned());
            for p in products(&sources, o.order, &targets)? {
                let uses_lo = lnb_at == 1 && p.factors.first().is_some_and(|c| *c != 0);
                let uses_tx = tx.is_some() && p.factors.get(lnb_at).is_some_and(|c| *c != 0);
                // Without the transmitter it was found in the first round; before the converter its oscillator is not there.
                if (tx.is_some() && !uses_tx) || (p.target > 0 && uses_lo) {
                    continue;
                }
                let part = match (uses_tx, uses_lo) {
                    (true, false) => "a low-pass filter behind the power amplifier",
                    (true, true) => {
                        "a low-pass filter behind the power amplifier, and a horn or filter that keeps the transmitter out of the converter"
                    }
                    (false, _) => "screening of that source, or another frequency for it",
                };
                let formula = p.formula(&sources);
                let target = targets
                    .get(p.target)
                    .map_or(String::new(), |t| t.name.clone());
                if !found
                    .iter()
                    .any(|(f, _, t, _)| *f == formula && *t == target)
                {
                    found.push((formula, p, target, part.to_string()));
                }
            }
        }
    }
    found.sort_by_key(|(_, p, ..)| p.order);
    let mut t = Table::new(
        "products",
        &[
            ("product", "product"),
            ("order", "order"),
            ("from", "from"),
            ("to", "to"),
            ("falls_on", "falls on"),
            ("part", "what to add"),
        ],
    );
    for (formula, p, target, part) in &found {
        t.rows.push(vec![
            Cell::Text(formula.clone()),
            number(f64::from(p.order), 0, ""),
            number(p.lo_hz / 1e6, 3, "MHz"),
            number(p.hi_hz / 1e6, 3, "MHz"),
            Cell::Text(target.clone()),
            Cell::Text(part.clone()),
        ]);
    }
    let n = found.len();
    let section = Section::new(
        "mixing",
        format!("harmonics and mixing products to order {}", o.order),
        Vec::new(),
    );
    Ok((
        if n == 0 {
            section.say("None falls on what is received.")
        } else {
            section.table(t)
        },
        n,
    ))
}

fn interferers(
    station: &Station,
    ways: &[Way],
    o: &FrequencyOptions,
) -> Result<(Section, Vec<String>), WorkflowError> {
    let mut services: Vec<Service> = o
        .services
        .iter()
        .map(|(n, lo, hi)| Service {
            name: n.clone(),
            lo_hz: 1e6 * lo,
            hi_hz: 1e6 * hi,
            source: "typed".into(),
        })
        .collect();
    if !o.only_typed {
        services.extend(built_in());
    }
    let mut t = Table::new(
        "services",
        &[
            ("service", "service"),
            ("passband", "passband"),
            ("from", "from"),
            ("to", "to"),
            ("stands", "stands"),
        ],
    );
    // What helps, and against whom: the same part serves against many.
    let mut parts: Vec<(String, Vec<String>)> = Vec::new();
    let mut sources: Vec<String> = Vec::new();
    let mut inside = Vec::new();
    let mut text = Vec::new();
    for w in ways {
        let wanted = w.wanted();
        // A filter that the branches share already does that work.
        let filters: Vec<(&str, f64, f64)> = w
            .branches
            .first()
            .map_or(Vec::new(), |b| filters_behind_lnb(station, b));
        // Further away than a fifth of the band's frequency, any receiver's own filter does it (common practice, no source).
        let reach_hz = 0.2 * wanted.1;
        let around = (
            w.receiver.0.max(wanted.0 - reach_hz),
            w.receiver.1.min(wanted.1 + reach_hz),
        );
        for (s, standing) in neighbours(&services, wanted, around) {
            let held = filters
                .iter()
                .find(|(_, lo, hi)| s.hi_hz < *lo || s.lo_hz > *hi);
            let (stands, part) = match (standing, held) {
                (Standing::Inside, _) => {
                    if !inside.contains(&s.name) {
                        inside.push(s.name.clone());
                    }
                    ("inside".to_string(), remedy(standing, wanted))
                }
                (Standing::Beside { gap_hz }, Some((name, ..))) => (
                    format!("{} MHz beside", show::fixed(gap_hz / 1e6, 1)),
                    format!("{name} is there for it"),
                ),
                (Standing::Beside { gap_hz }, None) => (
                    format!("{} MHz beside", show::fixed(gap_hz / 1e6, 1)),
                    remedy(standing, wanted),
                ),
            };
            t.rows.push(vec![
                Cell::Text(s.name.clone()),
                Cell::Text(w.passband.name.clone()),
                number(s.lo_hz / 1e6, 1, "MHz"),
                number(s.hi_hz / 1e6, 1, "MHz"),
                Cell::Text(stands),
            ]);
            let part = format!("{}: {part}", w.passband.name);
            match parts.iter_mut().find(|(p, _)| *p == part) {
                Some((_, against)) => against.push(s.name.clone()),
                None => parts.push((part, vec![s.name.clone()])),
            }
            if !sources.contains(&s.source) {
                sources.push(s.source.clone());
            }
        }
        if let Some((_, l)) = w.lnb {
            let range = (
                l.output_range.lo.as_hz().max(w.receiver.0),
                l.output_range.hi.as_hz().min(w.receiver.1),
            );
            let gaps: Vec<String> = free(&services, range, wanted.1 - wanted.0)
                .iter()
                .take(4)
                .map(|(a, b)| {
                    format!(
                        "{} to {} MHz",
                        show::fixed(a / 1e6, 1),
                        show::fixed(b / 1e6, 1)
                    )
                })
                .collect();
            if !gaps.is_empty() {
                text.push(format!("{}: within reach of converter and receiver no service of the table stands at {}.", w.passband.name, gaps.join(", ")));
            }
        }
    }
    let mut s = Section::new(
        "services",
        "services in and beside the intermediate bands",
        Vec::new(),
    );
    s.text = text;
    s.text.extend(
        parts
            .iter()
            .map(|(part, against)| format!("{part}; against {}.", against.join(", "))),
    );
    if !sources.is_empty() {
        s.text.push(format!("Bands by: {}.", sources.join("; ")));
    }
    s.text.push("Whether one of them is on the air at this place is for its people to say; add what they know with --service.".into());
    Ok((if t.rows.is_empty() { s } else { s.table(t) }, inside))
}

/// Filters behind the converter: name and what they pass, Hz.
fn filters_behind_lnb<'a>(station: &'a Station, branch: &'a Branch) -> Vec<(&'a str, f64, f64)> {
    station
        .receive
        .stages(branch)
        .skip_while(|s| !matches!(s.part.kind, PartKind::Lnb(_)))
        .filter_map(|s| match &s.part.kind {
            PartKind::Filter(f) => Some((
                s.part.label.as_str(),
                f.passband.lo.as_hz(),
                f.passband.hi.as_hz(),
            )),
            _ => None,
        })
        .collect()
}

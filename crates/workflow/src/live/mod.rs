//! A running measurement: a source that is never held up, a meter, a search for the satellite, and the latest reading
//! for whoever looks.
//!
//! Three threads: one reads the source and puts samples in a queue of bounded length; one measures what the queue gives;
//! one looks for the satellite in the last seconds. Nobody who looks at the latest reading can slow them.

mod dish;
mod input;
mod simulated;

pub use dish::{Doing, Said, Step, Told};
pub use input::LiveInput;
pub use simulated::Simulated;

use crate::WorkflowError;
use crate::predict::Predicted;
use crate::search::search_plan;
use dish::Session;
use slantpath_capture::live::{Feed, LiveMeter, LivePicture, LivePlan, Reading, Rule, Survey};
use slantpath_capture::locate::Location;
use slantpath_capture::source::SampleFormat;
use slantpath_plan::pointing::Axis;
use slantpath_station::Station;
use slantpath_stats::Stop;
use std::sync::mpsc::{Receiver, SyncSender, TryRecvError, sync_channel};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Seconds of samples that may wait to be measured; what is older is lost, so that a value is never older than this.
const QUEUE_S: f64 = 0.3;
/// Time between two searches for a satellite that is not found, and that is.
const SEARCH: Duration = Duration::from_millis(700);
const SEARCH_AGAIN: Duration = Duration::from_secs(3);
/// Searches in vain after which a satellite counts as gone (a dish may be turned away from it for a while).
const MISSES: u32 = 20;
/// Samples handed on at once, seconds.
const BLOCK_S: f64 = 0.02;

/// What is measured live, and how it is to be read.
#[derive(Debug, Clone)]
pub struct LiveOptions {
    /// Where samples come from.
    pub input: LiveInput,
    /// Sample format, for raw samples.
    pub format: Option<SampleFormat>,
    /// Sample rate, Hz, unless the stream says it.
    pub rate_hz: Option<f64>,
    /// Frequency at the middle of the band, Hz, unless the stream says it.
    pub center_hz: Option<f64>,
    /// Branch of the station that it is.
    pub branch: Option<String>,
    /// How far the oscillator may be off, Hz each way.
    pub lo_tolerance_hz: Option<f64>,
}

/// The stream as last seen.
#[derive(Debug, Clone)]
pub struct Latest {
    /// Number of the reading, from 1; a jump means that some were not seen.
    pub seq: u64,
    /// When it was made.
    pub made: Option<Instant>,
    /// The reading, without its picture.
    pub reading: Option<Arc<Reading>>,
    /// The latest picture, and the reading that it came with.
    pub picture: Option<(u64, Arc<LivePicture>)>,
    /// How the satellite was found.
    pub location: Option<Location>,
    /// What the source is doing.
    pub source: String,
    /// Sample rate, Hz.
    pub rate_hz: f64,
}

impl Latest {
    /// How old the reading is.
    pub fn age(&self) -> Option<Duration> {
        self.made.map(|t| t.elapsed())
    }
}

#[derive(Debug)]
pub(crate) struct Shared {
    pub feed: Feed,
    pub stop: Stop,
    latest: Mutex<Latest>,
    /// Sample rate and centre, once known.
    tuned: Mutex<Option<(f64, f64)>>,
    session: Mutex<Session>,
    own_hz: Mutex<Option<f64>>,
    simulated: Option<Simulated>,
}

impl Shared {
    pub(crate) fn say(&self, source: impl Into<String>) {
        if let Ok(mut l) = self.latest.lock() {
            l.source = source.into();
        }
    }
    pub(crate) fn tune(&self, rate_hz: f64, center_hz: f64) {
        if let Ok(mut t) = self.tuned.lock() {
            *t = Some((rate_hz, center_hz));
        }
        if let Ok(mut l) = self.latest.lock() {
            l.rate_hz = rate_hz;
        }
    }
}

/// A running measurement. It ends when this is dropped.
#[derive(Debug)]
pub struct Live {
    shared: Arc<Shared>,
    /// What is measured.
    pub name: String,
    /// Branch it stands for.
    pub branch: Option<String>,
}

impl Live {
    /// Starts measuring.
    ///
    /// # Errors
    /// A branch that the station does not have, a station that cannot be simulated.
    pub fn start(
        station: &Station,
        predicted: &Predicted,
        options: &LiveOptions,
    ) -> Result<Self, WorkflowError> {
        let branch = match &options.branch {
            Some(b) if station.receive.branch(b).is_none() => {
                return Err(WorkflowError::argument(
                    format!("there is no branch `{b}`"),
                    "name one of the station file",
                ));
            }
            Some(b) => Some(b.clone()),
            None => station.receive.branches.first().map(|b| b.name.clone()),
        };
        let simulated = match options.input {
            LiveInput::Simulated => Some(Simulated::new(station, predicted, branch.as_deref())?),
            _ => None,
        };
        let most = options
            .rate_hz
            .or(simulated.as_ref().map(Simulated::rate_hz))
            .map_or(1 << 20, |r| (QUEUE_S * r) as usize);
        let own_hz = own_downlink(station);
        let shared = Arc::new(Shared {
            feed: Feed::new(most.max(4096)),
            stop: Stop::new(),
            latest: Mutex::new(Latest {
                seq: 0,
                made: None,
                reading: None,
                picture: None,
                location: None,
                source: "starting".into(),
                rate_hz: 0.0,
            }),
            tuned: Mutex::new(None),
            session: Mutex::new(Session::new(station, predicted, branch.as_deref())),
            own_hz: Mutex::new(own_hz),
            simulated,
        });
        let search = search_plan(
            station,
            branch.as_deref(),
            options.center_hz,
            options.lo_tolerance_hz,
        );
        let rules = station
            .satellite
            .passbands
            .iter()
            .map(|p| Rule {
                passband: p.name.clone(),
                limit: p.rule.as_ref().map(|r| (r.beacon.clone(), r.limit_db)),
                symbol_rates: p.symbol_rates.clone(),
            })
            .collect();
        let plan = LivePlan {
            search,
            sample_rate_hz: 0.0,
            centre_hz: 0.0,
            rules,
            own_half_hz: 3e3,
        };
        let (jobs, work) = sync_channel::<Survey>(1);
        let (done, found) = sync_channel(1);
        std::thread::spawn(move || look_for(&work, &done));
        let s = Arc::clone(&shared);
        std::thread::spawn(move || measure(&s, plan, &jobs, &found));
        let (s, o) = (Arc::clone(&shared), options.clone());
        std::thread::spawn(move || input::read(&s, &o));
        Ok(Self {
            shared,
            name: options.input.to_string(),
            branch,
        })
    }

    /// What was last seen.
    pub fn latest(&self) -> Option<Latest> {
        self.shared.latest.lock().ok().map(|l| l.clone())
    }

    /// What to do at the dish.
    pub fn said(&self) -> Option<Told> {
        let latest = self.latest()?;
        self.shared
            .session
            .lock()
            .ok()
            .map(|mut s| s.told(&latest, Instant::now()))
    }

    /// A bolt was turned by so many turns; positive is right or up. A simulated dish turns too.
    ///
    /// # Errors
    /// More turns than hands would make at once.
    pub fn turned(&self, axis: Axis, turns: f64) -> Result<(), WorkflowError> {
        if !(turns.is_finite() && turns.abs() <= 10.0 && turns != 0.0) {
            return Err(WorkflowError::argument(
                "that is no turn of a bolt",
                "up to ten turns at once",
            ));
        }
        if let Some(sim) = &self.shared.simulated {
            sim.turn(axis, turns);
        }
        if let Ok(mut s) = self.shared.session.lock() {
            s.turned(axis, turns, Instant::now());
        }
        Ok(())
    }

    /// A phone that lies on the dish tilted by so many degrees while the elevation bolt was turned by so many turns. What
    /// that teaches, in a sentence.
    ///
    /// # Errors
    /// Figures that cannot be.
    pub fn tilted(&self, turns: f64, degrees: f64) -> Result<String, WorkflowError> {
        let can_be = turns.is_finite() && (0.05..=20.0).contains(&turns.abs());
        if !(can_be && degrees.is_finite() && (0.0..=90.0).contains(&degrees.abs())) {
            return Err(WorkflowError::argument(
                "that is no tilt for a turn",
                "turns up to twenty, degrees up to ninety",
            ));
        }
        Ok(match self.shared.session.lock() {
            Ok(mut s) => s.tilted(turns, degrees.abs()),
            Err(_) => String::new(),
        })
    }

    /// Forgets every hold: the dish was moved otherwise.
    pub fn start_over(&self) {
        if let Ok(mut s) = self.shared.session.lock() {
            s.start_over(Instant::now());
        }
    }

    /// The person at the dish says that the amplifier's supply is disconnected. It is their word.
    pub fn supply_disconnected(&self, yes: bool) {
        if let Ok(mut s) = self.shared.session.lock() {
            s.disconnected = yes;
        }
    }

    /// Downlink frequency at which the own carrier is looked for, Hz.
    pub fn own_hz(&self) -> Option<f64> {
        self.shared.own_hz.lock().ok().and_then(|o| *o)
    }

    /// Looks for the own carrier there.
    pub fn watch_own(&self, hz: Option<f64>) {
        if let Ok(mut o) = self.shared.own_hz.lock() {
            *o = hz.filter(|f| f.is_finite());
        }
    }

    /// The simulated dish's error and loss, for tests and for learning: degrees right, degrees up, dB.
    pub fn simulated_error(&self) -> Option<(f64, f64, f64)> {
        self.shared.simulated.as_ref().map(Simulated::error)
    }
}

impl Drop for Live {
    fn drop(&mut self) {
        self.shared.stop.request();
        self.shared.feed.close();
    }
}

/// Downlink frequency of the station's own fixed uplink, if it has one.
fn own_downlink(station: &Station) -> Option<f64> {
    let t = station.transmit.as_ref()?;
    station.satellite.passbands.iter().find_map(|p| {
        let f = t.segment(&p.name)?.frequency?;
        Some(p.down(f).as_hz())
    })
}

fn look_for(
    work: &Receiver<Survey>,
    done: &SyncSender<Result<Location, slantpath_capture::locate::NotFound>>,
) {
    while let Ok(job) = work.recv() {
        if done.send(job.run()).is_err() {
            return;
        }
    }
}

/// The measuring thread.
fn measure(
    shared: &Shared,
    mut plan: LivePlan,
    jobs: &SyncSender<Survey>,
    found: &Receiver<Result<Location, slantpath_capture::locate::NotFound>>,
) {
    let (mut meter, mut own) = (None::<LiveMeter>, None);
    let (mut misses, mut asked, mut busy) = (0, Instant::now(), false);
    let mut location: Option<Location> = None;
    while !shared.stop.is_requested() {
        let Some(piece) = shared.feed.take(Duration::from_millis(200)) else {
            continue;
        };
        if meter.is_none() {
            let Some((rate, centre)) = shared.tuned.lock().ok().and_then(|t| *t) else {
                continue;
            };
            plan.sample_rate_hz = rate;
            plan.centre_hz = centre;
            match LiveMeter::new(plan.clone()) {
                Ok(m) => meter = Some(m),
                Err(e) => {
                    shared.say(e.to_string());
                    shared.feed.close();
                    return;
                }
            }
        }
        let Some(m) = &mut meter else { continue };
        let watch = shared.own_hz.lock().ok().and_then(|o| *o);
        if watch != own {
            own = watch;
            m.own_transmit(own);
        }
        match found.try_recv() {
            Ok(Ok(l)) => {
                (misses, busy) = (0, false);
                location = Some(l);
                m.place(location.clone());
            }
            Ok(Err(_)) => {
                busy = false;
                misses += 1;
                if misses == MISSES && location.is_some() {
                    location = None;
                    m.place(None);
                }
            }
            Err(TryRecvError::Empty) => {}
            Err(TryRecvError::Disconnected) => return,
        }
        m.gap(piece.lost_before);
        m.push(&piece.samples, |r| publish(shared, r, location.as_ref()));
        let wait = if location.is_some() {
            SEARCH_AGAIN
        } else {
            SEARCH
        };
        if !busy
            && asked.elapsed() >= wait
            && let Some(job) = m.survey()
        {
            asked = Instant::now();
            busy = jobs.try_send(job).is_ok();
        }
    }
}

fn publish(shared: &Shared, mut r: Reading, location: Option<&Location>) {
    let picture = r.picture.take().map(Arc::new);
    let now = Instant::now();
    if let Ok(mut s) = shared.session.lock() {
        s.take(&r, now);
    }
    if let Ok(mut l) = shared.latest.lock() {
        l.seq += 1;
        l.made = Some(now);
        if let Some(p) = picture {
            l.picture = Some((l.seq, p));
        }
        l.reading = Some(Arc::new(r));
        if l.location.as_ref() != location {
            l.location = location.cloned();
        }
    }
}

#[cfg(test)]
mod tests;

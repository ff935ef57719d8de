//! The passband as it stands now, and the stream of readings behind this page and the dish's.

use crate::house::House;
use crate::layout::{Trouble, page};
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::sse::{Event, Sse};
use axum::response::{Html, IntoResponse, Response};
use futures_util::Stream;
use maud::{Markup, html};
use serde_json::{Value, json};
use slantpath_capture::live::{BeaconNow, LivePicture, Slots};
use slantpath_workflow::live::{Doing, Latest, Live, Said, Told};
use std::convert::Infallible;
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

/// Time between two looks for a fresh reading.
const LOOK: Duration = Duration::from_millis(50);
/// A reading older than this is not sent.
const OLDEST: Duration = Duration::from_millis(450);
/// Time after which a silent stream says that it lives.
const ALIVE: Duration = Duration::from_millis(900);

pub(super) async fn show(State(house): State<Arc<House>>) -> Result<Html<String>, Trouble> {
    let Some(live) = house.live() else {
        return Ok(page("Live", "/live", "", &absent()));
    };
    let body = html! {
        h1 { "Live: " (live.name) }
        p.state id="state" role="status" { "connecting" }
        div id="spectrum" data-stream="/live/stream?with=picture" {
            noscript { p { "This page draws what is received now and needs its script." } }
        }
        p.quiet id="hover" aria-live="polite" { "Point at the spectrum, or use the arrow keys, for frequency and density." }
        div.columns {
            section aria-labelledby="beacons-title" {
                h2 id="beacons-title" { "Beacons" }
                div.wide tabindex="0" role="region" aria-label="beacons, table" { table id="beacons" {
                    thead { tr { th { "beacon" } th { "C/N" sub { "0" } } th { "level" } th { "state" } } }
                    tbody {}
                } }
                p.quiet id="losses" {}
            }
            section aria-labelledby="free-title" {
                h2 id="free-title" { "Free" }
                div.wide tabindex="0" role="region" aria-label="free stretches, table" { table id="free" {
                    thead { tr { th { "from" } th { "to" } th { "width" } th { "symbol rates that fit" } } }
                    tbody {}
                } }
                p.quiet id="rule" {}
            }
            section aria-labelledby="taken-title" {
                h2 id="taken-title" { "Taken" }
                div.wide tabindex="0" role="region" aria-label="what is taken, table" { table id="taken" {
                    thead { tr { th { "middle" } th { "width" } th { "C/N" } th { "against the beacon" } } }
                    tbody {}
                } }
            }
        }
    };
    Ok(page("Live", "/live", "", &body))
}

pub(super) fn absent() -> Markup {
    html! {
        h1 { "Nothing is received" }
        p { "Start with a source of samples:" }
        pre { "slantpath serve STATION --live simulated\nslantpath serve STATION --live tcp:HOST:PORT --format ci16 --rate 640000 --center 739.35" }
        p { "Other sources: " code { "file:PATH" } " for a file that grows, " code { "-" } " for standard input." }
    }
}

/// One visitor's place in the stream.
struct Place {
    house: Arc<House>,
    seq: u64,
    picture: u64,
    with_picture: bool,
    with_dish: bool,
    sent: Instant,
}

pub(super) async fn stream(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Response {
    if house.live().is_none() {
        return (StatusCode::NOT_FOUND, "nothing is received\n").into_response();
    }
    let wants = |what: &str| pairs.iter().any(|(k, v)| k == "with" && v == what);
    let place = Place {
        seq: 0,
        picture: 0,
        with_picture: wants("picture"),
        with_dish: wants("dish"),
        sent: Instant::now(),
        house,
    };
    Sse::new(events(place)).into_response()
}

/// Readings as they come. Nothing waits for a visitor: one who is slow gets the latest reading when there is room again,
/// and its number says how many were missed.
fn events(place: Place) -> impl Stream<Item = Result<Event, Infallible>> + Send {
    futures_util::stream::unfold(place, |mut p| async move {
        loop {
            tokio::time::sleep(LOOK).await;
            let latest = p.house.live().and_then(Live::latest)?;
            let age = latest.age().unwrap_or(Duration::MAX);
            if latest.seq > p.seq && age <= OLDEST {
                let data = p.reading(&latest, age);
                p.sent = Instant::now();
                return Some((
                    Ok(Event::default().event("reading").data(data.to_string())),
                    p,
                ));
            }
            if p.sent.elapsed() >= ALIVE {
                p.sent = Instant::now();
                let data = json!({ "source": latest.source }).to_string();
                return Some((Ok(Event::default().event("quiet").data(data)), p));
            }
        }
    })
}

impl Place {
    fn reading(&mut self, latest: &Latest, age: Duration) -> Value {
        let missed = if self.seq == 0 {
            0
        } else {
            latest.seq - self.seq - 1
        };
        self.seq = latest.seq;
        let mut out = json!({
            "seq": latest.seq,
            "missed": missed,
            "at_ms": u64::try_from(begun().elapsed().as_millis()).unwrap_or(u64::MAX),
            "age_ms": u64::try_from(age.as_millis()).unwrap_or(u64::MAX),
            "source": latest.source,
        });
        if let Some(r) = &latest.reading {
            out["lost"] = json!(r.lost);
            out["lost_s"] = json!(rounded(r.lost as f64 / latest.rate_hz.max(1.0), 10.0));
            out["clipped"] = json!(r.clipped);
            out["power_dbfs"] = json!(rounded(r.power_dbfs, 10.0));
            out["located"] = json!(r.located);
            out["own"] = json!(r.own.map(|o| o.rf_hz));
            out["beacons"] = r.beacons.iter().map(beacon).collect();
        }
        if self.with_picture
            && let Some((at, picture)) = &latest.picture
            && *at != self.picture
        {
            self.picture = *at;
            out["picture"] = draw(picture);
        }
        if self.with_dish
            && let Some(told) = self.house.live().and_then(Live::said)
        {
            out["dish"] = dish(&told);
        }
        out
    }
}

/// When this program began to send: the page compares clocks by it.
fn begun() -> Instant {
    static BEGUN: OnceLock<Instant> = OnceLock::new();
    *BEGUN.get_or_init(Instant::now)
}

/// No more digits than are known.
fn rounded(x: f64, steps: f64) -> f64 {
    (x * steps).round() / steps
}

fn beacon(b: &BeaconNow) -> Value {
    json!({
        "id": b.id(), "seen": b.seen, "steady": b.steady,
        "cn0": [rounded(b.cn0_dbhz.0, 10.0), rounded(b.cn0_dbhz.1, 100.0)],
        "level": [rounded(b.level_dbfs.0, 10.0), rounded(b.level_dbfs.1, 100.0)],
    })
}

fn draw(p: &LivePicture) -> Value {
    let density = |v: &[(f64, f64)]| -> Vec<f64> { v.iter().map(|x| rounded(x.1, 10.0)).collect() };
    json!({
        "lo": p.spectrum.first().map(|x| x.0), "hi": p.spectrum.last().map(|x| x.0),
        "downlink": p.downlink,
        "density": density(&p.spectrum), "floor": density(&p.floor),
        "marks": p.marks,
        "slots": p.slots.iter().map(slots).collect::<Vec<_>>(),
    })
}

fn slots(s: &Slots) -> Value {
    json!({
        "passband": s.passband,
        "es_n0": s.es_n0_at_limit_db.map(|x| rounded(x, 10.0)),
        "taken": s.taken.iter().map(|t| json!({
            "at": t.at_hz, "width": t.width_hz, "c_n": rounded(t.c_n_db, 10.0), "beacon": t.beacon,
            "over": t.over_beacon_db.map(|x| rounded(x, 10.0)), "above": t.above_rule,
        })).collect::<Vec<_>>(),
        "free": s.free.iter().map(|g| json!({
            "lo": g.lo_hz, "hi": g.hi_hz,
            "fits": g.fits.iter().map(|f| json!([f.symbol_rate, f.rolloff])).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
    })
}

/// Name of an act, for the page's colours.
pub(super) fn doing(s: &Said) -> &'static str {
    match s.doing {
        Doing::Wait => "wait",
        Doing::Disconnect => "disconnect",
        Doing::Search => "search",
        Doing::Hold => "hold",
        Doing::Turn => "turn",
        Doing::Finished => "finished",
        Doing::Stop => "stop",
    }
}

fn dish(t: &Told) -> Value {
    let pair = |x: (f64, f64)| json!([rounded(x.0, 100.0), rounded(x.1, 100.0)]);
    json!({
        "text": t.said.text, "detail": t.said.detail, "doing": doing(&t.said), "found": t.found,
        "step": t.said.step.map(|s| json!({ "axis": s.axis.name(), "turns": s.turns })),
        "level": t.level.map(|(v, u, unit)| json!([rounded(v, 100.0), rounded(u, 100.0), unit])),
        "peak": t.peak.map(|x| rounded(x, 100.0)),
        "fitted": t.fitted_peak.map(pair), "left": t.left.map(pair),
        "history": t.history.iter().map(|x| x.map(|v| rounded(v, 100.0))).collect::<Vec<_>>(),
        "holds": t.holds, "turns": [t.turns.0, t.turns.1],
        "per_turn": t.per_turn.map(|p| [pair(p[0]), pair(p[1])]),
        "cross": t.cross.as_ref().map(|c| json!({
            "beacon": c.beacon, "now": rounded(c.now, 10.0), "lowest": rounded(c.lowest, 10.0), "seen": c.seen,
        })),
        "disconnected": t.disconnected,
    })
}

//! At the dish, on a phone: one sentence, one level, buttons for gloves.

use super::live::{absent, doing};
use crate::house::House;
use crate::layout::{Trouble, page};
use axum::Extension;
use axum::extract::{Form, State};
use axum::response::{Html, Redirect};
use maud::{Markup, html};
use slantpath_plan::pointing::Axis;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::live::Live;
use std::sync::Arc;

pub(super) async fn show(
    State(house): State<Arc<House>>,
    home: Option<Extension<super::AtHome>>,
) -> Result<Html<String>, Trouble> {
    let at_home = home.is_some();
    let Some(live) = house.live() else {
        return Ok(page("At the dish", "/dish", "", &absent()));
    };
    let told = live.said();
    let (text, detail, act) = told
        .as_ref()
        .map_or(("Nothing arrives".into(), String::new(), "wait"), |t| {
            (t.said.text.clone(), t.said.detail.clone(), doing(&t.said))
        });
    let body = html! {
        div.dish id="dish" data-stream="/live/stream?with=dish" data-doing=(act) {
            h1.say id="say" role="alert" { (text) }
            p.detail id="detail" { (detail) }
            p.state id="state" role="status" { "connecting" }
            div.acts {
                form method="post" action="/dish/supply" id="supply" hidden[act != "disconnect"] {
                    input type="hidden" name="disconnected" value="yes";
                    button.big { "I have pulled the supply's plug" }
                }
                form method="post" action="/dish/turn" id="asked" hidden {
                    input type="hidden" name="axis" value="azimuth";
                    input type="hidden" name="turns" value="0";
                    button.big { "Turned" }
                }
            }
            div.meter {
                p.level { output id="level" { "–" } " " span id="unit" {} }
                p.quiet { "peak so far " b id="peak" { "–" } " · still to win " b id="left" { "–" } }
                div id="history" aria-hidden="true" {}
            }
            div.acts.side {
                button type="button" id="tone" aria-pressed="false" { "Tone: off" }
                button type="button" id="awake" aria-pressed="false" hidden { "Keep the screen on" }
                button type="button" id="tilt" aria-pressed="false" hidden { "Tilt: off" }
            }
            p id="tilt-said" role="status" {}
            p.quiet id="lost" hidden {}
            @if at_home { p { a href="/phone" { "Invite a phone to this page" } } }
            details {
                summary { "I turned something else" }
                (turns(Axis::Azimuth, "left", "right"))
                (turns(Axis::Elevation, "down", "up"))
                form method="post" action="/dish/again" { button { "Start over: the dish was moved otherwise" } }
            }
            details {
                summary { "Skew: turn the feed to a null" }
                p id="cross" { "No beacon of the other polarisation lies in the received band. Tune the receiver so that one does, with the LNB's voltage as it is; its lowest level is the right skew." }
                p.quiet { "Turn the feed slowly through its lowest level and back. Near the null the level changes fast with the angle; the peak of the wanted beacon hardly changes at all." }
            }
            details {
                summary { "Focus: slide the feed to the highest level" }
                p.quiet { "Mark where the feed stands. Slide it 3 mm at a time along its axis, wait for a full hold each time, and stay where the level is highest; then peak the bolts once more." }
            }
            details {
                summary { "What is known" }
                p id="found" { (told.as_ref().map(|t| t.found.clone()).unwrap_or_default()) }
                p id="learned" {}
                (own(live))
            }
            section.say.warn aria-label="caution" {
                ul {
                    li { "This page never knows whether the transmitter is off. Only a disconnected supply is." }
                    li { "Never stand between feed and dish while anything can transmit; the amplifier's field there is the strongest of the whole station." }
                    li { "With the Sun near the beam a bright dish can burn feed, LNB and eyes. Do not look into the feed." }
                    li { "On a ladder or roof: be held or tied, keep one hand free, mind power lines, come down when the wind rises." }
                }
            }
        }
    };
    Ok(page("At the dish", "/dish", "", &body))
}

fn turns(axis: Axis, less: &str, more: &str) -> Markup {
    html! {
        fieldset {
            legend { (axis.name()) }
            div.grid {
                @for (way, sign) in [(less, -1.0), (more, 1.0)] {
                    @for (amount, text) in [(0.125, "1/8"), (0.25, "1/4"), (0.5, "1/2"), (1.0, "1")] {
                        form method="post" action="/dish/turn" {
                            input type="hidden" name="axis" value=(axis.name());
                            input type="hidden" name="turns" value=(sign * amount);
                            button { (way) " " (text) }
                        }
                    }
                }
            }
        }
    }
}

/// Where the own carrier is looked for.
fn own(live: &Live) -> Markup {
    html! {
        form method="post" action="/dish/own" {
            label { "My downlink frequency, MHz: STOP is shown when a carrier stands there "
                input name="mhz" inputmode="decimal" autocomplete="off" maxlength="16"
                    value=(live.own_hz().map(|f| format!("{:.4}", f / 1e6)).unwrap_or_default());
            }
            button { "Watch" }
        }
    }
}

type Pairs = Form<Vec<(String, String)>>;

fn field<'a>(pairs: &'a Pairs, name: &str) -> &'a str {
    pairs
        .iter()
        .find(|(k, _)| k == name)
        .map(|(_, v)| v.trim())
        .unwrap_or_default()
}

fn running(house: &House) -> Result<&Live, Trouble> {
    house.live().ok_or_else(|| {
        Trouble(WorkflowError::argument(
            "nothing is received",
            "start with --live",
        ))
    })
}

pub(super) async fn turn(
    State(house): State<Arc<House>>,
    pairs: Pairs,
) -> Result<Redirect, Trouble> {
    let axis = match field(&pairs, "axis") {
        "azimuth" => Axis::Azimuth,
        "elevation" => Axis::Elevation,
        other => {
            return Err(Trouble(WorkflowError::argument(
                format!("`{other}` is no bolt"),
                "azimuth or elevation",
            )));
        }
    };
    let turns = field(&pairs, "turns").parse().unwrap_or(f64::NAN);
    running(&house)?.turned(axis, turns)?;
    Ok(Redirect::to("/dish"))
}

pub(super) async fn again(State(house): State<Arc<House>>) -> Result<Redirect, Trouble> {
    running(&house)?.start_over();
    Ok(Redirect::to("/dish"))
}

pub(super) async fn supply(
    State(house): State<Arc<House>>,
    pairs: Pairs,
) -> Result<Redirect, Trouble> {
    running(&house)?.supply_disconnected(field(&pairs, "disconnected") == "yes");
    Ok(Redirect::to("/dish"))
}

/// Degrees of tilt that a phone on the dish read for turns of the elevation bolt.
pub(super) async fn tilt(State(house): State<Arc<House>>, pairs: Pairs) -> Result<String, Trouble> {
    let number = |name: &str| field(&pairs, name).parse().unwrap_or(f64::NAN);
    Ok(running(&house)?.tilted(number("turns"), number("degrees"))?)
}

pub(super) async fn watch(
    State(house): State<Arc<House>>,
    pairs: Pairs,
) -> Result<Redirect, Trouble> {
    let text = field(&pairs, "mhz");
    let hz = match text.parse::<f64>() {
        _ if text.is_empty() => None,
        Ok(mhz) if mhz.is_finite() && mhz > 0.0 => Some(mhz * 1e6),
        _ => {
            return Err(Trouble(WorkflowError::argument(
                format!("`{text}` is no frequency"),
                "megahertz, for example 10472.3500",
            )));
        }
    };
    running(&house)?.watch_own(hz);
    Ok(Redirect::to("/dish"))
}

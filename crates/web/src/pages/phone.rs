//! Inviting a phone to the network door. Served at the loopback door only: who sits at the station computer decides.

use crate::house::House;
use crate::layout::{Trouble, page};
use crate::network::code;
use axum::extract::State;
use axum::response::Html;
use maud::{Markup, html};
use slantpath_workflow::WorkflowError;
use std::sync::Arc;

pub(super) async fn show(State(house): State<Arc<House>>) -> Html<String> {
    let body = html! {
        h1 { "A phone at the dish" }
        @match house.network.get() {
            None => {
                p { "There is no door to the local network. Start with one:" }
                pre { "slantpath serve " (house.path().display()) " --lan" }
            },
            Some(n) => {
                p { "The door is open at " code { (n.base) } ". Each phone comes in by a key that works once." }
                (invite())
                (fingerprint(&n.fingerprint))
            },
        }
    };
    page("A phone at the dish", "", "", &body)
}

fn invite() -> Markup {
    html! {
        form method="post" action="/phone" { button { "Invite a phone" } }
        p.quiet { "An invitation that nobody has used yet becomes void with the next one. Phones that are in stay in." }
    }
}

fn fingerprint(said: &str) -> Markup {
    html! {
        section.say aria-label="certificate" {
            p { "The phone's browser will warn that it does not know the certificate. Go on only if the SHA-256 fingerprint that it shows is this one:" }
            p { code.print { (said) } }
            p.quiet { "Without TLS the key could be read by everybody on the network, the screen could not be kept awake and tilt could not be read." }
        }
    }
}

pub(super) async fn invited(State(house): State<Arc<House>>) -> Result<Html<String>, Trouble> {
    let Some(n) = house.network.get() else {
        return Err(Trouble(WorkflowError::argument(
            "there is no door to the local network",
            "start with --lan",
        )));
    };
    let address = n.invite("/dish").map_err(|cause| WorkflowError::Machine {
        path: "a key".into(),
        cause,
    })?;
    let body = html! {
        h1 { "A phone at the dish" }
        p { "Point the phone's camera here, or type the address. It works once." }
        (code(&address))
        p { code.print id="address" { (address) } }
        (invite())
        (fingerprint(&n.fingerprint))
    };
    Ok(page("A phone at the dish", "", "", &body))
}

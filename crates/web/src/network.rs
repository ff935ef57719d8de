//! The door to the local network as the station computer sees it: whom to invite, and how.

use crate::guard::{Door, Key};
use fast_qr::QRBuilder;
use maud::{Markup, PreEscaped, html};
use std::fmt::Write as _;
use std::sync::Arc;

/// Light border of a code, in its own modules (ISO/IEC 18004: four).
const BORDER: usize = 4;

/// The network door, and what a phone must know to come in.
pub(crate) struct Network {
    /// The door.
    pub door: Arc<Door>,
    /// `https://address:port`.
    pub base: String,
    /// SHA-256 of its certificate, as browsers show it.
    pub fingerprint: String,
}

impl Network {
    /// A fresh one-time key, for one more phone: the address that holds it. An earlier key that nobody used is void.
    ///
    /// # Errors
    /// The system has no randomness to give.
    pub fn invite(&self, path: &str) -> std::io::Result<String> {
        let key = Key::fresh()?;
        self.door.invite(key.clone());
        Ok(format!("{}{path}?key={}", self.base, key.text()))
    }
}

/// An address as a picture for a phone's camera: black on white whatever the page's colours are.
pub(crate) fn code(address: &str) -> Markup {
    let Ok(q) = QRBuilder::new(address).build() else {
        return html! { p { "No code can be drawn; type the address." } };
    };
    let side = q.size + 2 * BORDER;
    let mut d = String::new();
    for y in 0..q.size {
        for x in 0..q.size {
            if q[y][x].value() {
                let _ = write!(d, "M{} {}h1v1h-1z", x + BORDER, y + BORDER);
            }
        }
    }
    PreEscaped(format!(
        "<svg class=\"code\" viewBox=\"0 0 {side} {side}\" role=\"img\" aria-label=\"the address as a code for the phone's camera\" \
         shape-rendering=\"crispEdges\"><rect width=\"{side}\" height=\"{side}\" fill=\"#fff\"/><path d=\"{d}\" fill=\"#000\"/></svg>"
    ))
}

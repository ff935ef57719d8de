//! One file per page.

mod book;
mod chain;
mod dish;
mod drawings;
mod figures;
mod form;
mod live;
mod phone;
mod recordings;
mod share;
mod sky;

use crate::guard::{Door, guard};
use crate::house::House;
use axum::extract::DefaultBodyLimit;
use axum::http::header;
use axum::middleware::from_fn_with_state;
use axum::response::IntoResponse;
use axum::routing::{get, post};
use axum::{Extension, Router};
use std::sync::Arc;

const CSS: &str = concat!(include_str!("page.css"));
const JS: &str = concat!(
    include_str!("page.js"),
    include_str!("live.js"),
    include_str!("jobs.js"),
    include_str!("figures.js"),
    include_str!("tilt.js")
);

/// Marks what is asked for at the station computer itself.
#[derive(Clone, Copy)]
struct AtHome;

/// Every route, behind a door.
pub fn router(house: Arc<House>, door: Arc<Door>) -> Router {
    let mut pages = Router::new();
    // Who sits at the station computer invites; a phone that is in does not.
    if door.is_loopback() {
        pages = pages
            .route("/phone", get(phone::show).post(phone::invited))
            .route("/dish", get(dish::show).layer(Extension(AtHome)));
    } else {
        pages = pages.route("/dish", get(dish::show));
    }
    pages
        .route("/", get(chain::show))
        .route("/variant", post(chain::save))
        .route("/solved", get(chain::solved))
        .route("/figures", get(figures::show))
        .route("/drawings", get(drawings::first))
        .route("/drawings/{kind}", get(drawings::show))
        .route("/sky", get(sky::show))
        .route("/live", get(live::show))
        .route("/live/stream", get(live::stream))
        .route("/dish/turn", post(dish::turn))
        .route("/dish/again", post(dish::again))
        .route("/dish/supply", post(dish::supply))
        .route("/dish/tilt", post(dish::tilt))
        .route("/dish/own", post(dish::watch))
        .route("/book", get(book::timeline))
        .route("/book/entry", get(book::entry))
        .route("/book/series", get(book::series))
        .route("/book/write", get(book::forms).post(book::write))
        .route("/book/contact", get(book::contacts).post(book::contact))
        .route("/book/contacts.adi", get(book::adif))
        .route("/book/contacts.geojson", get(share::contacts_map))
        .route("/book/echo", get(share::echo))
        .route("/sheet", get(share::sheet))
        .route("/sheet.html", get(share::sheet_file))
        .route("/recordings", get(recordings::show))
        .route(
            "/recordings/upload",
            post(recordings::upload).layer(DefaultBodyLimit::disable()),
        )
        .route("/recordings/measure", post(recordings::measure))
        .route("/recordings/job", get(recordings::job))
        .route("/recordings/stop", post(recordings::stop))
        .route("/recordings/forget", post(recordings::forget_one))
        .route("/recordings/keep", post(recordings::keep))
        .route("/recordings/reading", post(recordings::reading))
        .route("/metrics", get(book::metrics))
        .route("/page.css", get(css))
        .route("/page.js", get(js))
        .with_state(house)
        .layer(from_fn_with_state(door, guard))
}

async fn css() -> impl IntoResponse {
    let text = format!("{}\n{CSS}", slantpath_report::page::STYLE);
    ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], text)
}

async fn js() -> impl IntoResponse {
    (
        [(header::CONTENT_TYPE, "text/javascript; charset=utf-8")],
        JS,
    )
}

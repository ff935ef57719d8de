//! One file per page.

mod chain;
mod figures;
mod sky;

use crate::guard::{Door, guard};
use crate::house::House;
use axum::Router;
use axum::http::header;
use axum::middleware::from_fn_with_state;
use axum::response::IntoResponse;
use axum::routing::{get, post};
use std::sync::Arc;

const CSS: &str = concat!(include_str!("page.css"));
const JS: &str = include_str!("page.js");

/// Every route, behind a door.
pub fn router(house: Arc<House>, door: Arc<Door>) -> Router {
    Router::new()
        .route("/", get(chain::show))
        .route("/variant", post(chain::save))
        .route("/figures", get(figures::show))
        .route("/sky", get(sky::show))
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

//! Sky: where the satellite stands, the horizon, the Sun's transits.

use super::drawings::beside;
use crate::house::House;
use crate::layout::{Trouble, compute, page, ready};
use crate::view::View;
use axum::extract::{Query, State};
use axum::response::Html;
use maud::html;
use slantpath_workflow::survey::survey;
use std::sync::Arc;

pub(super) async fn show(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Result<Html<String>, Trouble> {
    compute(&house, move |house| {
        let text = house.text()?;
        let view = View::read(&pairs, &text);
        let loaded = text.load_with(view.variant.as_deref(), &view.edits)?;
        let name = if view.edits.is_empty() {
            view.variant.as_deref()
        } else {
            Some(slantpath_workflow::whatif::UNSAVED)
        };
        let station = loaded.station(name)?;
        let now = jiff::Timestamp::now();
        let mut sheet = survey(station, now)?;
        let figures = std::mem::take(&mut sheet.figures);
        let before = match name {
            Some(_) => Some(survey(loaded.station(None)?, now)?.figures),
            None => None,
        };
        let body = html! {
            h1 { "Sky" }
            div.sky { (beside(&figures, before.as_deref())) }
            (ready(slantpath_report::page::section(&sheet, "s1")))
        };
        Ok(page(&station.name, "/sky", &view.address(""), &body))
    })
    .await
}

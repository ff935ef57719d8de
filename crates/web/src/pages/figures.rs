//! All figures: the prediction's tables.

use super::drawings::solving;
use crate::house::House;
use crate::layout::{Trouble, compute, page, ready};
use crate::view::View;
use axum::extract::{Query, State};
use axum::response::Html;
use maud::html;
use slantpath_link::Conditions;
use slantpath_workflow::predict::predict_sheet;
use std::sync::Arc;

pub(super) async fn show(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Result<Html<String>, Trouble> {
    let own = Arc::clone(&house);
    compute(&house, move |_| {
        let text = own.text()?;
        let view = View::read(&pairs, &text);
        let case = own.quick(&text, &view)?;
        let station = case.station()?;
        let sheet = predict_sheet(
            station,
            &case.predicted,
            &Conditions::default(),
            view.branch.as_deref(),
        );
        let body = html! { h1 { "All figures" } (solving(&view.address("/solved"), &case)) (ready(slantpath_report::page::section(&sheet, "s1"))) };
        Ok(page(&station.name, "/figures", &view.address(""), &body))
    })
    .await
}

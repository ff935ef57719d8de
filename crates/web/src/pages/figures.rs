//! All figures: the prediction's tables.

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
    compute(&house, move |house| {
        let text = house.text()?;
        let view = View::read(&pairs, &text);
        let case = house.case(&text, &view)?;
        let station = case.station()?;
        let sheet = predict_sheet(
            station,
            &case.predicted,
            &Conditions::default(),
            view.branch.as_deref(),
        );
        let body = html! { (ready(slantpath_report::page::section(&sheet, "s1"))) };
        Ok(page(&station.name, "/figures", &view.address(""), &body))
    })
    .await
}

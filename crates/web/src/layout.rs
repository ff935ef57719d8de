//! The frame of every page, and how an error looks in it.

use crate::house::House;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use slantpath_input::{Style, render_all};
use slantpath_workflow::WorkflowError;

/// Pages in the order of the heading.
pub const PLACES: &[(&str, &str)] = &[
    ("/", "Chain sheet"),
    ("/drawings", "Drawings"),
    ("/figures", "All figures"),
    ("/sky", "Sky"),
    ("/recordings", "Recordings"),
    ("/book", "Book"),
    ("/live", "Live"),
    ("/dish", "At the dish"),
];

/// One page.
pub fn page(title: &str, here: &str, query: &str, body: &Markup) -> Html<String> {
    let m = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                link rel="stylesheet" href="/page.css";
                link rel="icon" href="data:,";
                script src="/page.js" defer {}
            }
            body {
                a.skip href="#main" { "To the content" }
                header {
                    p.brand { "Slantpath" }
                    nav aria-label="pages" {
                        ul {
                            @for (to, name) in PLACES {
                                li {
                                    @if *to == here {
                                        a aria-current="page" href=(format!("{to}{query}")) { (name) }
                                    } @else {
                                        a href=(format!("{to}{query}")) { (name) }
                                    }
                                }
                            }
                        }
                    }
                    button type="button" id="light" hidden { "Sunlight / dark" }
                }
                main id="main" tabindex="-1" { (body) }
            }
        }
    };
    Html(m.into_string())
}

/// Markup made by the shelf of renderings, which escapes its own text.
pub fn ready(markup: String) -> PreEscaped<String> {
    PreEscaped(markup)
}

/// Why there is no page.
pub struct Trouble(pub WorkflowError);

impl From<WorkflowError> for Trouble {
    fn from(e: WorkflowError) -> Self {
        Self(e)
    }
}

impl Trouble {
    /// The text of the error, with the place of each mistake.
    pub fn text(&self) -> String {
        match &self.0 {
            WorkflowError::Problems(p) => render_all(
                p,
                Style {
                    colour: false,
                    unicode: true,
                    width: 78,
                },
            ),
            e => e.to_string(),
        }
    }

    /// As a part of a page.
    pub fn markup(&self) -> Markup {
        html! {
            div.say.warn role="alert" {
                h2 { "This cannot be shown" }
                pre { (self.text()) }
            }
        }
    }
}

impl IntoResponse for Trouble {
    fn into_response(self) -> Response {
        let status = match self.0.exit_code() {
            1 => StatusCode::INTERNAL_SERVER_ERROR,
            2 => StatusCode::BAD_REQUEST,
            _ => StatusCode::UNPROCESSABLE_ENTITY,
        };
        (status, page("Slantpath", "", "", &self.markup())).into_response()
    }
}

/// Runs what computes away from the threads that answer.
pub async fn compute<T: Send + 'static>(
    house: &std::sync::Arc<House>,
    work: impl FnOnce(&House) -> Result<T, WorkflowError> + Send + 'static,
) -> Result<T, Trouble> {
    let house = std::sync::Arc::clone(house);
    match tokio::task::spawn_blocking(move || work(&house)).await {
        Ok(r) => r.map_err(Trouble),
        Err(e) => Err(Trouble(WorkflowError::Machine {
            path: "the page".into(),
            cause: std::io::Error::other(e.to_string()),
        })),
    }
}

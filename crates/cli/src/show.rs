//! Rendering and exit codes.

use crate::args::Common;
use indicatif::{ProgressBar, ProgressStyle};
use slantpath_input::Problems;
use slantpath_report::Sheet;
use slantpath_report::json::{ErrorJson, ProblemJson, error_document, sheets_document};
use slantpath_report::text::{Paper, Tone, sheet};
use slantpath_stats::{Progress, Stop};
use slantpath_workflow::WorkflowError;
use std::io::{IsTerminal, Write};

/// Where and how an answer goes out.
pub struct Output {
    json: bool,
    paper: Paper,
}

impl Output {
    /// From the common arguments and what standard output is.
    pub fn new(common: &Common) -> Self {
        let terminal = std::io::stdout().is_terminal();
        Self {
            json: common.json,
            paper: Paper {
                width: 80,
                unicode: !common.plain,
                colour: terminal && std::env::var_os("NO_COLOR").is_none(),
            },
        }
    }

    /// Writes sheets (as JSON: one document); exit code 3 when one of them refused.
    pub fn sheets(&self, sheets: &[Sheet]) -> Result<u8, WorkflowError> {
        let mut text = String::new();
        if self.json {
            if let Some(d) = sheets_document(sheets) {
                text = d.text().map_err(|e| unwritten(&e.to_string()))?;
            }
        } else {
            for (i, s) in sheets.iter().enumerate() {
                if i > 0 {
                    text.push_str(&format!("\n{}\n", "-".repeat(80)));
                }
                text.push_str(&sheet(&self.paper, s));
            }
        }
        self.line(&text);
        Ok(if sheets.iter().any(|s| s.refused) {
            3
        } else {
            0
        })
    }

    /// Writes text as it is.
    pub fn line(&self, text: &str) {
        let mut out = std::io::stdout().lock();
        // A closed pipe (`| head`) is the reader's choice, not a failure.
        let _ = out.write_all(text.as_bytes());
        let _ = out.flush();
    }

    /// Warnings about files, to standard error.
    pub fn warnings(&self, problems: &Problems) {
        if !problems.is_empty() && !self.json {
            eprintln!("{}", self.problems_text(problems));
        }
    }

    fn problems_text(&self, problems: &Problems) -> String {
        let style = slantpath_input::Style {
            colour: std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none(),
            unicode: self.paper.unicode,
            width: self.paper.width,
        };
        slantpath_input::render_all(problems, style)
    }

    /// Says in words what was done (text), or as the document of a verb without answers (JSON).
    pub fn done(&self, verb: &str, text: &str) -> Result<u8, WorkflowError> {
        if self.json {
            return self.sheets(&[Sheet {
                verb: verb.into(),
                title: text.into(),
                ..Sheet::default()
            }]);
        }
        self.line(&self.paper.paragraph(0, text));
        Ok(0)
    }

    /// Whether the answer is JSON.
    pub fn is_json(&self) -> bool {
        self.json
    }

    /// Writes an error and gives its exit code.
    pub fn error(&self, e: &WorkflowError) -> u8 {
        let code = e.exit_code();
        let none = Problems::new();
        let problems = match e {
            WorkflowError::Problems(p) => p,
            _ => &none,
        };
        if self.json {
            let doc = error_document(ErrorJson {
                exit_code: code,
                message: e.to_string(),
                problems: problems.iter().map(problem_json).collect(),
            });
            self.line(&doc.text().unwrap_or_default());
        } else if problems.is_empty() {
            eprint!("{}", self.paper.tone(Tone::Bad, "error: "));
            eprintln!("{}", self.paper.plain(&e.to_string()));
        } else {
            eprintln!("{}", self.problems_text(problems));
        }
        code
    }

    /// A progress bar on standard error; silent when that is no terminal.
    pub fn progress(&self, what: &'static str) -> Progress {
        if self.json || !std::io::stderr().is_terminal() {
            return Progress::silent();
        }
        let bar = ProgressBar::new(1000);
        if let Ok(style) = ProgressStyle::with_template("{msg:20} [{bar:40}] {percent} %") {
            bar.set_style(style);
        }
        bar.set_message(what);
        Progress::new(move |fraction, _| {
            bar.set_position((1000.0 * fraction) as u64);
            if fraction >= 1.0 {
                bar.finish_and_clear();
            }
        })
    }
}

/// A request to stop, made by the first interrupt from the keyboard; the second one ends the program at once.
pub fn stop_on_interrupt() -> Stop {
    let stop = Stop::new();
    let asked = stop.clone();
    let handled = ctrlc::set_handler(move || {
        if asked.is_requested() {
            // As a shell writes an end by SIGINT.
            std::process::exit(130);
        }
        asked.request();
    });
    // Without a handler an interrupt ends the program, which is what the person asked for as well.
    let _ = handled;
    stop
}

/// Arguments that cannot be understood, as the document of an error.
pub fn argument_error(message: &str) -> String {
    error_document(ErrorJson {
        exit_code: 2,
        message: message.trim_end().to_string(),
        problems: Vec::new(),
    })
    .text()
    .unwrap_or_default()
}

fn unwritten(cause: &str) -> WorkflowError {
    WorkflowError::Machine {
        path: "the answer as JSON".into(),
        cause: std::io::Error::other(cause.to_string()),
    }
}

fn problem_json(p: &slantpath_input::Problem) -> ProblemJson {
    let d = slantpath_input::ProblemData::from(p);
    ProblemJson {
        severity: d.severity.to_string(),
        file: d.file,
        line: d.line,
        column: d.column,
        text: d.text,
        what: d.what,
        expected: d.expected,
        help: (!d.help.is_empty()).then(|| d.help.join(" ")),
    }
}

//! Fields of forms.

use slantpath_workflow::WorkflowError;

/// Pairs of a query or a form.
pub(super) type Pairs = Vec<(String, String)>;

/// A field's text without the space around it; empty when it is not there.
pub(super) fn text<'a>(pairs: &'a Pairs, name: &str) -> &'a str {
    pairs
        .iter()
        .find(|(k, _)| k == name)
        .map(|(_, v)| v.trim())
        .unwrap_or_default()
}

/// A field's text, if any.
pub(super) fn some(pairs: &Pairs, name: &str) -> Option<String> {
    let t = text(pairs, name);
    (!t.is_empty()).then(|| t.to_string())
}

/// A number, if any.
///
/// # Errors
/// It is none.
pub(super) fn number(pairs: &Pairs, name: &str) -> Result<Option<f64>, WorkflowError> {
    let t = text(pairs, name);
    if t.is_empty() {
        return Ok(None);
    }
    match t.replace(',', ".").parse::<f64>() {
        Ok(x) if x.is_finite() => Ok(Some(x)),
        _ => Err(WorkflowError::argument(
            format!("`{t}` is no number"),
            format!("{name}: digits, with a point"),
        )),
    }
}

/// A moment, if any: as the book writes it, or as a browser's field gives it (taken as UTC).
///
/// # Errors
/// It is none.
pub(super) fn moment(pairs: &Pairs, name: &str) -> Result<Option<jiff::Timestamp>, WorkflowError> {
    let t = text(pairs, name);
    if t.is_empty() {
        return Ok(None);
    }
    let whole = if t.ends_with('Z') || t.contains('+') {
        t.to_string()
    } else if t.matches(':').count() == 1 {
        format!("{t}:00Z")
    } else {
        format!("{t}Z")
    };
    whole.parse().map(Some).map_err(|_| {
        WorkflowError::argument(
            format!("`{t}` is no moment"),
            "UTC, for example 2026-05-03T14:20",
        )
    })
}

//! What-if: a station file with some of its values changed, without touching the file; and the explicit act that
//! keeps such a change as a variant.
//!
//! A change is written as a variant of its own at the end of the text, so that it goes through every check of the
//! file, and what it leaves alone stays the same thing on both sides of a difference.

use crate::WorkflowError;
use crate::files::{Loaded, digest, load_from};
use crate::predict::Predicted;
use slantpath_link::{Conditions, Drawing, Memory, Nearby, predict as draw};
use slantpath_quantity::{Answer, ContributorId, Estimate};
use slantpath_station::Station;
use slantpath_stats::{Progress, Stop};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use toml_edit::{DocumentMut, Item, Table, Value};

/// Name under which unsaved changes are read.
pub const UNSAVED: &str = "what-if";

/// One changed value: where it stands in the file, and what stands there instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Edit {
    /// Dotted place, for example `part.lnb.noise_figure`.
    pub place: String,
    /// As a person writes it: `0.5 dB ± 0.1`.
    pub text: String,
}

/// Longest value taken from an address or a form.
const MOST_TEXT: usize = 200;
/// Most changes at once.
const MOST_EDITS: usize = 64;

/// A station file held in memory: text, name and folder.
#[derive(Debug, Clone)]
pub struct StationText {
    /// Path of the station file.
    pub path: PathBuf,
    /// Its text.
    pub text: String,
    /// SHA-256 of the text.
    pub digest: String,
    /// The text taken apart once: a page asks for many of its values.
    parsed: OnceLock<Option<DocumentMut>>,
}

impl StationText {
    /// A text that was read already.
    pub fn new(path: &Path, text: String) -> Self {
        Self {
            path: path.to_path_buf(),
            digest: digest(text.as_bytes()),
            text,
            parsed: OnceLock::new(),
        }
    }

    fn doc(&self) -> Option<&DocumentMut> {
        self.parsed.get_or_init(|| self.text.parse().ok()).as_ref()
    }

    /// Reads the file.
    ///
    /// # Errors
    /// It cannot be read, or is not text.
    pub fn read(path: &Path) -> Result<Self, WorkflowError> {
        let bytes = std::fs::read(path).map_err(|cause| WorkflowError::Machine {
            path: path.display().to_string(),
            cause,
        })?;
        let text = String::from_utf8(bytes).map_err(|_| {
            WorkflowError::argument(
                format!("{} is not UTF-8 text", path.display()),
                "name a station file",
            )
        })?;
        Ok(Self::new(path, text))
    }

    /// The station as the file stands.
    ///
    /// # Errors
    /// Mistakes in the file.
    pub fn load(&self) -> Result<Loaded, WorkflowError> {
        self.load_text(&self.text)
    }

    /// The station with `edits` laid over `variant` (or the base), as the variant [`UNSAVED`].
    ///
    /// # Errors
    /// A place that no variant may change, a value that the file would not take: as for the file itself.
    pub fn load_with(
        &self,
        variant: Option<&str>,
        edits: &[Edit],
    ) -> Result<Loaded, WorkflowError> {
        if edits.is_empty() {
            return self.load();
        }
        self.load_text(&self.with_variant(variant, UNSAVED, edits)?)
    }

    fn load_text(&self, text: &str) -> Result<Loaded, WorkflowError> {
        let folder: PathBuf = self
            .path
            .parent()
            .map(Path::to_path_buf)
            .unwrap_or_default();
        load_from(
            &self.path.display().to_string(),
            text.as_bytes(),
            &mut |name| std::fs::read(folder.join(name)).map_err(|e| e.to_string()),
        )
    }

    /// The value as written at a place, seen from a variant: text of a string, or the TOML of anything else.
    pub fn written(&self, variant: Option<&str>, place: &str) -> Option<String> {
        let doc = self.doc()?;
        let keys = split(place)?;
        let of = |mut item: &Item| -> Option<String> {
            for k in &keys {
                item = item.get(k.as_str())?;
            }
            let value = item.as_value()?;
            Some(match value {
                Value::String(s) => s.value().clone(),
                other => other.to_string().trim().to_string(),
            })
        };
        variant
            .and_then(|v| doc.get("variant")?.get(v).and_then(of))
            .or_else(|| of(doc.as_item()))
    }

    /// Every simple value of a table as seen from a variant: key, and text as written.
    pub fn values_of(&self, variant: Option<&str>, table: &str) -> Vec<(String, String)> {
        let Some(doc) = self.doc() else {
            return Vec::new();
        };
        let Some(keys) = split(table) else {
            return Vec::new();
        };
        let find = |mut item: &Item| -> Vec<String> {
            for k in &keys {
                match item.get(k.as_str()) {
                    Some(i) => item = i,
                    None => return Vec::new(),
                }
            }
            item.as_table_like()
                .map(|t| {
                    t.iter()
                        .filter(|(_, i)| i.as_value().is_some_and(simple))
                        .map(|(k, _)| k.to_string())
                        .collect()
                })
                .unwrap_or_default()
        };
        let mut names = find(doc.as_item());
        if let Some(over) = variant.and_then(|v| doc.get("variant")?.get(v)) {
            for k in find(over) {
                if !names.contains(&k) {
                    names.push(k);
                }
            }
        }
        names
            .into_iter()
            .filter_map(|k| {
                let text = self.written(variant, &format!("{table}.{k}"))?;
                Some((k, text))
            })
            .collect()
    }

    /// The file's text with one more variant at its end: `from` (or the base) with `edits`. Nothing before it changes.
    ///
    /// # Errors
    /// A place or value that cannot be written; a text that is no TOML.
    fn with_variant(
        &self,
        from: Option<&str>,
        name: &str,
        edits: &[Edit],
    ) -> Result<String, WorkflowError> {
        if edits.len() > MOST_EDITS {
            return Err(WorkflowError::argument(
                format!("{} changes at once", edits.len()),
                format!("at most {MOST_EDITS}; save some as a variant first"),
            ));
        }
        let doc: DocumentMut = self.text.parse().map_err(|e: toml_edit::TomlError| {
            WorkflowError::argument(
                format!("{} cannot be read: {}", self.path.display(), e.message()),
                "mend the file first: `slantpath predict` shows where",
            )
        })?;
        let mut table = match from {
            None => Table::new(),
            Some(v) => doc
                .get("variant")
                .and_then(|t| t.get(v))
                .and_then(Item::as_table)
                .cloned()
                .ok_or_else(|| {
                    WorkflowError::argument(
                        format!("there is no variant `{v}` to start from"),
                        "choose one that the file has",
                    )
                })?,
        };
        for e in edits {
            lay(&mut table, doc.as_item(), e)?;
        }
        // Printed alone and appended, so that every byte of the user's text stays as it is.
        let mut alone = DocumentMut::new();
        let mut outer = Table::new();
        outer.set_implicit(true);
        table.set_implicit(false);
        reset_positions(&mut table);
        outer.insert(name, Item::Table(table));
        alone.insert("variant", Item::Table(outer));
        let mut text = self.text.clone();
        if !text.ends_with('\n') {
            text.push('\n');
        }
        text.push('\n');
        text.push_str(alone.to_string().trim_start_matches('\n'));
        Ok(text)
    }

    /// Keeps `edits` over `from` as the variant `name` in the file itself: the text is checked as a whole, the variant
    /// is appended, and the file is exchanged in one step. Comments, order and everything before it stay as they are.
    ///
    /// # Errors
    /// A name that is taken or unusable, changes that the file would not take, a file that has changed since it was
    /// read, a folder that cannot be written.
    pub fn save_variant(
        &self,
        from: Option<&str>,
        name: &str,
        edits: &[Edit],
    ) -> Result<Self, WorkflowError> {
        let good = !name.is_empty()
            && name.len() <= 40
            && name
                .chars()
                .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
            && name != UNSAVED;
        if !good {
            return Err(WorkflowError::argument(
                format!("`{name}` cannot name a variant"),
                "small letters, digits and hyphens, for example `better-lnb`",
            ));
        }
        if edits.is_empty() {
            return Err(WorkflowError::argument(
                "there is nothing to keep",
                "change a value first",
            ));
        }
        let now = Self::read(&self.path)?;
        if now.digest != self.digest {
            return Err(WorkflowError::argument(
                format!(
                    "{} has changed since it was read; nothing was written",
                    self.path.display()
                ),
                "load the page again and repeat the change",
            ));
        }
        if now.load()?.file.variant_names().contains(&name) {
            return Err(WorkflowError::argument(
                format!("the file has a variant `{name}` already"),
                "choose another name; nothing was overwritten",
            ));
        }
        let text = now.with_variant(from, name, edits)?;
        now.load_text(&text)?;
        exchange(&now.path, text.as_bytes())?;
        Self::read(&now.path)
    }
}

/// Writes beside the file and renames over it, so that a crash leaves the old or the new text, never a part of one.
fn exchange(path: &Path, bytes: &[u8]) -> Result<(), WorkflowError> {
    use std::io::Write;
    let machine = |cause: std::io::Error| WorkflowError::Machine {
        path: path.display().to_string(),
        cause,
    };
    let folder = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    let mut fresh = tempfile::NamedTempFile::new_in(folder).map_err(machine)?;
    fresh.write_all(bytes).map_err(machine)?;
    if let Ok(old) = std::fs::metadata(path) {
        fresh
            .as_file()
            .set_permissions(old.permissions())
            .map_err(machine)?;
    }
    fresh.as_file().sync_all().map_err(machine)?;
    fresh.persist(path).map_err(|e| machine(e.error))?;
    Ok(())
}

/// How far `to` lies from `from`: two answers of the same measurand under the same draws. What both have in common
/// drops out; the rest is combined to first order (GUM 5.1.2).
pub fn change(from: &Answer, to: &Answer) -> Option<Estimate> {
    let (a, b) = (from.estimate()?, to.estimate()?);
    let effect = |answer: &Answer, id: &ContributorId| {
        answer
            .shares
            .iter()
            .find(|s| s.id == *id)
            .map_or(0.0, |s| s.effect)
    };
    let mut square = 0.0;
    for s in &to.shares {
        square += (s.effect - effect(from, &s.id)).powi(2);
    }
    for s in &from.shares {
        if !to.shares.iter().any(|t| t.id == s.id) {
            square += s.effect.powi(2);
        }
    }
    Some(Estimate::normal(b.value - a.value, square.sqrt()))
}

/// `wanted` predicted from a solved neighbour, at once, while its own dish, feed or air are not solved; and the labels of
/// the changed inputs of those that are followed.
///
/// # Errors
/// As the neighbour's model and the draws.
pub fn nearby(
    solved: &Station,
    wanted: &Station,
    conditions: &Conditions,
    drawing: Drawing,
    memory: &mut Memory,
) -> Result<(Predicted, Vec<String>), WorkflowError> {
    let n = Nearby::new(solved, wanted, conditions, memory)?;
    let prediction = draw(&n.model, drawing, &Stop::new(), &Progress::silent())?;
    let predicted = Predicted {
        model: n.model,
        prediction,
    };
    Ok((predicted, n.followed))
}

/// Whether a contributor belongs to what stands at `place` in the file (`part.lnb`, `reflector`, `feed.old`, `site`).
pub fn belongs(id: &ContributorId, place: &str) -> bool {
    let id = id.as_str();
    match place.split_once('.') {
        Some(("part", name)) => id
            .split_once('.')
            .and_then(|(_, rest)| rest.strip_prefix(name))
            .is_some_and(|rest| rest.starts_with('.')),
        Some((kind, _)) => id.split('.').next() == Some(kind),
        None => id.split('.').next() == Some(place),
    }
}

fn simple(v: &Value) -> bool {
    !matches!(v, Value::Array(_) | Value::InlineTable(_))
}

fn split(place: &str) -> Option<Vec<String>> {
    let keys: Vec<String> = place.split('.').map(str::to_string).collect();
    let good = (1..=6).contains(&keys.len())
        && keys.iter().all(|k| {
            !k.is_empty()
                && k.len() <= 60
                && k.chars()
                    .all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
        });
    good.then_some(keys)
}

fn lay(table: &mut Table, base: &Item, e: &Edit) -> Result<(), WorkflowError> {
    let bad = |why: &str| {
        WorkflowError::argument(
            format!("`{}` cannot be changed: {why}", e.place),
            "name a value as it stands in the file, for example `part.lnb.noise_figure`",
        )
    };
    let keys = split(&e.place).ok_or_else(|| bad("not the name of a value"))?;
    if e.text.len() > MOST_TEXT || e.text.chars().any(char::is_control) {
        return Err(bad("the new value is too long or not text"));
    }
    // A value keeps the kind that it has in the file: a bare number stays one when what is typed is a number.
    let mut at = Some(base);
    for k in &keys {
        at = at.and_then(|i| i.get(k.as_str()));
    }
    let text = e.text.trim();
    let value: Value = match at.and_then(Item::as_value) {
        Some(Value::Integer(_) | Value::Float(_)) => {
            match (text.parse::<i64>(), text.parse::<f64>()) {
                (Ok(i), _) => i.into(),
                (_, Ok(x)) if x.is_finite() => x.into(),
                _ => text.into(),
            }
        }
        Some(Value::Boolean(_)) => match text {
            "true" | "yes" => true.into(),
            "false" | "no" => false.into(),
            _ => return Err(bad("it is yes or no")),
        },
        Some(v) if !simple(v) => {
            return Err(bad("a list or a table is changed in the file itself"));
        }
        _ => text.into(),
    };
    let mut inner = table;
    let (last, path) = keys.split_last().ok_or_else(|| bad("no name"))?;
    for k in path {
        inner = inner
            .entry(k)
            .or_insert_with(|| {
                let mut t = Table::new();
                t.set_implicit(true);
                t.set_dotted(true);
                Item::Table(t)
            })
            .as_table_mut()
            .ok_or_else(|| bad("it stands inside a value"))?;
    }
    inner.insert(last, Item::Value(value));
    Ok(())
}

/// Tables copied from the file remember where they stood; a fresh document orders them anew.
fn reset_positions(table: &mut Table) {
    table.set_position(None);
    table.decor_mut().clear();
    for (_, item) in table.iter_mut() {
        if let Item::Table(t) = item {
            reset_positions(t);
        }
    }
}

#[cfg(test)]
mod tests;

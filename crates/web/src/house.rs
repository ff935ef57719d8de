//! What the pages share: the station file, predictions already made, and the doors.

use crate::view::View;
use slantpath_link::{Conditions, Drawing};
use slantpath_stats::Progress;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::Loaded;
use slantpath_workflow::predict::{Predicted, predicted};
use slantpath_workflow::whatif::{StationText, UNSAVED};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

/// Trials of a page's prediction: intervals to about 2 % of their width; `predict` draws more.
const TRIALS: usize = 2000;
/// Predictions kept.
const KEPT: usize = 32;

/// One station behind the pages.
pub struct House {
    path: PathBuf,
    cache: Mutex<Vec<(String, Arc<Case>)>>,
}

/// A station as looked at, and its prediction.
pub struct Case {
    /// The file and its variants, the unsaved one included.
    pub loaded: Loaded,
    /// Name under which the station looked at is in it.
    pub name: Option<String>,
    /// Its prediction.
    pub predicted: Predicted,
}

impl Case {
    /// The station looked at.
    ///
    /// # Errors
    /// It is not there.
    pub fn station(&self) -> Result<&slantpath_station::Station, WorkflowError> {
        self.loaded.station(self.name.as_deref())
    }
}

impl House {
    /// For a station file, which must be readable and right.
    ///
    /// # Errors
    /// As reading the file.
    pub fn new(station: &Path) -> Result<Self, WorkflowError> {
        let house = Self {
            path: station.to_path_buf(),
            cache: Mutex::new(Vec::new()),
        };
        house.text()?.load()?;
        Ok(house)
    }

    /// The file as it stands now.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn text(&self) -> Result<StationText, WorkflowError> {
        StationText::read(&self.path)
    }

    /// How a page's prediction is drawn.
    pub fn drawing() -> Drawing {
        Drawing {
            seed: 1,
            trials: TRIALS,
        }
    }

    /// The station of a view with its prediction, from memory when the file and the view are the same as before.
    ///
    /// # Errors
    /// Mistakes in the file or in the changes.
    pub fn case(&self, text: &StationText, view: &View) -> Result<Arc<Case>, WorkflowError> {
        let mut key = format!("{}\n{:?}", text.digest, view.variant);
        for e in &view.edits {
            key.push_str(&format!("\n{}={}", e.place, e.text));
        }
        if let Ok(cache) = self.cache.lock()
            && let Some((_, case)) = cache.iter().find(|(k, _)| *k == key)
        {
            return Ok(Arc::clone(case));
        }
        let loaded = text.load_with(view.variant.as_deref(), &view.edits)?;
        let name = if view.edits.is_empty() {
            view.variant.clone()
        } else {
            Some(UNSAVED.to_string())
        };
        let predicted = predicted(
            loaded.station(name.as_deref())?,
            &Conditions::default(),
            Self::drawing(),
            &Progress::silent(),
        )?;
        let case = Arc::new(Case {
            loaded,
            name,
            predicted,
        });
        if let Ok(mut cache) = self.cache.lock() {
            if cache.len() >= KEPT {
                cache.remove(0);
            }
            cache.push((key, Arc::clone(&case)));
        }
        Ok(case)
    }
}

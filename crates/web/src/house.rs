//! What the pages share: the station file, predictions already made, and the doors.

use crate::desk::Desk;
use crate::view::View;
use slantpath_link::{Conditions, Drawing, Memory};
use slantpath_stats::Progress;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::book::book_path;
use slantpath_workflow::files::Loaded;
use slantpath_workflow::live::{Live, LiveOptions};
use slantpath_workflow::predict::{Predicted, predicted_with};
use slantpath_workflow::whatif::{StationText, UNSAVED};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// Trials of a page's prediction: its uncertainties to about 3 %; `predict` draws more.
const TRIALS: usize = 600;
/// Predictions kept.
const KEPT: usize = 32;

/// One station behind the pages.
pub struct House {
    path: PathBuf,
    live: Option<Live>,
    book: PathBuf,
    metrics: bool,
    /// Recordings measured and readings typed since the start.
    pub(crate) desk: Desk,
    memory: Mutex<Memory>,
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
            live: None,
            book: book_path(station, None),
            metrics: false,
            desk: Desk::default(),
            memory: Mutex::default(),
            cache: Mutex::new(Vec::new()),
        };
        house.text()?.load()?;
        Ok(house)
    }

    /// The same with a running measurement of the station as its file stands.
    ///
    /// # Errors
    /// A source or branch that cannot be.
    pub fn with_live(mut self, options: &LiveOptions) -> Result<Self, WorkflowError> {
        let case = self.case(&self.text()?, &View::default())?;
        self.live = Some(Live::start(case.station()?, &case.predicted, options)?);
        Ok(self)
    }

    /// The same with its book elsewhere than beside the station file.
    pub fn with_book(mut self, book: &Path) -> Self {
        self.book = book.to_path_buf();
        self
    }

    /// The same with the latest figures of the book for a monitoring system.
    pub fn with_metrics(mut self, yes: bool) -> Self {
        self.metrics = yes;
        self
    }

    /// Where the station book is.
    pub fn book(&self) -> &Path {
        &self.book
    }

    /// Whether figures are given to a monitoring system.
    pub fn metrics(&self) -> bool {
        self.metrics
    }

    /// The running measurement, if there is one.
    pub fn live(&self) -> Option<&Live> {
        self.live.as_ref()
    }

    /// The station file.
    pub fn path(&self) -> &Path {
        &self.path
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
        let predicted = {
            // A lock that a failed thread left behind is no reason not to answer: the memory holds nothing half done.
            let mut memory = self.memory.lock().unwrap_or_else(PoisonError::into_inner);
            predicted_with(
                loaded.station(name.as_deref())?,
                &Conditions::default(),
                Self::drawing(),
                &Progress::silent(),
                &mut memory,
            )?
        };
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

//! What the pages share: the station file, predictions already made, and the doors.

use crate::desk::Desk;
use crate::later::Later;
use crate::network::Network;
use crate::view::View;
use slantpath_link::{Conditions, Drawing, Memory};
use slantpath_report::Figure;
use slantpath_station::checked::Memo;
use slantpath_stats::Progress;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::book::book_path;
use slantpath_workflow::drawings::of_station;
use slantpath_workflow::files::Loaded;
use slantpath_workflow::live::{Live, LiveOptions};
use slantpath_workflow::predict::{Predicted, predicted_with};
use slantpath_workflow::whatif::{StationText, UNSAVED, nearby};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::Duration;

/// Trials of a page's prediction: its uncertainties to about 3 %; `predict` draws more.
const TRIALS: usize = 600;
/// Predictions kept.
const KEPT: usize = 48;
/// How long a page waits for drawings before it says that they are being made.
const SOON: Duration = Duration::from_millis(400);

/// One station behind the pages.
pub struct House {
    path: PathBuf,
    live: Option<Live>,
    book: PathBuf,
    metrics: bool,
    /// Recordings measured and readings typed since the start.
    pub(crate) desk: Desk,
    memory: Mutex<Memory>,
    /// The file as last read.
    last: Mutex<Option<Arc<StationText>>>,
    /// Computed feeds.
    memo: OnceLock<Memo>,
    cache: Mutex<Vec<(String, Arc<Case>)>>,
    solving: Later<Arc<Case>>,
    drawings: Later<Arc<Vec<Figure>>>,
    /// The door to the local network, when there is one.
    pub(crate) network: OnceLock<Network>,
}

/// A station as looked at, and its prediction.
pub struct Case {
    /// The file and its variants, the unsaved one included.
    pub loaded: Loaded,
    /// Name under which the station looked at is in it.
    pub name: Option<String>,
    /// Its prediction.
    pub predicted: Predicted,
    /// Dish, feed or air are not solved yet: a neighbour's model answers, and follows these of its changed inputs.
    pub nearby: Option<Vec<String>>,
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
            last: Mutex::default(),
            memo: OnceLock::new(),
            cache: Mutex::new(Vec::new()),
            solving: Later::default(),
            drawings: Later::default(),
            network: OnceLock::new(),
        };
        house.text()?.load()?;
        Ok(house)
    }

    /// The same with a running measurement of the station as its file stands.
    ///
    /// # Errors
    /// A source or branch that cannot be.
    pub fn with_live(mut self, options: &LiveOptions) -> Result<Self, WorkflowError> {
        let text = self.text()?;
        let case = self.case(&text, &View::default())?;
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
    pub fn text(&self) -> Result<Arc<StationText>, WorkflowError> {
        let fresh = StationText::read(&self.path)?;
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        Ok(match &*last {
            // Taken apart already.
            Some(known) if known.digest == fresh.digest => Arc::clone(known),
            _ => Arc::clone(last.insert(Arc::new(fresh))),
        })
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
        let key = key(text, view);
        match self.known(&key) {
            Some(case) => Ok(case),
            None => self.solve(&key, self.load(text, view)?, view),
        }
    }

    /// The same at once: where dish, feed or air would have to be solved, the nearest solved station answers meanwhile
    /// ([`Case::nearby`]), and the solved one follows under the same view.
    ///
    /// # Errors
    /// As [`House::case`]; a change that the solution refused.
    pub fn quick(
        self: &Arc<Self>,
        text: &StationText,
        view: &View,
    ) -> Result<Arc<Case>, WorkflowError> {
        let key = key(text, view);
        if let Some(case) = self.known(&key) {
            return Ok(case);
        }
        let loaded = self.load(text, view)?;
        let name = name_of(view);
        let known = self
            .memory()
            .holds(loaded.station(name.as_deref())?, &Conditions::default());
        if known || *view == View::default() {
            return self.solve(&key, loaded, view);
        }
        let file = self.case(text, &View::default())?;
        // The variant that was changed is nearer than the base, once it is solved.
        let base = self
            .known(&crate::house::key(text, &view.without_edits()))
            .unwrap_or(file);
        let (house, text, again) = (Arc::clone(self), text.clone(), view.clone());
        let solved = self.solving.ask(&key, Duration::ZERO, move || {
            house
                .apart(&text, &again)
                .map_err(|e| crate::layout::Trouble(e).text())
        });
        match solved {
            Some(Ok(case)) => return Ok(case),
            Some(Err(why)) => {
                return Err(WorkflowError::argument(
                    why,
                    "change the value again, or go back to the file",
                ));
            }
            None => {}
        }
        let near = format!("near {key}");
        if let Some(case) = self.known(&near) {
            return Ok(case);
        }
        let (predicted, followed) = nearby(
            base.station()?,
            loaded.station(name.as_deref())?,
            &Conditions::default(),
            Self::drawing(),
            &mut self.memory(),
        )?;
        let case = Arc::new(Case {
            loaded,
            name,
            predicted,
            nearby: Some(followed),
        });
        self.keep(near, &case);
        Ok(case)
    }

    /// Solves the station as its file stands, so that nobody waits for it.
    pub fn warm(&self) {
        if let Ok(text) = self.text() {
            let _ = self.case(&text, &View::default());
        }
    }

    /// Whether the solved figures of a view are still being worked out.
    pub fn pending(&self, text: &StationText, view: &View) -> bool {
        self.solving.pending(&key(text, view))
    }

    /// Solves with a copy of the memory and on threads of its own, so that pages answer meanwhile.
    fn apart(&self, text: &StationText, view: &View) -> Result<Arc<Case>, WorkflowError> {
        let mut memory = self.memory().clone();
        let loaded = self.load(text, view)?;
        let name = name_of(view);
        let spare =
            std::thread::available_parallelism().map_or(1, |n| n.get().saturating_sub(1).max(1));
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(spare)
            .build()
            .map_err(|e| WorkflowError::Machine {
                path: "threads to solve with".into(),
                cause: std::io::Error::other(e.to_string()),
            })?;
        let predicted = pool.install(|| {
            predicted_with(
                loaded.station(name.as_deref())?,
                &Conditions::default(),
                Self::drawing(),
                &Progress::silent(),
                &mut memory,
            )
        })?;
        self.memory().absorb(memory);
        let case = Arc::new(Case {
            loaded,
            name,
            predicted,
            nearby: None,
        });
        self.keep(key(text, view), &case);
        Ok(case)
    }

    fn solve(&self, key: &str, loaded: Loaded, view: &View) -> Result<Arc<Case>, WorkflowError> {
        let name = name_of(view);
        let predicted = predicted_with(
            loaded.station(name.as_deref())?,
            &Conditions::default(),
            Self::drawing(),
            &Progress::silent(),
            &mut self.memory(),
        )?;
        let case = Arc::new(Case {
            loaded,
            name,
            predicted,
            nearby: None,
        });
        self.keep(key.to_string(), &case);
        Ok(case)
    }

    /// The view's stations, all computed feeds remembered in one place from one load to the next.
    fn load(&self, text: &StationText, view: &View) -> Result<Loaded, WorkflowError> {
        let mut loaded = text.load_with(view.variant.as_deref(), &view.edits)?;
        let file = &mut loaded.file;
        for s in std::iter::once(&mut file.base).chain(&mut file.variants) {
            s.feed.memo = self.memo.get_or_init(|| s.feed.memo.clone()).clone();
        }
        Ok(loaded)
    }

    /// A lock that a failed thread left behind is no reason not to answer: the memory holds nothing half done.
    fn memory(&self) -> MutexGuard<'_, Memory> {
        self.memory.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn known(&self, key: &str) -> Option<Arc<Case>> {
        let mut cache = self.cache.lock().unwrap_or_else(PoisonError::into_inner);
        let at = cache.iter().position(|(k, _)| k == key)?;
        // Asked for last, forgotten last.
        let found = cache.remove(at);
        let case = Arc::clone(&found.1);
        cache.push(found);
        Some(case)
    }

    fn keep(&self, key: String, case: &Arc<Case>) {
        let mut cache = self.cache.lock().unwrap_or_else(PoisonError::into_inner);
        cache.retain(|(k, _)| *k != key);
        if cache.len() >= KEPT {
            cache.remove(0);
        }
        cache.push((key, Arc::clone(case)));
    }

    /// Drawings of dish and feed of a solved case, when they are there or come soon.
    pub fn drawn(
        &self,
        text: &StationText,
        view: &View,
        case: &Arc<Case>,
    ) -> Option<Result<Arc<Vec<Figure>>, String>> {
        let case = Arc::clone(case);
        let work = move || {
            let station = case.station().map_err(|e| e.to_string())?;
            Ok(Arc::new(of_station(station, &case.predicted.model)))
        };
        self.drawings.ask(&key(text, view), SOON, work)
    }

    /// Whether the drawings of a view are still being made.
    pub fn drawing_now(&self, text: &StationText, view: &View) -> bool {
        self.drawings.pending(&key(text, view))
    }
}

/// What a prediction follows from.
fn key(text: &StationText, view: &View) -> String {
    let mut key = format!("{}\n{:?}", text.digest, view.variant);
    for e in &view.edits {
        key.push_str(&format!("\n{}={}", e.place, e.text));
    }
    key
}

fn name_of(view: &View) -> Option<String> {
    if view.edits.is_empty() {
        view.variant.clone()
    } else {
        Some(UNSAVED.to_string())
    }
}

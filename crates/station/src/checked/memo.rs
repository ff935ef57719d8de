//! Figures that take long to compute, remembered by what they follow from.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

/// Where computed figures outlast a run: a folder, say. A store that forgets, or has nothing, only costs time.
pub trait FigureStore: Send + Sync {
    /// What was kept under a key.
    fn get(&self, key: &str) -> Option<Vec<f64>>;
    /// Keeps something under a key.
    fn put(&self, key: &str, figures: &[f64]);
}

/// Computed figures by a key that tells everything they follow from. Clones share what they know; it never changes what is
/// computed, only how often.
#[derive(Clone, Default)]
pub struct Memo {
    known: Arc<Mutex<BTreeMap<String, Arc<[f64]>>>>,
    store: Option<Arc<dyn FigureStore>>,
}

impl fmt::Debug for Memo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Memo").finish_non_exhaustive()
    }
}

/// Two memos never differ in what is computed with them.
impl PartialEq for Memo {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Memo {
    /// A memo that also asks, and tells, a store.
    pub fn with_store(store: Arc<dyn FigureStore>) -> Self {
        Self {
            known: Arc::default(),
            store: Some(store),
        }
    }

    /// What is known under a key, else what `compute` gives, which is then kept. Nothing is kept of an error.
    ///
    /// # Errors
    /// Those of `compute`.
    pub fn figures<E>(
        &self,
        key: &str,
        compute: impl FnOnce() -> Result<Vec<f64>, E>,
    ) -> Result<Arc<[f64]>, E> {
        let known = |memo: &Self| {
            memo.known
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .get(key)
                .cloned()
        };
        if let Some(v) = known(self) {
            return Ok(v);
        }
        let stored = self.store.as_ref().and_then(|s| s.get(key));
        let fresh = stored.is_none();
        let v: Arc<[f64]> = match stored {
            Some(v) => v.into(),
            None => compute()?.into(),
        };
        if fresh && let Some(s) = &self.store {
            s.put(key, &v);
        }
        self.known
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .insert(key.to_string(), v.clone());
        Ok(v)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Default)]
    struct Kept(Mutex<BTreeMap<String, Vec<f64>>>);
    impl FigureStore for Kept {
        fn get(&self, key: &str) -> Option<Vec<f64>> {
            self.0.lock().unwrap().get(key).cloned()
        }
        fn put(&self, key: &str, figures: &[f64]) {
            self.0.lock().unwrap().insert(key.into(), figures.to_vec());
        }
    }

    #[test]
    fn computed_once_and_kept_beyond() {
        let store = Arc::new(Kept::default());
        let first = Memo::with_store(store.clone());
        let never = || -> Result<Vec<f64>, ()> { panic!("computed again") };
        assert_eq!(first.figures("a", || Err(1)), Err(1));
        assert_eq!(
            *first.figures("a", || Ok::<_, ()>(vec![1.5])).unwrap(),
            [1.5]
        );
        assert_eq!(*first.clone().figures("a", never).unwrap(), [1.5]);
        let later = Memo::with_store(store);
        assert_eq!(*later.figures("a", never).unwrap(), [1.5]);
        assert_eq!(first, Memo::default());
    }
}

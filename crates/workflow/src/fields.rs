//! Computed feeds kept between runs: a folder of small files, one for each figure, named by the hash of all it follows from.
//!
//! `SLANTPATH_CACHE` names the folder (`off`: none); else it is the user's cache folder. Whatever goes wrong with it costs time
//! only: nothing here is an error.

use crate::files::digest;
use slantpath_station::StationFile;
use slantpath_station::checked::{FigureStore, Memo};
use std::path::{Path, PathBuf};
use std::sync::Arc;

const MAGIC: &[u8; 8] = b"slpfig01";

/// Gives the feed of every variant one memo that outlasts the run.
pub(crate) fn remember(file: &mut StationFile) {
    let memo = match folder() {
        Some(f) => Memo::with_store(Arc::new(Folder(f))),
        None => Memo::default(),
    };
    for s in std::iter::once(&mut file.base).chain(&mut file.variants) {
        s.feed.memo = memo.clone();
    }
}

fn folder() -> Option<PathBuf> {
    let var = |k: &str| {
        std::env::var_os(k)
            .filter(|v| !v.is_empty())
            .map(PathBuf::from)
    };
    if let Some(own) = var("SLANTPATH_CACHE") {
        return (own.as_os_str() != "off").then_some(own);
    }
    let base = if cfg!(windows) {
        var("LOCALAPPDATA")
    } else if cfg!(target_os = "macos") {
        var("HOME").map(|h| h.join("Library").join("Caches"))
    } else {
        var("XDG_CACHE_HOME").or_else(|| var("HOME").map(|h| h.join(".cache")))
    };
    Some(base?.join("slantpath").join("feeds"))
}

/// One file per key: magic, length of the key, key, figures (little-endian).
struct Folder(PathBuf);

impl Folder {
    fn path(&self, key: &str) -> PathBuf {
        self.0.join(format!("{}.figures", digest(key.as_bytes())))
    }
}

impl FigureStore for Folder {
    fn get(&self, key: &str) -> Option<Vec<f64>> {
        let bytes = std::fs::read(self.path(key)).ok()?;
        let rest = bytes.strip_prefix(MAGIC)?;
        let (length, rest) = rest.split_first_chunk::<8>()?;
        let (name, rest) =
            rest.split_at_checked(usize::try_from(u64::from_le_bytes(*length)).ok()?)?;
        let (sum, figures) = rest.split_first_chunk::<64>()?;
        // another key by the same hash, or a file cut short, is no answer
        let whole =
            name == key.as_bytes() && figures.len() % 8 == 0 && sum == digest(figures).as_bytes();
        whole.then(|| {
            figures
                .as_chunks::<8>()
                .0
                .iter()
                .map(|b| f64::from_le_bytes(*b))
                .collect()
        })
    }

    fn put(&self, key: &str, figures: &[f64]) {
        let written: Vec<u8> = figures.iter().flat_map(|v| v.to_le_bytes()).collect();
        let mut bytes = MAGIC.to_vec();
        bytes.extend((key.len() as u64).to_le_bytes());
        bytes.extend(key.as_bytes());
        bytes.extend(digest(&written).as_bytes());
        bytes.extend(written);
        let _ = whole(&self.0, &self.path(key), &bytes);
    }
}

/// Written beside and moved into place, so that nobody ever reads half of it.
fn whole(folder: &Path, path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    let beside = path.with_extension(format!("{}", std::process::id()));
    std::fs::write(&beside, bytes)?;
    std::fs::rename(&beside, path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kept_as_written_and_damage_is_no_answer() {
        let dir = std::env::temp_dir().join(format!("slantpath-feeds-{}", std::process::id()));
        let store = Folder(dir.clone());
        assert_eq!(store.get("a"), None);
        store.put("a", &[1.5, -0.0, f64::INFINITY]);
        let back = store.get("a").unwrap();
        assert_eq!(
            back.map_bits(),
            [1.5, -0.0, f64::INFINITY].to_vec().map_bits()
        );
        assert_eq!(store.get("b"), None);
        let path = store.path("a");
        let mut bytes = std::fs::read(&path).unwrap();
        *bytes.last_mut().unwrap() ^= 1;
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(store.get("a"), None);
        std::fs::write(&path, &bytes[..20]).unwrap();
        assert_eq!(store.get("a"), None);
        std::fs::remove_dir_all(dir).unwrap();
    }

    trait Bits {
        fn map_bits(&self) -> Vec<u64>;
    }
    impl Bits for Vec<f64> {
        fn map_bits(&self) -> Vec<u64> {
            self.iter().map(|v| v.to_bits()).collect()
        }
    }
}

//! The user's files: where they are, and what stands in them.

use super::fault::FaultKind;
use super::values::{Settings, SettingsError};
use crate::engine::Model;
use crate::file::{self, ReadError};
use crate::folders;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Whether there must be a settings file: one that the user named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Presence {
    Required,
    Optional,
}

impl Settings {
    /// The defaults and the user's files, where there are any: `settings.toml`, or the
    /// one that is `named`, and beside it `modes.toml` with modes of the user's own.
    pub fn load(named: Option<&Path>) -> Result<Settings, SettingsError> {
        match Settings::files(named).first() {
            Some(path) if named.is_some() => Settings::read(path, Presence::Required),
            Some(path) => Settings::read(path, Presence::Optional),
            None => Settings::standard(),
        }
    }

    /// The files that [`Settings::load`] looks for: the settings first.
    pub fn files(named: Option<&Path>) -> Vec<PathBuf> {
        let usual = || folders::config().map(|d| d.join("settings.toml"));
        let path = named.map(Path::to_owned).or_else(usual);
        let both = |path: PathBuf| [path.with_file_name("modes.toml"), path];
        let mut files: Vec<PathBuf> = path.map(both).into_iter().flatten().collect();
        files.reverse();
        files
    }

    pub(super) fn read(path: &Path, presence: Presence) -> Result<Settings, SettingsError> {
        let mut s = Settings::standard()?;
        match file::text(path, MOST) {
            Ok(text) => s.override_with(&text, path)?,
            Err(ReadError::Missing) if presence == Presence::Optional => {}
            Err(e) => return Err(SettingsError::whole(path.into(), e)),
        }
        if let Some(folder) = &mut s.sittings_folder {
            *folder = path.with_file_name("").join(folders::from_home(folder));
        }
        if let Some(weights) = &s.weights {
            // Beside the settings, unless it says where from the root on.
            let weights = path.with_file_name("").join(weights);
            let model =
                read_weights(&weights).map_err(|e| SettingsError::whole(weights.clone(), e))?;
            s.model = Arc::new(model);
        }
        let modes = path.with_file_name("modes.toml");
        match file::text(&modes, MOST) {
            Ok(text) => {
                let all = s
                    .catalogue
                    .extended(&text)
                    .map_err(|e| SettingsError::whole(modes, e))?;
                s.catalogue = Arc::new(all);
            }
            Err(ReadError::Missing) => {}
            Err(e) => return Err(SettingsError::whole(modes, e)),
        }
        Ok(s)
    }
}

/// Maximum size of a settings file, in bytes: far more than any has.
const MOST: u64 = 1 << 20;

fn read_weights(path: &Path) -> Result<Model, FaultKind> {
    // A byte more than can be right is enough to see that it is not.
    let most = Model::MAX_BYTES as u64 + 1;
    let bytes = file::bytes(path, most)?;
    Ok(Model::parse(&bytes)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_are_read_from_beside_the_settings() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("s.toml");
        std::fs::write(&file, "[reading]\nweights = 'own.weights'").expect("written");
        let own = folder.path().join("own.weights");
        let embedded = include_bytes!("../../config/estimator.weights");
        std::fs::write(&own, embedded).expect("written");
        let standard = Model::standard().expect("the embedded weights");
        let model = |file| Settings::load(Some(file)).expect("settings").model;
        assert!(!Arc::ptr_eq(&model(&file), &standard));
        // A byte changed on the way.
        let mut damaged = embedded.to_vec();
        damaged[100] ^= 1;
        std::fs::write(&own, damaged).expect("written");
        let said = Settings::load(Some(&file))
            .map(|_| ())
            .expect_err("an error");
        assert_eq!(
            said.to_string(),
            format!(
                "{}: the weights are damaged, their checksum does not hold: fetch the file again",
                own.display()
            )
        );
        std::fs::write(&file, "[reading]\nweights = ''").expect("written");
        assert!(Arc::ptr_eq(&model(&file), &standard));
    }
}

//! Files that are written beside their place under another name, and moved there when they are whole. A run that is
//! interrupted takes all of them away first.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tempfile::{NamedTempFile, TempDir};

/// How their names begin.
const PREFIX: &str = ".leadsman-";

/// Files and folders that are being written. Who makes or moves one holds the lock meanwhile: what is there is listed, and
/// what is moved together is moved altogether. What is listed and gone does no harm.
static UNFINISHED: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn unfinished() -> MutexGuard<'static, Vec<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Takes away all that is unfinished, says with `then` whether there was anything, and lets nothing be made or moved
/// meanwhile.
#[cfg(unix)]
pub(super) fn give_up(then: impl FnOnce(bool)) {
    let mut all = unfinished();
    let mut any = false;
    for path in all.drain(..) {
        any = true;
        // What cannot be removed stays; the run ends all the same.
        let _ = if path.is_dir() { fs::remove_dir_all(&path) } else { fs::remove_file(&path) };
    }
    then(any);
}

/// A place in the list, as long as this lives.
struct Listed(PathBuf);

impl Listed {
    /// Makes something and lists it before an interrupt can come between.
    fn new<T>(make: impl FnOnce() -> io::Result<T>, path: impl Fn(&T) -> &Path) -> io::Result<(T, Self)> {
        let mut all = unfinished();
        let made = make()?;
        let path = path(&made).to_owned();
        all.push(path.clone());
        Ok((made, Self(path)))
    }
}

impl Drop for Listed {
    fn drop(&mut self) {
        unfinished().retain(|path| *path != self.0);
    }
}

/// Who may read a new file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Readers {
    /// Whoever may read any other new file.
    All,
    /// Its owner alone.
    Owner,
}

/// A file that is being written; gone when this is dropped.
pub(super) struct Beside {
    file: NamedTempFile,
    listed: Listed,
    target: PathBuf,
}

impl Beside {
    /// Makes an empty file in the folder of `target`, which it will replace.
    ///
    /// # Errors
    /// When the system refuses.
    pub(super) fn new(target: &Path, readers: Readers) -> io::Result<Self> {
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX);
        // A temporary file is its owner's alone when nothing else is said.
        #[cfg(unix)]
        if readers == Readers::All {
            use std::os::unix::fs::PermissionsExt as _;
            builder.permissions(fs::Permissions::from_mode(0o666));
        }
        let folder =
            target.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let (file, listed) = Listed::new(|| builder.tempfile_in(folder), NamedTempFile::path)?;
        Ok(Self { file, listed, target: target.to_owned() })
    }

    /// The file to write to.
    pub(super) fn file(&mut self) -> &mut File {
        self.file.as_file_mut()
    }

    /// Moves whole files to their places, one after the other; an interrupt comes before all of them or after.
    ///
    /// # Errors
    /// When the system refuses one of them, which is named; it and those behind it are gone then.
    pub(super) fn place(files: impl IntoIterator<Item = Self>) -> Result<(), (PathBuf, io::Error)> {
        // Struck off when the lock is free again: what is declared first is dropped last.
        let mut struck = Vec::new();
        let _held = unfinished();
        let mut done = Ok(());
        for Self { file, listed, target } in files {
            struck.push(listed);
            if done.is_ok() {
                done = file.persist(&target).map(drop).map_err(|refused| (target, refused.error));
            }
        }
        done
    }
}

/// A folder that several files are written in before they move up into the folder around it; gone when this is dropped.
pub(super) struct BesideFolder {
    folder: TempDir,
    _listed: Listed,
    around: PathBuf,
}

impl BesideFolder {
    /// Makes an empty folder in `around`.
    ///
    /// # Errors
    /// When the system refuses.
    pub(super) fn new(around: &Path) -> io::Result<Self> {
        let mut builder = tempfile::Builder::new();
        let (folder, listed) = Listed::new(|| builder.prefix(PREFIX).tempdir_in(around), TempDir::path)?;
        Ok(Self { folder, _listed: listed, around: around.to_owned() })
    }

    /// Where to write.
    pub(super) fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Moves the files of these names up; an interrupt comes before all of them or after.
    ///
    /// # Errors
    /// When the system refuses one of them, which is named.
    pub(super) fn place<'a>(
        &self,
        names: impl IntoIterator<Item = &'a str>,
    ) -> Result<(), (PathBuf, io::Error)> {
        let _held = unfinished();
        for name in names {
            let target = self.around.join(name);
            fs::rename(self.path().join(name), &target).map_err(|refused| (target, refused))?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<_> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    fn is_listed(folder: &Path) -> bool {
        unfinished().iter().any(|path| path.starts_with(folder))
    }

    #[test]
    fn files_are_listed_until_they_are_in_their_place_or_gone() {
        let dir = tempfile::tempdir().unwrap();
        let mut files = ["a", "b"].map(|name| Beside::new(&dir.path().join(name), Readers::All).unwrap());
        files[0].file().write_all(b"one").unwrap();
        assert!(is_listed(dir.path()) && names(dir.path()).iter().all(|name| name.starts_with(PREFIX)));
        Beside::place(files).unwrap();
        assert!(!is_listed(dir.path()));
        assert_eq!(names(dir.path()), ["a", "b"]);
        assert_eq!(fs::read(dir.path().join("a")).unwrap(), b"one");
        drop(Beside::new(&dir.path().join("c"), Readers::Owner).unwrap());
        assert!(!is_listed(dir.path()));
        assert_eq!(names(dir.path()), ["a", "b"]);
    }

    #[test]
    fn where_one_file_is_refused_those_behind_it_are_gone() {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir_all(dir.path().join("b/full")).unwrap();
        let files = ["a", "b", "c"].map(|name| Beside::new(&dir.path().join(name), Readers::All).unwrap());
        let (refused, _) = Beside::place(files).unwrap_err();
        assert_eq!(refused, dir.path().join("b"));
        assert_eq!(names(dir.path()), ["a", "b"]);
        assert!(!is_listed(dir.path()));
    }

    #[test]
    fn a_folder_of_files_moves_up_and_goes() {
        let dir = tempfile::tempdir().unwrap();
        let folder = BesideFolder::new(dir.path()).unwrap();
        for name in ["a", "b"] {
            fs::write(folder.path().join(name), name).unwrap();
        }
        folder.place(["a"]).unwrap();
        assert!(is_listed(dir.path()));
        drop(folder);
        assert!(!is_listed(dir.path()));
        assert_eq!(names(dir.path()), ["a"]);
    }
}

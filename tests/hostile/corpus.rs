//! The corpus that fuzzing left, through the same functions: the short, deterministic run of every change.

use crate::bodies::TARGETS;
use crate::examine::alone;
use std::fs;
use std::path::Path;

#[test]
fn the_kept_corpus_passes() {
    let _alone = alone();
    for (name, body) in TARGETS {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(name);
        let mut files: Vec<_> = fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path()).collect();
        files.sort();
        assert!(files.len() > 20, "{} files in the corpus of {name}", files.len());
        for file in files {
            let bytes = fs::read(&file).unwrap();
            let passed = std::panic::catch_unwind(|| body(&bytes)).is_ok();
            assert!(passed, "{}", file.display());
        }
    }
}

#[test]
fn every_target_is_there_for_the_fuzzer() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz");
    let manifest = fs::read_to_string(folder.join("Cargo.toml")).unwrap();
    let script = fs::read_to_string(folder.join("run")).unwrap();
    for (name, _) in TARGETS {
        let file = fs::read_to_string(folder.join(format!("fuzz_targets/{name}.rs"))).unwrap();
        let call = format!("bodies::{}(data)", name.replace('-', "_"));
        assert!(file.contains(&call) && manifest.contains(&format!("\"{name}\"")), "{name}");
        assert!(script.contains(name), "{name} is not named in fuzz/run");
    }
}

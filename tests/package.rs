//! What `cargo install` and `cargo package` take along: all that the program is built of,
//! and nothing that only tests and training need.

use std::collections::BTreeSet;
use std::path::{Component, Path, PathBuf};
use std::process::Command;

fn packaged() -> BTreeSet<String> {
    let output = Command::new(env!("CARGO"))
        .args(["package", "--list", "--allow-dirty", "--offline"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo");
    assert!(output.status.success(), "{output:?}");
    let list = String::from_utf8(output.stdout).expect("text");
    list.lines().map(|l| l.replace('\\', "/")).collect()
}

/// Without `..`, as cargo names files.
fn plain(path: &Path) -> String {
    let mut out = PathBuf::new();
    for part in path.components() {
        match part {
            Component::ParentDir => assert!(out.pop(), "{}", path.display()),
            part => out.push(part),
        }
    }
    out.to_string_lossy().replace('\\', "/")
}

#[test]
fn the_package_has_what_the_program_is_built_of() {
    let list = packaged();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut embedded = 0;
    for file in list.iter().filter(|f| f.ends_with(".rs")) {
        let text = std::fs::read_to_string(root.join(file)).expect("a source");
        // Tests stand at the end of a file; a package is not tested.
        let text = text
            .split("#[cfg(test)]\nmod tests {")
            .next()
            .unwrap_or_default();
        for part in text
            .split("include_str!(\"")
            .skip(1)
            .chain(text.split("include_bytes!(\"").skip(1))
        {
            let path = part.split('"').next().expect("a path");
            let path = plain(&Path::new(file).with_file_name("").join(path));
            assert!(list.contains(&path), "{file} needs {path}");
            embedded += 1;
        }
    }
    assert!(embedded >= 7, "{embedded}");
    for folder in ["src/manual/pages", "config"] {
        for entry in std::fs::read_dir(root.join(folder)).expect("a folder") {
            let name = entry.expect("a file").file_name();
            let path = format!("{folder}/{}", name.to_string_lossy());
            assert!(list.contains(&path), "{path}");
        }
    }
    for file in [
        "README.md",
        "LICENSE",
        "DEVELOPERS.md",
        "Cargo.lock",
        "src/main.rs",
    ] {
        assert!(list.contains(file), "{file}");
    }
}

#[test]
fn the_package_has_nothing_else() {
    let own = [
        ".cargo_vcs_info.json",
        "Cargo.toml",
        "Cargo.toml.orig",
        "Cargo.lock",
    ];
    for file in packaged() {
        let wanted = own.contains(&file.as_str())
            || ["README.md", "LICENSE", "DEVELOPERS.md"].contains(&file.as_str())
            || file.starts_with("config/")
            || file.starts_with("recordings/")
            || file.starts_with("src/manual/pages/")
            || file.starts_with("src/") && file.ends_with(".rs");
        let of_tests = file.contains("/tests") || file.contains("snapshots");
        assert!(wanted && !of_tests, "{file}");
    }
}

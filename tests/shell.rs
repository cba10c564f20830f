//! What the shells say to the scripts that we print for them.
#![cfg(unix)]

use std::path::Path;
use std::process::{Command, Output, Stdio};

fn peregrinus(args: &[&str]) -> Output {
    let home = tempfile::tempdir().unwrap();
    // Settings that are wrong are no reason to have no manual.
    let config = home.path().join("config/peregrinus");
    std::fs::create_dir_all(&config).unwrap();
    std::fs::write(config.join("settings.toml"), "[no such table]").unwrap();
    Command::new(env!("CARGO_BIN_EXE_peregrinus"))
        .args(args)
        .env("HOME", home.path())
        .env("XDG_CONFIG_HOME", home.path().join("config"))
        .env("XDG_STATE_HOME", home.path().join("state"))
        .env("XDG_DATA_HOME", home.path().join("data"))
        .stdin(Stdio::null())
        .output()
        .unwrap()
}

fn printed(args: &[&str]) -> String {
    let output = peregrinus(args);
    let err = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && err.is_empty(), "{args:?}: {err}");
    String::from_utf8(output.stdout).unwrap()
}

/// Runs a checker on a file; it must have nothing to say.
fn accepted(program: &str, args: &[&str], file: &Path) {
    let output = Command::new(program).args(args).arg(file).output();
    let output = output.unwrap_or_else(|e| panic!("{program}: {e}; tests/prepare installs it"));
    let said = [output.stdout.as_slice(), &output.stderr].concat();
    let said = String::from_utf8_lossy(&said);
    assert!(
        output.status.success() && said.is_empty(),
        "{program} {args:?}: {said}"
    );
}

const COMMANDS: [&str; 9] = [
    "listen",
    "replay",
    "ports",
    "sittings",
    "analyze",
    "harmonize",
    "modes",
    "completions",
    "man",
];

#[test]
fn each_shell_takes_its_script() {
    let folder = tempfile::tempdir().unwrap();
    for (shell, check) in [
        ("bash", Some("-n")),
        ("zsh", Some("-n")),
        ("fish", Some("--no-execute")),
        // Not in Debian: its script is only looked at.
        ("powershell", None),
    ] {
        let script = printed(&["completions", shell]);
        let wanted = COMMANDS.iter().chain(&["settings", "voicings"]);
        for word in wanted {
            assert!(script.contains(word), "{shell}: {word}");
        }
        let file = folder.path().join(shell);
        std::fs::write(&file, &script).unwrap();
        if let Some(check) = check {
            accepted(shell, &[check], &file);
        }
    }
}

/// A script that the shell only takes is not yet one that completes.
#[test]
fn bash_completes_by_it() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("script");
    std::fs::write(&file, printed(&["completions", "bash"])).unwrap();
    let complete = |words: &str, at: usize| {
        let script = format!(
            "source '{}'; COMP_WORDS=({words}); COMP_CWORD={at}; \
             _peregrinus peregrinus \"${{COMP_WORDS[{at}]}}\" \"${{COMP_WORDS[{at}-1]}}\"; \
             echo \"${{COMPREPLY[*]}}\"",
            file.display()
        );
        let output = Command::new("bash").args(["-c", &script]).output().unwrap();
        assert!(output.status.success(), "{output:?}");
        String::from_utf8(output.stdout).unwrap().trim().to_owned()
    };
    assert_eq!(complete("peregrinus ana", 1), "analyze");
    assert_eq!(complete("peregrinus completions po", 2), "powershell");
    assert_eq!(complete("peregrinus analyze --voi", 2), "--voicings");
    // Topics and commands.
    assert_eq!(complete("peregrinus man num", 2), "numerals");
    assert_eq!(complete("peregrinus man ana", 2), "analyze");
}

#[test]
fn what_there_is_no_script_for_is_said() {
    for (args, said) in [
        (
            &["completions", "tcsh"][..],
            "[possible values: bash, zsh, fish, powershell]",
        ),
        (&["completions"], "<SHELL>"),
    ] {
        let output = peregrinus(args);
        let err = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {err}");
        assert!(err.contains(said), "{args:?}: {err}");
        assert!(output.stdout.is_empty());
    }
}

//! Any text as settings and as modes: taken, or refused with its place.
#![no_main]

use libfuzzer_sys::fuzz_target;
use peregrinus::settings::Settings;
use peregrinus::theory::Catalogue;
use std::path::Path;

fuzz_target!(|text: &str| {
    if let Ok(mut settings) = Settings::standard()
        && let Err(e) = settings.override_with(text, Path::new("settings.toml"))
    {
        assert!(e.to_string().starts_with("settings.toml: "));
    }
    if let Err(e) = Catalogue::standard().extended(text) {
        assert!(!e.to_string().is_empty());
    }
});

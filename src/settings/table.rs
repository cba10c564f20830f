//! A settings file as tables whose values know their place in the text.
//!
//! The reader asks for each value by its name; what was not asked for is unknown. Faults
//! are collected rather than returned, so that all those of a file are reported at once.

use super::fault::{Fault, FaultKind};
use crate::nearest::nearest;
use std::borrow::Cow;
use std::cell::RefCell;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The faults of one text, in the order in which they were found.
pub(super) struct Faults<'t> {
    text: &'t str,
    found: RefCell<Vec<(usize, FaultKind)>>,
}

impl<'t> Faults<'t> {
    pub fn of(text: &'t str) -> Faults<'t> {
        Faults {
            text,
            found: RefCell::default(),
        }
    }

    /// At a byte of the text.
    pub fn add(&self, at: usize, kind: FaultKind) {
        self.found.borrow_mut().push((at, kind));
    }

    /// All of them from the top of the text to its end.
    pub fn in_order(self) -> Vec<Fault> {
        let mut found = self.found.into_inner();
        found.sort_by_key(|(at, _)| *at);
        let place = |at: usize| {
            let before = self.text.get(..at)?;
            let line = before.matches('\n').count() + 1;
            let column = before.rsplit('\n').next()?.chars().count() + 1;
            Some((line, column))
        };
        let located = |(at, kind)| Fault {
            place: place(at),
            kind,
        };
        found.into_iter().map(located).collect()
    }
}

/// A value and the byte where it begins.
#[derive(Clone, Debug)]
pub(super) struct At<T> {
    pub value: T,
    pub at: usize,
}

type Value<'t> = Spanned<DeValue<'t>>;

/// One table while it is read.
pub(super) struct Table<'t, 'f> {
    /// None: the file itself.
    name: Option<&'static str>,
    entries: DeTable<'t>,
    known: Vec<&'static str>,
    faults: &'f Faults<'t>,
}

impl<'t, 'f> Table<'t, 'f> {
    /// The whole text; empty where it is not TOML.
    pub fn file(faults: &'f Faults<'t>) -> Table<'t, 'f> {
        let entries = match DeTable::parse(faults.text) {
            Ok(table) => table.into_inner(),
            Err(e) => {
                let Range { start, .. } = e.span().unwrap_or_default();
                faults.add(start, FaultKind::NotToml(e.message().to_owned()));
                DeTable::new()
            }
        };
        Table {
            name: None,
            entries,
            known: Vec::new(),
            faults,
        }
    }

    /// A table of this one; empty where there is none.
    pub fn table(&mut self, name: &'static str) -> Table<'t, 'f> {
        let entries = self.value(name, |v, at| match v {
            DeValue::Table(t) => Some(t),
            other => {
                let is = in_words(&other).into_owned();
                self.faults.add(at, FaultKind::NotATable { name, is });
                None
            }
        });
        Table {
            name: Some(name),
            entries: entries.map(|e| e.value).unwrap_or_default(),
            known: Vec::new(),
            faults: self.faults,
        }
    }

    /// The full name of a value.
    pub fn full(&self, key: &str) -> String {
        self.name
            .map_or(key.to_owned(), |table| format!("{table}.{key}"))
    }

    pub fn text(&mut self, key: &'static str) -> Option<At<String>> {
        self.typed(key, "a text in quotation marks", |v| match v {
            DeValue::String(s) => Some(s.into_owned()),
            _ => None,
        })
    }

    pub fn boolean(&mut self, key: &'static str) -> Option<bool> {
        let found = self.typed(key, "true or false", |v| v.as_bool());
        found.map(|b| b.value)
    }

    pub fn integer(&mut self, key: &'static str) -> Option<At<i64>> {
        self.typed(key, "a whole number", |v| integer(&v))
    }

    pub fn integers(&mut self, key: &'static str) -> Option<Vec<At<i64>>> {
        let wanted = "a list of whole numbers, such as [1, 2]";
        let found = self.typed(key, wanted, |v| match v {
            DeValue::Array(a) => a
                .iter()
                .map(|v| integer(v.get_ref()).map(|value| located(v, value)))
                .collect(),
            _ => None,
        });
        found.map(|l| l.value)
    }

    /// One text, or a list of them.
    pub fn texts(
        &mut self,
        key: &'static str,
        wanted: &'static str,
    ) -> Option<At<Vec<At<String>>>> {
        let name = self.full(key);
        self.value(key, |value, at| {
            let found = match value {
                DeValue::String(s) => Some(vec![At {
                    value: s.into_owned(),
                    at,
                }]),
                DeValue::Array(list) => list
                    .iter()
                    .map(|v| Some(located(v, v.get_ref().as_str()?.to_owned())))
                    .collect(),
                ref other => {
                    let is = in_words(other).into_owned();
                    self.faults.add(at, FaultKind::Type { name, is, wanted });
                    return None;
                }
            };
            if found.is_none() {
                self.faults.add(at, FaultKind::NotTexts { name, wanted });
            }
            found
        })
    }

    /// One of several values, each as the user writes it; signs may be typed in ASCII too.
    pub fn choice<T: Copy>(&mut self, key: &'static str, of: &[(&'static str, T)]) -> Option<T> {
        let name = self.full(key);
        let written = self.text(key)?;
        let plain = |s: &str| s.replace('♭', "b").replace('−', "-");
        let value = plain(&written.value);
        if let Some((_, meant)) = of.iter().find(|(name, _)| plain(name) == value) {
            return Some(*meant);
        }
        let choices: Vec<&'static str> = of.iter().map(|(name, _)| *name).collect();
        let no_choice = FaultKind::NoChoice {
            name,
            nearest: nearest(&written.value, choices.iter().copied()),
            written: written.value,
            choices,
        };
        self.faults.add(written.at, no_choice);
        None
    }

    /// Ends reading: every value that was not asked for is a fault.
    pub fn finish(self) {
        for key in self.entries.keys() {
            let written = key.get_ref().to_string();
            let nearest = nearest(&written, self.known.iter().copied());
            let names = self.known.clone();
            let unknown = match self.name {
                None => FaultKind::UnknownTable {
                    written,
                    nearest,
                    tables: names,
                },
                Some(table) => FaultKind::UnknownName {
                    table,
                    written,
                    nearest,
                    names,
                },
            };
            self.faults.add(key.span().start, unknown);
        }
    }

    fn typed<T>(
        &mut self,
        key: &'static str,
        wanted: &'static str,
        read: impl FnOnce(DeValue<'t>) -> Option<T>,
    ) -> Option<At<T>> {
        let name = self.full(key);
        let faults = self.faults;
        self.value(key, |value, at| {
            let is = in_words(&value);
            let found = read(value);
            if found.is_none() {
                let is = is.into_owned();
                faults.add(at, FaultKind::Type { name, is, wanted });
            }
            found
        })
    }

    fn value<T>(
        &mut self,
        key: &'static str,
        read: impl FnOnce(DeValue<'t>, usize) -> Option<T>,
    ) -> Option<At<T>> {
        self.known.push(key);
        let value = self.entries.remove(key)?;
        let at = value.span().start;
        read(value.into_inner(), at).map(|value| At { value, at })
    }
}

fn located<T>(of: &Value, value: T) -> At<T> {
    let at = of.span().start;
    At { value, at }
}

fn integer(value: &DeValue) -> Option<i64> {
    let digits = value.as_integer()?;
    i64::from_str_radix(digits.as_str(), digits.radix()).ok()
}

/// What a value is, in words.
fn in_words(value: &DeValue) -> Cow<'static, str> {
    match value {
        DeValue::String(_) => "a text".into(),
        DeValue::Integer(n) => format!("the number {}", n.as_str()).into(),
        DeValue::Float(n) => format!("the number {}", n.as_str()).into(),
        DeValue::Boolean(b) => b.to_string().into(),
        DeValue::Datetime(_) => "a date".into(),
        DeValue::Array(_) => "a list".into(),
        DeValue::Table(_) => "a table".into(),
    }
}

//! A settings file as tables whose values know their place in the text.
//!
//! The reader asks for each value by its name; what was not asked for is unknown. Faults
//! are collected rather than returned, so that all those of a file are reported at once.

use crate::nearest::nearest;
use crate::plain;
use std::borrow::Cow;
use std::cell::RefCell;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What is wrong, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Fault {
    /// Line and column, both from 1, where the text has them.
    pub place: Option<(usize, usize)>,
    pub what: String,
}

/// The faults of one text, in the order in which they were found.
pub(super) struct Faults<'t> {
    text: &'t str,
    found: RefCell<Vec<(usize, String)>>,
}

impl<'t> Faults<'t> {
    pub fn of(text: &'t str) -> Faults<'t> {
        Faults {
            text,
            found: RefCell::default(),
        }
    }

    /// At a byte of the text.
    pub fn add(&self, at: usize, what: String) {
        self.found.borrow_mut().push((at, what));
    }

    /// All of them from the top of the text to its end.
    pub fn told(self) -> Vec<Fault> {
        let mut found = self.found.into_inner();
        found.sort_by_key(|(at, _)| *at);
        let place = |at: usize| {
            let before = self.text.get(..at)?;
            let line = before.matches('\n').count() + 1;
            let column = before.rsplit('\n').next()?.chars().count() + 1;
            Some((line, column))
        };
        let told = |(at, what)| Fault {
            place: place(at),
            what,
        };
        found.into_iter().map(told).collect()
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
                let what = format!(
                    "{}; a line is written as name = value, with \"quotation marks\" around words",
                    e.message()
                );
                faults.add(start, what);
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
                let what = format!(
                    "{name} is {}; it must be a table: write [{name}] in a line of its own",
                    kind(&other)
                );
                self.faults.add(at, what);
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
    pub fn texts(&mut self, key: &'static str, wanted: &str) -> Option<At<Vec<At<String>>>> {
        let full = self.full(key);
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
                    let what = format!("{full} is {}; it must be {wanted}", kind(other));
                    self.faults.add(at, what);
                    return None;
                }
            };
            if found.is_none() {
                let what = format!("{full} holds something else than texts; it must be {wanted}");
                self.faults.add(at, what);
            }
            found
        })
    }

    /// One of several values, each as the user writes it; signs may be typed in ASCII too.
    pub fn choice<T: Copy>(&mut self, key: &'static str, of: &[(&'static str, T)]) -> Option<T> {
        let full = self.full(key);
        let written = self.text(key)?;
        let plain = |s: &str| s.replace('♭', "b").replace('−', "-");
        let value = plain(&written.value);
        if let Some((_, meant)) = of.iter().find(|(name, _)| plain(name) == value) {
            return Some(*meant);
        }
        let names = of.iter().map(|(name, _)| *name);
        let guess = nearest(&written.value, names.clone())
            .map_or(";".into(), |near| format!("; did you mean '{near}'?"));
        let names: Vec<String> = names.map(|n| format!("'{n}'")).collect();
        let it = if guess == ";" { "it" } else { "It" };
        let what = format!(
            "{full} is '{}'{guess} {it} must be {}",
            written.value,
            plain::list(&names, "or")
        );
        self.faults.add(written.at, what);
        None
    }

    /// Ends reading: every value that was not asked for is a fault.
    pub fn finish(self) {
        for key in self.entries.keys() {
            let (written, at) = (key.get_ref(), key.span().start);
            let shown = |name: &str| match self.name {
                None => format!("[{name}]"),
                Some(_) => format!("'{name}'"),
            };
            let what = match self.name {
                None => format!("there is no table [{written}]"),
                Some(table) => format!("[{table}] has no '{written}'"),
            };
            let near = nearest(written, self.known.iter().copied());
            let names: Vec<String> = self.known.iter().map(|n| shown(n)).collect();
            let help = match near {
                Some(near) => format!("did you mean {}?", shown(near)),
                None => format!("it must be {}", plain::list(&names, "or")),
            };
            self.faults.add(at, format!("{what}; {help}"));
        }
    }

    fn typed<T>(
        &mut self,
        key: &'static str,
        wanted: &str,
        read: impl FnOnce(DeValue<'t>) -> Option<T>,
    ) -> Option<At<T>> {
        let full = self.full(key);
        let faults = self.faults;
        self.value(key, |value, at| {
            let is = kind(&value);
            let found = read(value);
            if found.is_none() {
                faults.add(at, format!("{full} is {is}; it must be {wanted}"));
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
fn kind(value: &DeValue) -> Cow<'static, str> {
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

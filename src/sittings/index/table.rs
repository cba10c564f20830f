//! The table of sittings in SQLite: its form in each version, and its rows.

use super::super::folder::private;
use super::super::sitting::{Heading, Sitting, Stay, date, way};
use crate::time::Time;
use jiff::Timestamp;
use rusqlite::types::{Value, ValueRef};
use rusqlite::{Connection, ErrorCode, OpenFlags, OptionalExtension, Row, TransactionBehavior};
use serde::Deserialize;
use serde::de::IgnoredAny;
use std::borrow::Cow;
use std::collections::HashMap;
use std::fs::{DirEntry, Metadata};
use std::ops::ControlFlow;
use std::path::Path;
use std::time::Duration;

/// How long another program may hold the index before it is done without.
const PATIENCE: Duration = Duration::from_secs(2);

/// What takes an index from each version to the next; the first makes it. What a step cannot
/// know it marks to be read from the files again, by a size that no file has.
const MIGRATIONS: [&str; 4] = [
    "CREATE TABLE sitting (
         id       TEXT PRIMARY KEY NOT NULL,
         size     INTEGER NOT NULL,  -- of the file, in bytes
         modified INTEGER NOT NULL,  -- the file, in nanoseconds since 1970
         at       INTEGER NOT NULL,  -- begun or modified, in nanoseconds since 1970
         begun    TEXT,              -- RFC 3339
         seconds  REAL NOT NULL,
         notes    INTEGER NOT NULL,
         name     TEXT,
         cut_off  INTEGER NOT NULL,
         here     TEXT NOT NULL,     -- [[from, to, center, mode, label], …], in ticks of 20 µs
         home     TEXT NOT NULL,
         markers  TEXT NOT NULL      -- [[tick, name], …]
     ) STRICT;
     CREATE INDEX newest ON sitting (at, id);",
    "ALTER TABLE sitting ADD COLUMN tags TEXT NOT NULL DEFAULT '[]';
     -- Of all that stands in the row.
     ALTER TABLE sitting ADD COLUMN crc INTEGER NOT NULL DEFAULT 0;
     UPDATE sitting SET size = -1;",
    "ALTER TABLE sitting ADD COLUMN corrections INTEGER NOT NULL DEFAULT 0;
     UPDATE sitting SET size = -1;",
    // What is compared with the files is found without reading all rows.
    "CREATE INDEX stamp ON sitting (id, size, modified);",
];

const COLUMNS: &str = "id, size, modified, at, begun, seconds, notes, name, cut_off, here, home, \
                       markers, tags, corrections, crc";

/// Why an index is of no use.
#[derive(Debug, thiserror::Error)]
pub enum Trouble {
    #[error("is held by another program")]
    Locked,
    #[error("is damaged")]
    Damaged,
    #[error("was made by a later version of this program")]
    Later,
    #[error("cannot be used: the disk is full")]
    DiskFull,
    #[error("cannot be used: it is read-only")]
    ReadOnly,
    #[error("cannot be used: it cannot be opened")]
    NotOpened,
    #[error("cannot be used: the disk fails")]
    DiskFails,
    #[error("cannot be used: there is no memory left")]
    NoMemory,
    #[error("cannot be used: {}", crate::plain::reason(.0))]
    System(std::io::Error),
    #[error("cannot be used: {0}")]
    Json(serde_json::Error),
}

impl From<rusqlite::Error> for Trouble {
    fn from(e: rusqlite::Error) -> Trouble {
        use ErrorCode::*;
        match e.sqlite_error_code() {
            Some(DatabaseBusy | DatabaseLocked) => Trouble::Locked,
            Some(DiskFull) => Trouble::DiskFull,
            Some(ReadOnly) => Trouble::ReadOnly,
            Some(CannotOpen | PermissionDenied) => Trouble::NotOpened,
            Some(SystemIoFailure) => Trouble::DiskFails,
            Some(OutOfMemory) => Trouble::NoMemory,
            // Not a database, not one of ours, or not what we wrote.
            _ => Trouble::Damaged,
        }
    }
}

/// By which a file is known to be unchanged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    pub size: u64,
    pub modified: Timestamp,
}

impl Stamp {
    pub fn of(path: &Path) -> std::io::Result<Stamp> {
        Stamp::read(&std::fs::metadata(path)?)
    }

    /// The same, sooner: the way to its folder need not be gone.
    pub fn of_entry(file: &DirEntry) -> std::io::Result<Stamp> {
        match file.file_type()?.is_symlink() {
            true => Stamp::of(&file.path()),
            false => Stamp::read(&file.metadata()?),
        }
    }

    fn read(metadata: &Metadata) -> std::io::Result<Stamp> {
        Ok(Stamp {
            size: metadata.len(),
            modified: metadata.modified()?.try_into().unwrap_or_default(),
        })
    }
}

pub struct Table(Connection);

impl Table {
    /// Opens the file of an index, which is made where there is none, and brings it to this
    /// version.
    pub fn open(path: &Path) -> Result<Table, Trouble> {
        // What is no ordinary file could block for ever.
        if std::fs::metadata(path).is_ok_and(|m| !m.is_file()) {
            return Err(Trouble::Damaged);
        }
        let made = private().create(true).truncate(false).open(path);
        made.map_err(Trouble::System)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let db = Connection::open_with_flags(path, flags)?;
        db.busy_timeout(PATIENCE)?;
        if version(&db)? > MIGRATIONS.len() {
            return Err(Trouble::Later);
        }
        // Where that cannot be, it stays with the journal that it has.
        db.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(()))?;
        // A power failure may take the last changes, never the whole; the files have them.
        db.execute_batch("PRAGMA synchronous = NORMAL")?;
        Table::migrated(db)
    }

    pub fn in_memory() -> Result<Table, Trouble> {
        Table::migrated(Connection::open_in_memory()?)
    }

    fn migrated(mut db: Connection) -> Result<Table, Trouble> {
        if version(&db)? < MIGRATIONS.len() {
            let change = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            // Another program may have been quicker.
            let version = version(&change)?;
            for step in MIGRATIONS.iter().skip(version) {
                change.execute_batch(step)?;
            }
            if version < MIGRATIONS.len() {
                change.pragma_update(None, "user_version", MIGRATIONS.len() as i64)?;
            }
            change.commit()?;
        }
        Ok(Table(db))
    }

    /// Reads all of it to see whether it is whole, which takes a while.
    pub fn check(&self) -> Result<(), Trouble> {
        let said = |row: &Row| row.get::<_, String>(0);
        match self.0.query_row("PRAGMA quick_check(1)", [], said)? == "ok" {
            true => Ok(()),
            false => Err(Trouble::Damaged),
        }
    }

    /// How many there are, and how many bytes their files take: of those that [`Table::each`] has.
    pub fn room(&self) -> Result<(usize, u64), Trouble> {
        let sql = "SELECT count(*), coalesce(sum(size), 0) FROM sitting WHERE size >= 0";
        let row = |row: &Row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?));
        let (count, bytes) = self.0.query_row(sql, [], row)?;
        let whole = |n: i64| u64::try_from(n).map_err(|_| Trouble::Damaged);
        Ok((whole(count)? as usize, whole(bytes)?))
    }

    /// The files as they were read.
    pub fn stamps(&self) -> Result<HashMap<String, Stamp>, Trouble> {
        let mut rows = self.0.prepare("SELECT id, size, modified FROM sitting")?;
        let stamp = |row: &Row| Ok((row.get(0)?, (row.get(1)?, row.get(2)?)));
        let mut stamps = HashMap::new();
        for row in rows.query_map([], stamp)? {
            let (id, (size, modified)): (String, (i64, i64)) = row?;
            let stamp = Stamp {
                size: u64::try_from(size).unwrap_or(u64::MAX),
                modified: moment(modified),
            };
            stamps.insert(id, stamp);
        }
        Ok(stamps)
    }

    pub fn put(&self, s: &Sitting) -> Result<(), Trouble> {
        let mut values = values(s)?;
        let crc = crc(values.iter().map(ValueRef::from));
        values.push(Value::Integer(crc.into()));
        let mut put = self.0.prepare_cached(&format!(
            "INSERT OR REPLACE INTO sitting ({COLUMNS})
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
        ))?;
        put.execute(rusqlite::params_from_iter(values))?;
        Ok(())
    }

    pub fn remove(&self, id: &str) -> Result<(), Trouble> {
        self.0.execute("DELETE FROM sitting WHERE id = ?", [id])?;
        Ok(())
    }

    pub fn clear(&self) -> Result<(), Trouble> {
        Ok(self.0.execute_batch("DELETE FROM sitting")?)
    }

    pub fn get(&self, id: &str) -> Result<Option<Sitting>, Trouble> {
        let sql = format!("SELECT {COLUMNS} FROM sitting WHERE id = ?");
        let row = |row: &Row| Ok(Entry::of(row).and_then(|entry| entry.sitting()));
        self.0.query_row(&sql, [id], row).optional()?.transpose()
    }

    /// Those that began `since`, and before `until`, the newest first, as long as `take` wants
    /// more. Not those that a migration has marked to be read again.
    pub fn each(
        &self,
        since: Option<Timestamp>,
        until: Option<Timestamp>,
        mut take: impl FnMut(Entry) -> Result<ControlFlow<()>, Trouble>,
    ) -> Result<(), Trouble> {
        let mut rows = self.0.prepare(&format!(
            "SELECT {COLUMNS} FROM sitting WHERE at >= ? AND at < ? AND size >= 0
             ORDER BY at DESC, id DESC"
        ))?;
        let since = since.map_or(i64::MIN, nanoseconds);
        let until = until.map_or(i64::MAX, nanoseconds);
        let mut rows = rows.query([since, until])?;
        while let Some(row) = rows.next()? {
            if take(Entry::of(row)?)?.is_break() {
                break;
            }
        }
        Ok(())
    }

    /// All ids with their names, the newest first.
    pub fn names(&self) -> Result<Vec<(String, Option<String>)>, Trouble> {
        let sql = "SELECT id, name FROM sitting ORDER BY at DESC, id DESC";
        let mut rows = self.0.prepare(sql)?;
        let names = rows.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(names.collect::<Result<_, _>>()?)
    }

    /// The ids of those with this number of notes.
    pub fn with_notes(&self, notes: u64) -> Result<Vec<String>, Trouble> {
        let mut rows = self.0.prepare("SELECT id FROM sitting WHERE notes = ?")?;
        let ids = rows.query_map([notes.cast_signed()], |row| row.get(0))?;
        Ok(ids.collect::<Result<_, _>>()?)
    }
}

fn version(db: &Connection) -> Result<usize, Trouble> {
    let version: i64 = db.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    usize::try_from(version).map_err(|_| Trouble::Damaged)
}

/// What a row says, in the order of [`COLUMNS`], but for the last.
fn values(s: &Sitting) -> Result<Vec<Value>, Trouble> {
    let text = |text: &Option<String>| text.clone().map_or(Value::Null, Value::Text);
    Ok(vec![
        Value::Text(s.id.clone()),
        Value::Integer(s.size.cast_signed()),
        Value::Integer(nanoseconds(s.modified)),
        Value::Integer(nanoseconds(s.at())),
        text(&s.begun),
        Value::Real(s.seconds),
        Value::Integer(s.notes.cast_signed()),
        text(&s.name),
        Value::Integer(s.cut_off.into()),
        Value::Text(json(s.here.iter().map(written))?),
        Value::Text(json(s.home.iter().map(written))?),
        Value::Text(json(s.markers.iter().map(|(at, name)| (ticks(*at), name)))?),
        Value::Text(json(s.tags.iter())?),
        Value::Integer(s.corrections.cast_signed()),
    ])
}

/// A text without a copy, where it has no escapes.
#[derive(Deserialize)]
struct Borrowed<'t>(#[serde(borrow)] Cow<'t, str>);

/// A row that is what was written.
pub struct Entry<'r> {
    row: &'r Row<'r>,
    said: [ValueRef<'r>; 14],
}

impl<'r> Entry<'r> {
    fn of(row: &'r Row<'r>) -> Result<Entry<'r>, Trouble> {
        let mut said = [ValueRef::Null; 14];
        for (column, said) in said.iter_mut().enumerate() {
            *said = row.get_ref(column)?;
        }
        match row.get::<_, u32>(14)? == crc(said.iter().copied()) {
            true => Ok(Entry { row, said }),
            false => Err(Trouble::Damaged),
        }
    }

    pub fn sitting(&self) -> Result<Sitting, Trouble> {
        let (row, said) = (self.row, &self.said);
        let stays = |column: usize| -> Result<Vec<Stay>, Trouble> {
            let stays: Vec<_> = read(said[column])?;
            Ok(stays.into_iter().map(stay).collect())
        };
        let markers: Vec<(u64, String)> = read(said[11])?;
        let markers = markers.into_iter();
        Ok(Sitting {
            id: row.get(0)?,
            size: row.get::<_, i64>(1)?.cast_unsigned(),
            modified: moment(row.get(2)?),
            begun: row.get(4)?,
            seconds: row.get(5)?,
            notes: row.get::<_, i64>(6)?.cast_unsigned(),
            name: row.get(7)?,
            cut_off: row.get(8)?,
            here: stays(9)?,
            home: stays(10)?,
            markers: markers
                .map(|(at, name)| (Time(at).seconds(), name))
                .collect(),
            tags: read(said[12])?,
            corrections: row.get::<_, i64>(13)?.cast_unsigned(),
        })
    }

    /// In half the time that all of it takes.
    pub fn heading(&self) -> Result<Heading, Trouble> {
        type Label<'l> = (IgnoredAny, IgnoredAny, IgnoredAny, IgnoredAny, Borrowed<'l>);
        let row = self.row;
        let begun: Option<String> = row.get(4)?;
        let here: Vec<Label> = read(self.said[9])?;
        Ok(Heading {
            id: row.get(0)?,
            date: date(begun.as_deref(), moment(row.get(2)?)),
            seconds: row.get(5)?,
            notes: row.get::<_, i64>(6)?.cast_unsigned(),
            name: row.get(7)?,
            tags: read(self.said[12])?,
            cut_off: row.get(8)?,
            corrections: row.get::<_, i64>(13)?.cast_unsigned(),
            way: way(here.iter().map(|stay| &*stay.4.0)),
        })
    }
}

fn crc<'v>(values: impl Iterator<Item = ValueRef<'v>>) -> u32 {
    let mut crc = crc32fast::Hasher::new();
    for value in values {
        match value {
            ValueRef::Null => crc.update(b"-"),
            ValueRef::Integer(number) => crc.update(&number.to_le_bytes()),
            ValueRef::Real(number) => crc.update(&number.to_bits().to_le_bytes()),
            ValueRef::Text(bytes) | ValueRef::Blob(bytes) => {
                crc.update(&(bytes.len() as u64).to_le_bytes());
                crc.update(bytes);
            }
        }
    }
    crc.finalize()
}

fn written(s: &Stay) -> (u64, u64, u8, &str, &str) {
    (ticks(s.start), ticks(s.end), s.center, &s.mode, &s.label)
}

fn stay((start, end, center, mode, label): (u64, u64, u8, String, String)) -> Stay {
    Stay {
        start: Time(start).seconds(),
        end: Time(end).seconds(),
        center,
        mode,
        label,
    }
}

/// Whole numbers are read back exactly.
fn ticks(seconds: f64) -> u64 {
    Time::from_seconds(seconds).0
}

fn json<T: serde::Serialize>(values: impl Iterator<Item = T>) -> Result<String, Trouble> {
    let values: Vec<T> = values.collect();
    serde_json::to_string(&values).map_err(Trouble::Json)
}

fn read<'v, T: serde::Deserialize<'v>>(value: ValueRef<'v>) -> Result<T, Trouble> {
    let text = value.as_str().map_err(|_| Trouble::Damaged)?;
    serde_json::from_str(text).map_err(|_| Trouble::Damaged)
}

/// Since 1970; what lies outside the years 1678 to 2261 counts as their end.
fn nanoseconds(at: Timestamp) -> i64 {
    let most = i128::from(i64::MAX);
    at.as_nanosecond().clamp(-most, most) as i64
}

fn moment(nanoseconds: i64) -> Timestamp {
    Timestamp::from_nanosecond(nanoseconds.into()).unwrap_or_default()
}

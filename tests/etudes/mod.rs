//! The demo études and the hands that play them.
//!
//! [`pieces`] hold the music in the small language of [`score`]; [`player`]
//! plays it the way a person might, from a fixed seed; [`writer`] makes the
//! bytes of the two files. Nothing here knows the peregrinus library: what the
//! program is later asked to hear was decided by the score alone.

pub mod pieces;
pub mod player;
pub mod score;
pub mod writer;

/// One étude as the two files that hold it.
pub struct Recording {
    pub name: &'static str,
    /// A Standard MIDI File, type 1.
    pub midi: Vec<u8>,
    /// The intended plan, TOML.
    pub plan: String,
}

/// Plays every étude. The same bytes every time.
pub fn record_all() -> Result<Vec<Recording>, String> {
    pieces::ALL
        .iter()
        .map(|piece| {
            let within = |e| format!("{}: {e}", piece.name);
            let score = score::read(piece).map_err(within)?;
            let played = player::play(piece, &score);
            Ok(Recording {
                name: piece.name,
                midi: writer::midi(piece, &played).map_err(within)?,
                plan: writer::plan(piece, &played),
            })
        })
        .collect()
}

//! One collection, several centers: G A B C D E F♯ and no other note. Every
//! strain opens with the same three notes, E D B; the bass beneath them and the
//! note on which the strain comes to rest say where home is.

use super::super::score::{Piece, QUARTER, Section, Tonality, Voice::*};

pub const PIECE: Piece = Piece {
    name: "02_seven_stones",
    title: "The Same Seven Stones",
    about: "Seven notes throughout; bass and phrase ends alone move the center from A to D, C, E and back to A.",
    seed: 2018,
    bar: 3 * QUARTER,
    tempo: 88.0,
    home: Tonality("A", "dorian"),
    sections: &[
        Section {
            here: Tonality("A", "dorian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@60 *0.92 rh. | *1.0 @66 E5q> D5e B4q. | C5q B4e A4q.'
                     | E5q D5e @74 F#5q.> | G5q F#5e D5q E5e | @68 D5q C5e B4e A4e G4e
                     | @62 A4h.\" |",
                ),
                (
                    Ground,
                    "A2e> E3 B3 C4 B3 E3 | A2> E3 B3 C4 B3 E3 | D2> A2 D3 F#3 D3 A2
                     | A2> E3 A3 C4 A3 E3 | G2> D3 G3 B3 G3 D3 | E2> B2 E3 G3 E3 B2
                     | A2> E3 B3 C4 A3 E3 |",
                ),
                (Pedal, "Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. |"),
            ],
        },
        Section {
            here: Tonality("D", "mixolydian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@70 E5q> D5e B4q. | C5q B4e A4q.' | D5e E5e F#5e A5q.>
                     | @78 G5q E5e C5q.> | B4e C5e D5e E5q C5e | @66 D5h.\" |",
                ),
                (
                    Ground,
                    "D2e> A2 E3 F#3 E3 A2 | D2> G2 C3 E3 C3 G2 | D2> A2 D3 F#3 D3 A2
                     | C2> G2 C3 E3 C3 G2 | A2> E3 G3 C4 G3 E3 | D2> A2 D3 F#3 E3 A2 |",
                ),
                (Pedal, "Ph. | Ph. | Ph. | Ph. | Ph. | Ph. |"),
            ],
        },
        Section {
            here: Tonality("C", "lydian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@74 E5q> D5e B4q. | F#5q> E5e D5q.' | @82 E5q G5e B5q.>
                     | @88 A5q> G5e F#5e E5e F#5e | @80 D5q F#5e E5q D5e | @70 C5h.\" |",
                ),
                (
                    Second,
                    "G4q. G4q. | A4h. | C5q. E5q. | D5q. A4q. | B4h. | F#4q. G4q. |",
                ),
                (
                    Ground,
                    "C2e> G2 D3 E3 D3 G2 | C2> A2 D3 F#3 D3 A2 | C2> G2 B2 E3 B2 G2
                     | C2> A2 D3 F#3 D3 A2 | B1> F#2 B2 D3 B2 F#2 | C2> G2 C3 E3 D3 G2 |",
                ),
                (Pedal, "Ph. | Ph. | Ph. | Ph. | Ph. | Ph. |"),
            ],
        },
        Section {
            here: Tonality("E", "aeolian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@62 E5q> D5e B4q. | C5q> B4e A4q.' | @60 G4q A4e B4q ,C5 D5e
                     | @68 C5e> E5e D5e C5q A4e | @62 B4q A4e F#4q D4e | @58 E4h.\" |",
                ),
                (
                    Ground,
                    "E2e> B2 F#3 G3 F#3 B2 | E2> C3 E3 A3 E3 C3 | E2q> B2e G3q F#3e | A2q> E3e C4q G3e
                     | B1q> F#2e D3q B2e | E2e> B2 E3 G3 F#3 B2 |",
                ),
                (Pedal, "Ph. | Ph. | Ph. | Ph. | Ph. | Ph. |"),
            ],
        },
        Section {
            here: Tonality("A", "dorian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@70 E5q> D5e B4q. | C5q B4e A4q.' | E5q D5e @82 F#5q.>
                     | G5q A5e @88 B5q> G5e | A5e G5e F#5e E5q D5e | @74 E5q C5e B4q G4e
                     | @66 A4h.' | @60 E6q D6e B5q. | *0.94 C6q B5e A5q. *0.82
                     | *0.7 @58 C5+E5+A5h.% |",
                ),
                (
                    Second,
                    "C5q B4e G4q. | A4q G4e F#4q. | C5q B4e D5q. | B4q. D5q. | rh. | rh.
                     | rh. | rh. | rh. | rh. |",
                ),
                (
                    Ground,
                    "A2e> E3 B3 C4 B3 E3 | D2> A2 D3 F#3 D3 A2 | A2> E3 A3 C4 A3 E3
                     | G2> D3 G3 B3 G3 D3 | D2> A2 D3 F#3 D3 A2 | E2> B2 E3 G3 E3 B2
                     | A2> E3 B3 C4 B3 E3 | A2> E3 A3 C4 A3 E3 | D2> A2 D3 F#3 D3 A2
                     | A1+E2h.% |",
                ),
                (
                    Pedal,
                    "Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. |",
                ),
            ],
        },
    ],
};

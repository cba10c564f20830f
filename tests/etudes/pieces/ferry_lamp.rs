//! Home, away by a third, home. Inside the first strain the second degree, G
//! minor, is approached by its own dominant and left again: that does not
//! replace home. The middle strain takes the F of home as its own third.

use super::super::score::{Piece, QUARTER, Section, Tonality, Voice::*};

pub const PIECE: Piece = Piece {
    name: "05_ferry_lamp",
    title: "The Lamp at the Ferry",
    about: "A waltz in F that touches G minor in passing, crosses to D♭ and comes home.",
    seed: 5045,
    bar: 3 * QUARTER,
    tempo: 108.0,
    home: Tonality("F", "ionian"),
    sections: &[
        Section {
            here: Tonality("F", "ionian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@70 *0.94 C5q.> D5e *1.0 C5q | A4h F4q' | D5q.> E5e D5q | Bb4h G4q'
                     | @74 C5q. F5e> E5q |",
                ),
                (
                    Ground,
                    "F2q> A3+C4< A3+C4< | A2> F3+C4< F3+C4< | Bb2> F3+Bb3< F3+Bb3<
                     | C3> G3+Bb3< E3+Bb3< | F2> A3+C4< A3+C4< |",
                ),
                (Pedal, "Ph. | Ph. | Ph. | Ph. | Ph. |"),
            ],
        },
        Section {
            here: Tonality("F", "ionian"),
            passing: Some(Tonality("G", "minor")),
            lines: &[
                (Song, "@80 Eb5q> D5q C5q | D5h Bb4q' | @74 A4q. C5e Bb4q |"),
                (
                    Ground,
                    "F#2q> A3+C4< A3+D4< | G2> Bb3+D4< Bb3+D4< | D2> F#3+C4< G2 |",
                ),
                (Pedal, "Ph. | Ph. | Ph Pq |"),
            ],
        },
        Section {
            here: Tonality("F", "ionian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@76 G4q. A4e Bb4q | @80 D5q> C5q Bb4q | @70 A4q. G4e F4q | @62 F4h rq\" |",
                ),
                (
                    Ground,
                    "C3q> E3+Bb3< E3+Bb3< | C2> E3+Bb3< E3+Bb3< | F2> A3+C4< F3+C4<
                     | F2> C3 F3 |",
                ),
                (Pedal, "Ph. | Ph. | Ph. | Ph. |"),
            ],
        },
        Section {
            here: Tonality("Db", "ionian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@66 F5q.> Gb5e F5q | Db5h Ab4q' | @72 Gb5q.> Ab5e Gb5q | Eb5h C5q'
                     | @76 Db5q. Eb5e F5q | @82 Gb5h> Eb5q | C5q. Db5e Eb5q | @70 Db5h.'
                     | @62 *0.95 F5h Ab4q |",
                ),
                (
                    Ground,
                    "Db2e> Ab2 F3 Ab3 F3 Ab2 | Db2> Ab2 F3 Ab3 F3 Ab2
                     | Gb2> Db3 Bb3 Db4 Bb3 Db3 | Ab2> Eb3 Gb3 C4 Gb3 Eb3
                     | Bb2> F3 Bb3 Db4 Bb3 F3 | Eb2> Bb2 Gb3 Bb3 Gb3 Bb2
                     | Ab2> Eb3 Gb3 C4 Gb3 Eb3 | Db2> Ab2 F3 Ab3 F3 Ab2
                     | Db2> Ab2 F3 Ab3 F3 Ab2 |",
                ),
                (
                    Pedal,
                    "Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. |",
                ),
            ],
        },
        Section {
            here: Tonality("F", "ionian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "*0.88 E4q G4q Bb4q' | *1.0 @72 C5q.> D5e C5q | A4h F4q'
                     | D5q.> E5e D5q | Bb4h G4q' | @82 C5q. F5e @90 A5q> | G5h F5q
                     | @80 F5h> Db5q' | @72 C5q. D5e C5q | Bb4q. A4e G4q | @64 F4h.'
                     | @60 C6q. D6e C6q | *0.9 A5h F5q *0.8 | *0.65 @58 A4+C5+F5h.% |",
                ),
                (
                    Second,
                    "rh. | A4q. Bb4e A4q | F4h rq | Bb4q. C5e Bb4q | G4h E4q | rh. | rh.
                     | rh. | A4q. Bb4e A4q | rh. | rh. | rh. | rh. | rh. |",
                ),
                (
                    Ground,
                    "C2e> G2 E3 Bb3 E3 G2 | F2> C3 F3 A3 F3 C3 | A2> F3 A3 C4 A3 F3
                     | Bb1> F2 D3 F3 D3 F2 | C2> G2 E3 Bb3 E3 G2 | F2q> A3+C4< A3+Eb4<
                     | Bb2> F3+D4< F3+D4< | Bb2> F3+Db4< F3+Db4< | C3> F3+A3< F3+A3<
                     | C2> E3+Bb3< E3+Bb3< | F2> C3 A3 | F2> A3+C4< A3+C4<
                     | F2> A3+C4< rq | F2+C3h.% |",
                ),
                (
                    Pedal,
                    "Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph. | Ph.
                     | Ph. | Ph. |",
                ),
            ],
        },
    ],
};

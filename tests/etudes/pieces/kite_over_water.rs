//! A drone with a wandering melody. The drone is G and D, slow in five; from one
//! mode to the next only one or two notes change: B to B♭, then A and E a
//! semitone down, then B up again, then A and E.

use super::super::score::{Piece, QUARTER, Section, Tonality, Voice::*};

pub const PIECE: Piece = Piece {
    name: "04_kite_over_water",
    title: "A Kite over Still Water",
    about: "A drone on G and D that never moves; the melody above it wanders through Mixolydian, Dorian, Phrygian and Phrygian dominant and drifts back.",
    seed: 4036,
    bar: 5 * QUARTER,
    tempo: 78.0,
    home: Tonality("G", "mixolydian"),
    sections: &[
        Section {
            here: Tonality("G", "mixolydian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@64 rw~q | @70 D5h.> ,F5 E5e D5e B4q | C5q. B4e A4e G4e A4q B4q'
                     | @76 D5q F5h> E5e D5e B4q | @68 C5e A4e ,C5 B4e A4e G4h.\" |",
                ),
                (Ground, "G2w~q | G2 | G2 | G2 | G2 |"),
                (
                    Tenor,
                    "rh D3q G3q D3q | rh D3q G3q D3q | rh D3q G3q D3q | rh D3q G3q D3q
                     | rh D3q G3e D3e G3q |",
                ),
                (Pedal, "Ph Ph. | Ph Ph. | Ph Ph. | Ph Ph. | Ph Ph. |"),
            ],
        },
        Section {
            here: Tonality("G", "dorian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@70 D5h.> F5e D5e Bb4q | C5q. Bb4e A4e G4e A4e Bb4e C5e D5e
                     | @80 E5h> ,F5 E5e D5e Bb4e A4e G4q\" |",
                ),
                (Ground, "G2w~q | G2 | G2 |"),
                (
                    Tenor,
                    "rh D3q G3q D3q | rh D3q G3q D3q | rh D3q G3e D3e G3q |",
                ),
                (Pedal, "Ph Ph. | Ph Ph. | Ph Ph. |"),
            ],
        },
        Section {
            here: Tonality("G", "phrygian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@66 D5q ,F5 Eb5h> D5q Bb4q | C5q. Bb4e Ab4h> G4q'
                     | @62 Ab4e Bb4e C5q Bb4e Ab4e F4e> G4q.\" |",
                ),
                (Ground, "G2w~q | G2 | G2 |"),
                (Tenor, "rh D3q G3q D3q | rh D3q G3q D3q | rh D3q G3q D3q |"),
                (Pedal, "Ph Ph. | Ph Ph. | Ph Ph. |"),
            ],
        },
        Section {
            here: Tonality("G", "phrygian_dominant"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@74 B4h.> C5e B4e Ab4q | @80 B4e C5e D5e Eb5e F5q @90 G5h>
                     | @86 F5e Eb5e D5e C5e B4q Ab4q> @70 G4q\" |",
                ),
                (Ground, "G2w~q | G2 | G2 |"),
                (
                    Tenor,
                    "rh D3q G3q D3q | rh D3e G3e D3e G3e D3q
                     | rh D3e G3e D3e G3e D3q |",
                ),
                (Pedal, "Ph Pq Ph | Pq Pq Pq Ph | Pq Pq Pq Ph |"),
            ],
        },
        Section {
            here: Tonality("G", "mixolydian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@68 D5h.> ,F5 E5e D5e B4q | C5q. B4e A4e G4e F4q> A4q'
                     | @60 B5q D6h> ,F6 E6e D6e B5q' | *0.92 @58 C5e A4e B4e A4e *0.8 G4h.
                     | *0.7 D4+G4+B4w~q% |",
                ),
                (Ground, "G2w~q | G2 | G2 | G2 | G1+D2w~q% |"),
                (
                    Tenor,
                    "rh D3q G3q D3q | rh D3q G3q D3q | rh D3q G3q D3q | rh D3q G3h | rw~q |",
                ),
                (Pedal, "Ph Ph. | Ph Ph. | Ph Ph. | Ph Ph. | Pw~q |"),
            ],
        },
    ],
};

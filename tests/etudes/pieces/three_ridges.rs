//! A cycle of centers by major thirds, all Lydian. The motif climbs a sixth and
//! leans on the raised fourth; each strain comes to rest on the note that is the
//! next center.

use super::super::score::{Piece, QUARTER, Section, Tonality, Voice::*};

pub const PIECE: Piece = Piece {
    name: "03_three_ridges",
    title: "Three Ridges",
    about: "Lydian on E♭, G, B and E♭ again: each strain rests on the third that becomes the next center.",
    seed: 3027,
    bar: 4 * QUARTER,
    tempo: 70.0,
    home: Tonality("Eb", "lydian"),
    sections: &[
        Section {
            here: Tonality("Eb", "lydian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@70 *0.94 Bb4q *1.0 G5h> A5q | Bb5h~e A5e G5e F5e'
                     | @76 G5q. F5e D5h | @70 C5q. A4e> @64 G4h\" |",
                ),
                (Second, "rq Bb4h C5q | D5h~e C5e Bb4e A4e | rw | rh D4h |"),
                (
                    Ground,
                    "Eb2s> Bb2 F3 G3 Bb3 G3 F3 Bb2 Eb2> Bb2 F3 G3 A3 G3 F3 Bb2
                     | Eb2> Bb2 F3 G3 Bb3 G3 F3 Bb2 Eb2> C3 F3 A3 C4 A3 F3 C3
                     | C2> G2 D3 Eb3 G3 Eb3 D3 G2 Bb1> F2 D3 F3 A3 F3 D3 F2
                     | Eb2> C3 F3 A3 C4 A3 F3 C3 Eb2> Bb2 F3 G3 Bb3 G3 F3 Bb2 |",
                ),
                (Pedal, "Ph Ph | Ph Ph | Ph Ph | Ph Ph |"),
            ],
        },
        Section {
            here: Tonality("G", "lydian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@76 D5q B5h> C#6q> | D6q. C#6e A5h' | @84 F#5q D6h> C#6q
                     | @80 B5e A5e E5e C#5e> @66 B4h\" |",
                ),
                (Second, "rq G5h A5q | B5q. A5e E5h | rq F#5h E5q | rw |"),
                (
                    Ground,
                    "G2s> D3 A3 B3 D4 B3 A3 D3 G2> D3 A3 B3 C#4 B3 A3 D3
                     | G2> D3 A3 B3 D4 B3 A3 D3 G2> E3 A3 C#4 E4 C#4 A3 E3
                     | D2> A2 E3 F#3 A3 F#3 E3 A2 E2> B2 F#3 G3 B3 G3 F#3 B2
                     | G2> E3 A3 C#4 A3 E3 C#4 E3 G2> D3 A3 B3 A3 D3 F#3 D3 |",
                ),
                (Pedal, "Ph Ph | Ph Ph | Ph Ph | Ph Ph |"),
            ],
        },
        Section {
            here: Tonality("B", "lydian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@64 *0.94 F#4q D#5h> E#5q> | F#5h~e E#5e D#5e C#5e'
                     | @70 D#5q F#4h G#4q | @64 G#4q. E#4e> @60 *0.94 D#4h\" |",
                ),
                (Second, "rw | A#4h~e G#4e F#4e E#4e | rw | rh A#3h |"),
                (
                    Ground,
                    "B1e> F#2 C#3 D#3 F#3> D#3 E#3 C#3
                     | B1> F#2 C#3 D#3 B1> G#2 C#3 E#3
                     | G#1> D#2 A#2 B2 F#1> C#2 A#2 C#3
                     | B1> G#2 C#3 E#3 B1> F#2 C#3 D#3 |",
                ),
                (Pedal, "Ph Ph | Ph Ph | Ph Ph | Ph Ph |"),
            ],
        },
        Section {
            here: Tonality("Eb", "lydian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@82 *1.02 Bb3+Bb4q G4+G5h> A4+A5q> | @90 Bb4+Bb5h~e A4+A5e G4+G5e F4+F5e'
                     | G5q. F5e D5h | @74 C5q. A4e> @66 G4h'
                     | @60 *0.95 Bb4q G5h *0.85 A5q> | *0.7 @58 G4+D5+Bb5w% |",
                ),
                (
                    Second,
                    "rw | rw | Bb4q. A4e F4h | rh D4h | rq Bb4h C5q | rw |",
                ),
                (
                    Ground,
                    "Eb2s> Bb2 Eb3 F3 G3 F3 Eb3 Bb2 Eb2> Bb2 Eb3 F3 G3 F3 Eb3 Bb2
                     | Eb2> Bb2 F3 G3 Bb3 G3 F3 Bb2 Eb2> C3 F3 A3 C4 A3 F3 C3
                     | C2> G2 D3 Eb3 G3 Eb3 D3 G2 Bb1> F2 D3 F3 A3 F3 D3 F2
                     | Eb2> C3 F3 A3 C4 A3 F3 C3 Eb2> Bb2 F3 G3 Bb3 G3 F3 Bb2
                     | Eb2> Bb2 F3 G3 Bb3 G3 F3 Bb2 Eb2e> C3 F3 A3 | Eb2+Bb2w% |",
                ),
                (Pedal, "Ph Ph | Ph Ph | Ph Ph | Ph Ph | Ph Ph | Pw |"),
            ],
        },
    ],
};

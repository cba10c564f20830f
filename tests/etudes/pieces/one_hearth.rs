//! One center, several modes. The motif runs through the degrees 5 6 7 5, 4 3 2,
//! so that each new mode shows in it; the last bar of most strains is one
//! cadence, recast.

use super::super::score::{Piece, QUARTER, Section, Tonality, Voice::*};

pub const PIECE: Piece = Piece {
    name: "01_one_hearth",
    title: "One Hearth, Many Evenings",
    about: "The center D stays while the mode changes over it, from Dorian up to Lydian, down to Phrygian, and home.",
    seed: 1009,
    bar: 4 * QUARTER,
    tempo: 90.0,
    home: Tonality("D", "dorian"),
    sections: &[
        Section {
            here: Tonality("D", "dorian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@58 *0.9 rw | *1.0 @66 A4q.> B4e C5q A4q | G4q. F4e E4h'
                     | F4q. G4e @72 B4q> A4q | @66 G4q E4e D4e~h\" |",
                ),
                (
                    Ground,
                    "D2e> A2 D3 F3> D3 A2 E3> A2 | D2> A2 D3 F3> D3 A2 E3> A2
                     | G2> D3 G3 B3> G3 D3 A2> E3 | D2> A2 D3 F3> D3 A2 G2> D3
                     | C3> G3 E3 D2> A2 D3 F3> A2 |",
                ),
                (Pedal, "Pw | Pw | Ph. Pq | Ph. Pq | Pq. Ph~e |"),
            ],
        },
        Section {
            here: Tonality("D", "mixolydian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@70 A4q.> B4e C5q A4q | G4q. F#4e E4h'
                     | F#4q. G4e A4e B4e D5q | @80 E5q> ,D5 C5e D5e~h\" |",
                ),
                (
                    Second,
                    "F#4q. G4e E4q F#4q | E4q. D4e B3h | D4q. E4e F#4h | G4q G4e F#4e~h |",
                ),
                (
                    Ground,
                    "D2e> A2 D3 F#3> D3 A2 E3> A2 | C3> G3 E3 G3> E3 C3 G2> D3
                     | D2> A2 D3 F#3> D3 A2 B2> F#3 | C3> G3 E3 D2> A2 D3 F#3> A2 |",
                ),
                (Pedal, "Pw | Ph. Pq | Ph. Pq | Pq. Ph~e |"),
            ],
        },
        Section {
            here: Tonality("D", "lydian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@84 A5q.> G#5e F#5q E5q | F#5q. E5e C#5h'
                     | @82 D5q. E5e F#5q @92 G#5q> | A5q> G#5e @84 A5e~h\" @60 |",
                ),
                (
                    Second,
                    "D5h. C#5q | B4q. B4e G#4h | A4q. A4e D5q E5q | C#5q B4e C#5e~h |",
                ),
                (
                    Ground,
                    "D2e> A2 D3 F#3> A3 F#3 D3> A2 | D2> B2 E3 G#3> E3 B2 E3> G#3
                     | D2> A2 D3 F#3> A3 D3 E3> B2 | D2> B2 E3 D2> A2 F#3 A3> E3 |",
                ),
                (Pedal, "Pw | Pw | Ph. Pq | Pq. Ph~e |"),
            ],
        },
        Section {
            here: Tonality("D", "aeolian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@62 A4q Bb4q.> C5e A4q | G4q F4e E4e~h'
                     | @70 D5q. C5e Bb4q> A4q | @62 G4q E4e D4e~h\" |",
                ),
                (Second, "rw | rh C4h | F4h. E4q | rw |"),
                (
                    Ground,
                    "D2e> A2 D3 F3> D3 A2 Bb2> F3 | G2> D3 G3 Bb3> G3 D3 A2> E3
                     | Bb2> D3 F3 A3> F3 D3 C3> G3 | C3> G3 E3 D2> A2 D3 F3> A2 |",
                ),
                (Pedal, "Ph. Pq | Ph. Pq | Ph. Pq | Pq. Ph~e |"),
            ],
        },
        Section {
            here: Tonality("D", "phrygian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@76 Eb5q.> D5e C5q Bb4q | G4q Bb4e @66 A4e~h'
                     | @62 A3+A4q. Bb3+Bb4e C4+C5q A3+A4q | G3+G4q. F3+F4e Eb3+Eb4h>
                     | @58 D4h. rq\" |",
                ),
                (
                    Ground,
                    "D2e> Bb2 Eb3 F3> D3 A2 G2> D3 | C3> G3 Eb3 D2> A2 D3 F3> A2
                     | D2q.> Bb2q. F2q | C2q.> G2q. Bb1q | D2e> A2 D3 F3> D3 A2 D2q |",
                ),
                (Pedal, "Pq. Pq. Pq | Pq. Ph~e | Ph. Pq | Ph. Pq | Ph. Pq |"),
            ],
        },
        Section {
            here: Tonality("D", "dorian"),
            passing: None,
            lines: &[
                (
                    Song,
                    "@70 A4q.> B4e C5q A4q | G4q. F4e E4h'
                     | F4q. G4e @78 B4e.> C5s A4q | G4e F4e E4e D4e~h'
                     | @62 A4q. B4e A4h *0.9 | *0.68 @58 F4+B4+D5w% |",
                ),
                (
                    Second,
                    "F4q. G4e A4q F4q | E4q. D4e C4h | D4q. E4e G4q F4q | D4q C4e A3e~h
                     | rw | rw |",
                ),
                (
                    Ground,
                    "D2e> A2 D3 F3> D3 A2 E3> A2 | G2> D3 G3 B3> G3 D3 A2> E3
                     | D2> A2 D3 F3> D3 A2 G2> D3 | C3> G3 E3 D2> A2 D3 F3> A2
                     | D2> A2 D3 F3 E3q D3q | D2+A2w% |",
                ),
                (Pedal, "Pw | Ph. Pq | Ph. Pq | Pq. Ph~e | Pw | Pw |"),
            ],
        },
    ],
};

"""Reads lines `key<TAB>numeral<TAB>pitch classes, by comma<TAB>bass`, writes them as
documents in RomanText and has music21 read them: each chord must have exactly those notes
over that bass. A key is a note name, minor ones small."""

import sys
import warnings

warnings.simplefilter("ignore")

from music21 import converter, roman


# Measures in a document: its reading takes longer than in proportion.
AT_ONCE = 60


def read(rows: list) -> dict:
    """The chords of one document, by row."""
    document = "".join(f"m{i} {row[0]}: {row[1]}\n" for i, row in enumerate(rows))
    score = converter.parse(document, format="romanText")
    return {n.measureNumber: n for n in score.recurse().getElementsByClass(roman.RomanNumeral)}


def main() -> int:
    rows = [line.rstrip("\n").split("\t") for line in sys.stdin]
    chords = []
    for start in range(0, len(rows), AT_ONCE):
        part = rows[start : start + AT_ONCE]
        found = read(part)
        chords.extend(found.get(i) for i in range(len(part)))
    faults = []
    for chord, (key, numeral, pcs, bass) in zip(chords, rows):
        want = {int(p) for p in pcs.split(",")}
        if chord is None:
            faults.append(f"{key}: {numeral}: not read")
            continue
        notes = {p.pitchClass for p in chord.pitches}
        if notes != want or chord.bass().pitchClass != int(bass):
            faults.append(
                f"{key}: {numeral}: {sorted(notes)} over {chord.bass().pitchClass}, "
                f"expected {sorted(want)} over {bass}"
            )
    if faults:
        print("\n".join(faults), file=sys.stderr)
        return 1
    print(f"{len(rows)} chords")
    return 0


sys.exit(main())

"""Reads one JSON object from standard input: `document`, in RomanText, and `chords`, each
with its `start` in seconds, `pcs`, `bass` and `label`. Has music21 read the document: at
each start must be a chord with exactly those notes over that bass, or no chord and a Note
there, or a Note that another is too near. Prints how many were said, and the labels of those that were not."""

import json
import sys
import warnings

warnings.simplefilter("ignore")

from music21 import converter, note, roman

# A beat is a second; the reader takes decimals near a third or a sixth for that, and
# chords are written in hundredths, apart from each other.
NEAR = 0.06


def main() -> int:
    given = json.load(sys.stdin)
    document, chords = given["document"], given["chords"]
    score = converter.parse(document, format="romanText")
    part = score.parts[0]
    read, rests = [], []
    for n in part.recurse().getElementsByClass((roman.RomanNumeral, note.Rest)):
        held = n.tie is not None and n.tie.type in ("stop", "continue")
        if held:
            continue
        at = float(n.getOffsetInHierarchy(part))
        (rests if isinstance(n, note.Rest) else read).append((at, n))
    notes = [line for line in document.splitlines() if line.startswith("Note: m")]
    faults, unsaid, taken = [], [], set()
    for c in chords:
        here = [i for i, (at, _) in enumerate(read) if abs(at - c["start"]) <= NEAR]
        here = [i for i in here if i not in taken]
        if here:
            i = min(here, key=lambda i: abs(read[i][0] - c["start"]))
            taken.add(i)
            rn = read[i][1]
            pcs, bass = {p.pitchClass for p in rn.pitches}, rn.bass().pitchClass
            if pcs != set(c["pcs"]) or bass != c["bass"]:
                faults.append(f"{c}: {rn.figure} in {rn.key} is {sorted(pcs)} over {bass}")
            continue
        silent = any(abs(at - c["start"]) <= NEAR for at, _ in rests)
        measure, beat = int(c["start"] // 4) + 1, c["start"] % 4 + 1
        def there(line):
            m, b = line.split()[1:3]
            return abs((int(m[1:]) - measure) * 4 + float(b[1:]) - beat) <= NEAR
        told = [n for n in notes if there(n)]
        near = any(n.rstrip().endswith("too near another") for n in told)
        told = any(n.rstrip().endswith(
            ("no chord", "no center", "without a figure", "without a numeral")) for n in told)
        if not near and not (silent and told):
            faults.append(f"{c}: neither a chord nor told in a note")
        unsaid.append(c["label"])
    if len(taken) != len(read):
        faults.append(f"{len(read)} chords were read, {len(taken)} of them are ours")
    if faults:
        print("\n".join(faults), file=sys.stderr)
        return 1
    print(json.dumps({"said": len(taken), "unsaid": unsaid}))
    return 0


sys.exit(main())

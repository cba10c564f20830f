"""Reads lines `tonic<TAB>mode<TAB>notes, by space<TAB>sharps` and compares with music21's
key on that tonic: the same notes in order, and the same signature (flats negative). In the
place of a mode a class of music21.scale may stand, with its argument, and then pitch classes
in the place of the notes, and no sharps."""

import sys
import warnings

warnings.simplefilter("ignore")

from music21 import key, scale


def main() -> int:
    count = 0
    for line in sys.stdin:
        tonic, mode, notes, sharps = line.rstrip("\n").split("\t")
        name, *options = mode.split(" ")
        if name.endswith("Scale"):
            theirs = getattr(scale, name)(tonic.replace("b", "-"), *options)
            # Without the octave at the end.
            classes = " ".join(str(p.pitchClass) for p in theirs.getPitches()[:-1])
            if classes != notes or sharps:
                print(f"{tonic} {mode}: {classes}; expected {notes}", file=sys.stderr)
                return 1
            count += 1
            continue
        theirs = key.Key(tonic.replace("b", "-"), mode)
        names = " ".join(p.name.replace("-", "b") for p in theirs.pitches[:7])
        if names != notes or theirs.sharps != int(sharps):
            print(
                f"{tonic} {mode}: {names}, {theirs.sharps} sharps; "
                f"expected {notes}, {sharps}",
                file=sys.stderr,
            )
            return 1
        count += 1
    print(f"{count} scales")
    return 0


sys.exit(main())

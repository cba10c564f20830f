"""Reads lines `tonic<TAB>mode<TAB>notes, by space<TAB>sharps` and compares with music21's
key on that tonic: the same notes in order, and the same signature (flats negative)."""

import sys
import warnings

warnings.simplefilter("ignore")

from music21 import key


def main() -> int:
    count = 0
    for line in sys.stdin:
        tonic, mode, notes, sharps = line.rstrip("\n").split("\t")
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

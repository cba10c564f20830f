"""Reads kept sittings: lines on stdin, `STRUCK PATH`. mido must find so many keys struck in
each; says how many files it has read."""

import sys

import mido


def struck(path):
    tracks = mido.MidiFile(path).tracks
    return sum(m.type == "note_on" and m.velocity > 0 for track in tracks for m in track)


def main() -> int:
    count = 0
    for line in sys.stdin:
        wanted, path = line.rstrip("\n").split(" ", 1)
        found = struck(path)
        if found != int(wanted):
            print(f"{path}: {found} keys struck, not {wanted}", file=sys.stderr)
            return 1
        count += 1
    print(count)
    return 0


sys.exit(main())

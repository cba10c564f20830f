"""Reads a list of Standard MIDI Files that we wrote. Lines on stdin: `file PATH`,
then what our reader finds in it, `TICKS KIND CHANNEL A B` with times in ticks of
20 microseconds. mido must find the same."""

import sys

import mido

TICKS_PER_SECOND = 50_000


def found_by_mido(path):
    midi = mido.MidiFile(path)
    out = []
    # Ticks are exact: the tempo is 120 throughout, 25,000 ticks a quarter.
    assert midi.ticks_per_beat == 25_000, midi.ticks_per_beat
    for track in midi.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "set_tempo":
                assert (now, message.tempo) == (0, 500_000), message
            if message.type == "note_on" and message.velocity > 0:
                out.append((now, "on", message.channel, message.note, message.velocity))
            elif message.type in ("note_on", "note_off"):
                out.append((now, "off", message.channel, message.note, 0))
            elif message.type == "control_change":
                out.append((now, "control", message.channel, message.control, message.value))
    return out


def main() -> int:
    files = {}
    path = None
    for line in sys.stdin:
        words = line.rstrip("\n").split(" ")
        if words[0] == "file":
            path = line.rstrip("\n")[len("file ") :]
            files[path] = []
        else:
            ticks, kind, channel, a, b = words
            files[path].append((int(ticks), kind, int(channel), int(a), int(b)))
    count = 0
    for path, ours in files.items():
        theirs = found_by_mido(path)
        for i, (a, b) in enumerate(zip(ours, theirs)):
            if a != b:
                print(f"{path}: event {i}: ours {a}, mido {b}", file=sys.stderr)
                return 1
        if len(ours) != len(theirs):
            print(f"{path}: ours {len(ours)} events, mido {len(theirs)}", file=sys.stderr)
            return 1
        count += len(ours)
    print(f"{len(files)} files, {count} events")
    return 0


sys.exit(main())

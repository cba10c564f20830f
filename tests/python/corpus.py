"""Turns labelled tunes of the music21 corpus into MIDI files and labels.json.

    python corpus.py FOLDER [--each 15]

Needs music21 (its corpus comes with the package) and mido. Nothing of the corpus is
part of the project: FOLDER belongs under target/.

The rule, the same on every machine with the same music21: Ryan's Mammoth Collection,
O'Neill's 1850 and Aird's Airs, in this order, then by file and by place in the file;
of the tunes with one ABC key field, without a comment, those of each mode are cut into
`--each` equal runs. Of each run the first tune is taken that ends on the field's tonic
and has the degree that tells its mode (else the field would be a guess). The labels
are the editors' key fields, where "m" is the Aeolian key signature. The collection of
Essen songs is left out: its key fields name hardly any mode but major.

How the tunes are read: folk_tunes.py.
"""

import argparse
import json
import sys
import time
from pathlib import Path

from folk_tunes import QUARTER, Fault, corpus_folder, read, tunes

COLLECTIONS = ["ryansMammoth", "oneills1850", "airdsAirs"]
# The degree, in semitones, that the next brighter or darker of our modes has otherwise.
TELLING = {"ionian": 11, "mixolydian": 10, "dorian": 9, "aeolian": 8}


def choose(corpus, each):
    """The tunes by the rule above, and what had to be passed over."""
    by_mode = {mode: [] for mode in TELLING}
    for mode, tonic, fifths, collection, file, number, text in tunes(corpus, COLLECTIONS):
        if mode in by_mode:
            by_mode[mode].append((tonic, fifths, f"{collection}-{file.stem}-{number}", text))
    chosen, passed = [], {"unread": 0, "another last note": 0, "gapped": 0}
    for mode, all_of_mode in by_mode.items():
        if len(all_of_mode) < each:
            raise Fault(f"the corpus has {len(all_of_mode)} {mode} tunes, {each} are wanted. Ask for fewer with --each.")
        step = len(all_of_mode) // each
        for place in range(each):
            for tonic, fifths, name, text in all_of_mode[place * step : (place + 1) * step]:
                notes = read(text, fifths, mode)
                if notes is None:
                    passed["unread"] += 1
                    continue
                center = fifths * 7 % 12
                if notes[-1][2] % 12 != center:
                    passed["another last note"] += 1
                    continue
                if all((key - center) % 12 != TELLING[mode] for _, _, key in notes):
                    passed["gapped"] += 1
                    continue
                chosen.append((name, mode, center, notes))
                break
    return chosen, {mode: len(x) for mode, x in by_mode.items()}, passed


def write_midi(notes, path):
    """A file at 0.4 s a quarter, 480 ticks a quarter."""
    import mido

    events = []
    for start, end, key in notes:
        first, last = round(start * 480), round(end * 480)
        # A key that is struck again at once is let go a little before.
        events += [(first, 1, key), (max(first + 1, last - 12), 0, key)]
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=round(QUARTER * 1e6), time=0)])
    now = 0
    for tick, on, key in sorted(events):
        track.append(mido.Message("note_on" if on else "note_off", note=key, velocity=72 if on else 0, time=tick - now))
        now = tick
    midi = mido.MidiFile(ticks_per_beat=480)
    midi.tracks.append(track)
    midi.save(str(path))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", help="where the MIDI files and labels.json go, under target/")
    parser.add_argument("--each", type=int, default=15, help="how many tunes of each mode (15)")
    arguments = parser.parse_args()
    if arguments.each < 1:
        parser.error(f"--each {arguments.each}: at least one tune of each mode")
    began = time.monotonic()
    try:
        import mido  # noqa: F401
    except ImportError as fault:
        raise Fault(f"{fault.name} is not installed. Install it with  pip install {fault.name}") from fault
    folder = Path(arguments.folder)
    corpus, version = corpus_folder()
    chosen, of, passed = choose(corpus, arguments.each)
    labels = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, mode, center, notes in chosen:
            write_midi(notes, folder / f"{name}.mid")
            start, end = notes[0][0] * QUARTER, max(end for _, end, _ in notes) * QUARTER
            labels.append({
                "name": name,
                "source": f"music21 {version} corpus",
                "kind": "folk-tune",
                "segments": [{"start": round(start, 4), "end": round(end, 4), "center": center, "mode": mode}],
            })
        (folder / "labels.json").write_text(json.dumps(labels, indent=1), encoding="utf-8")
    except OSError as fault:
        raise Fault(f"cannot write to {folder}: {fault.strerror}. Name a folder that can be written.") from fault
    for mode, count in of.items():
        print(f"{mode}: {sum(1 for x in chosen if x[1] == mode)} of {count} tunes")
    print(
        f"passed over: {passed['unread']} that music21 reads otherwise, {passed['another last note']} that end"
        f" elsewhere, {passed['gapped']} without the degree that tells the mode"
    )
    print(f"{len(labels)} tunes in {folder}, {time.monotonic() - began:.1f} s")
    return 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except Fault as fault:
        print(fault, file=sys.stderr)
        sys.exit(1)

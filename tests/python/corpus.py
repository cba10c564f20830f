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

A quarter lasts 0.4 s; repeats are not played, grace notes are left out, a tie is one note.
"""

import argparse
import json
import re
import sys
import time
from pathlib import Path

COLLECTIONS = ["ryansMammoth", "oneills1850", "airdsAirs"]
MODES = {"dor": "dorian", "mix": "mixolydian", "m": "aeolian", "min": "aeolian", "aeo": "aeolian", "": "ionian", "maj": "ionian", "ion": "ionian"}
# Sharps of the signature against the major key on the same tonic.
DARKER = {"ionian": 0, "mixolydian": 1, "dorian": 2, "aeolian": 3}
# The degree, in semitones, that the next brighter or darker of our modes has otherwise.
TELLING = {"ionian": 11, "mixolydian": 10, "dorian": 9, "aeolian": 8}
ABC = {"ionian": "", "mixolydian": "mix", "dorian": "dor", "aeolian": "min"}
LETTERS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
QUARTER = 0.4


class Fault(Exception):
    """What is wrong with the corpus or the folder, for whoever runs this."""


def key_field(text):
    """Tonic, place in the circle of fifths (C = 0) and mode of `K:`, or None if it is no
    plain key in one of our four modes."""
    found = re.fullmatch(r"([A-G])([b#]?)\s*([A-Za-z]*)", text.strip())
    if not found:
        return None
    letter, sign, mode = found.groups()
    # "M" is major, "m" minor; else the first three letters count, in any case (ABC 2.1).
    mode = "maj" if mode == "M" else mode if mode == "m" else mode[:3].lower()
    if mode not in MODES:
        return None
    fifths = LETTERS[letter] + 7 * {"": 0, "#": 1, "b": -1}[sign]
    return letter + sign, fifths, MODES[mode]


def tunes(corpus):
    """Every tune with one plain key field: (mode, tonic, fifths, name, ABC text)."""
    for collection in COLLECTIONS:
        files = sorted((corpus / collection).glob("*.abc"))
        if not files:
            raise Fault(f"{corpus / collection}: no ABC files. Install music21 with its corpus.")
        for file in files:
            text = file.read_text(encoding="utf-8", errors="replace").replace("\r\n", "\n")
            for piece in re.split(r"(?m)^(?=X:)", text)[1:]:
                fields = re.findall(r"(?m)^K:(.*)$", piece)
                if len(fields) != 1 or "[K:" in piece:
                    continue
                key = key_field(fields[0])
                number = re.match(r"X:\s*(\d+)", piece)
                if key is None or number is None:
                    continue
                tonic, fifths, mode = key
                # One way of writing the key, so that every reader takes it alike.
                piece = re.sub(r"(?m)^K:.*$", f"K:{tonic}{ABC[mode]}", piece)
                yield mode, tonic, fifths, f"{collection}-{file.stem}-{number.group(1)}", piece


def read(text, fifths, mode):
    """(onset, end, key) in quarters by music21, or None where it cannot read the tune."""
    import music21

    try:
        score = music21.converter.parse(text, format="abc")
    except (music21.exceptions21.Music21Exception, ValueError, IndexError, AttributeError, TypeError):
        return None
    if not isinstance(score, music21.stream.Score) or len(score.parts) != 1:
        return None
    part = score.parts[0]
    signatures = {s.sharps for s in part.recurse().getElementsByClass(music21.key.KeySignature)}
    if signatures != {fifths - DARKER[mode]}:
        return None
    notes = []
    for element in part.flatten().stripTies().notes:
        if isinstance(element, music21.harmony.Harmony) or element.duration.isGrace:
            continue
        start, length = float(element.offset), float(element.quarterLength)
        if length > 0:
            notes.extend((start, start + length, pitch.midi) for pitch in element.pitches)
    return sorted(notes) or None


def choose(corpus, each):
    """The tunes by the rule above, and what had to be passed over."""
    by_mode = {mode: [] for mode in DARKER}
    for mode, *rest in tunes(corpus):
        by_mode[mode].append(rest)
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
        import music21
    except ImportError as fault:
        raise Fault(f"{fault.name} is not installed. Install it with  pip install {fault.name}") from fault
    folder = Path(arguments.folder)
    chosen, of, passed = choose(Path(music21.__file__).parent / "corpus", arguments.each)
    labels = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, mode, center, notes in chosen:
            write_midi(notes, folder / f"{name}.mid")
            start, end = notes[0][0] * QUARTER, max(end for _, end, _ in notes) * QUARTER
            labels.append({
                "name": name,
                "source": f"music21 {music21.__version__} corpus",
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

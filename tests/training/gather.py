"""Builds training files (JSON Lines, gzipped: the format stands at the head of corpus.py)
from public corpora.

    python gather.py --music21 OUT.jsonl.gz         folk tunes that come with music21
    python gather.py --dcml FOLDER OUT.jsonl.gz     repositories of the Distant Listening
                                                    Corpus Initiative, cloned into FOLDER

Folk tunes (needs music21): a tune gets one mode, that of its ABC key field. It is taken if
the field agrees with the notes: it ends on the tonic, has 28 notes or more, no more than 3 %
of its time lies outside the mode, and the degrees that tell the mode from the next brighter
and the next darker one have 1 % each (common practice, no source). The key fields of the
Essen songs name nothing but major: there the notes choose among the modes on the field's
tonic; 1,450 songs are drawn, so as not to outweigh the dances.

DCML (needs nothing): `notes/*.notes.tsv` and `harmonies/*.harmonies.tsv` as ms3 writes them
(Hentschel et al. 2021, "The Annotated Mozart Sonatas"; the columns' names are from memory).
Local keys become segments with center and major or minor; a chord gets root, bass and pitch
classes. A quarter lasts 0.6 s; ties are one note, grace notes and first endings are left out.
"""

import argparse
import csv
import gzip
import json
import random
import re
import sys
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "python"))
from folk_tunes import QUARTER, Fault, corpus_folder, read, tunes  # noqa: E402

# Folk tunes ----------------------------------------------------------------------------

ESSEN = "essenFolksong"
COLLECTIONS = ["airdsAirs", "ryansMammoth", ESSEN, "oneills1850", "miscFolk"]
SCALES = {
    "lydian": (0, 2, 4, 6, 7, 9, 11), "ionian": (0, 2, 4, 5, 7, 9, 11), "mixolydian": (0, 2, 4, 5, 7, 9, 10),
    "dorian": (0, 2, 3, 5, 7, 9, 10), "aeolian": (0, 2, 3, 5, 7, 8, 10), "phrygian": (0, 1, 3, 5, 7, 8, 10),
}
# The degrees, in semitones, that the next brighter and the next darker mode have otherwise.
TELLING = {
    "lydian": (6, 11), "ionian": (5, 11), "mixolydian": (4, 10), "dorian": (3, 9), "aeolian": (2, 8), "phrygian": (1, 7),
}
NOTES, OUTSIDE, TOLD = 28, 0.03, 0.01
ESSEN_SONGS = 1450


def agrees(notes, center, mode):
    """Whether the notes are those of the mode by the rule at the head."""
    time = [0.0] * 12
    for start, end, key in notes:
        time[(key - center) % 12] += end - start
    whole = sum(time)
    return (
        len(notes) >= NOTES
        and notes[-1][2] % 12 == center
        and whole - sum(time[d] for d in SCALES[mode]) <= OUTSIDE * whole
        and all(time[d] >= TOLD * whole for d in TELLING[mode])
    )


def folk(first):
    """Tunes by the rule, and how many there were: for each collection a list of pieces."""
    corpus, version = corpus_folder()
    print(f"the corpus of music21 {version}", flush=True)
    for collection in COLLECTIONS:
        every = list(tunes(corpus, [collection]))
        most = len(every)
        if collection == ESSEN:
            random.Random(1).shuffle(every)
            most = ESSEN_SONGS
        pieces = []
        for mode, _, fifths, _, file, number, text in every[:first]:
            if len(pieces) == most:
                break
            notes = read(text, fifths, mode)
            if notes is None:
                continue
            center = fifths * 7 % 12
            modes = SCALES if collection == ESSEN else [mode]
            mode = next((m for m in modes if agrees(notes, center, m)), None)
            if mode is None:
                continue
            title = re.search(r"(?m)^T:\s*(.*?)\s*$", text)
            begin = notes[0][0]
            end = max(e for _, e, _ in notes) - begin
            pieces.append({
                "name": f"music21 corpus {collection}/{file.name} X:{number}" + (f' "{title.group(1)}"' if title else ""),
                "kind": "folk-mode",
                "corpus": collection,
                "quarter": QUARTER,
                "notes": [[round(a - begin, 4), round(b - a, 4), k] for a, b, k in notes],
                "segments": [{"start": 0.0, "end": round(end * QUARTER, 4), "center": center, "mode": mode}],
            })
        pieces.sort(key=lambda p: p["name"])
        yield collection, pieces, len(every)


# DCML ----------------------------------------------------------------------------------

DCML_QUARTER = 0.6
NUMERALS = {"I": 0, "II": 1, "III": 2, "IV": 3, "V": 4, "VI": 5, "VII": 6}
MAJOR, MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10)
LETTERS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}


def rows(path, wanted):
    """The rows of a table, each with its line number. Raises Fault."""
    try:
        with open(path, encoding="utf-8", newline="") as f:
            table = csv.DictReader(f, delimiter="\t")
            missing = [c for c in wanted if c not in (table.fieldnames or ())]
            if missing:
                raise Fault(f"{path}: no column {', '.join(missing)}. It must be a table as ms3 writes it.")
            return [(i, row) for i, row in enumerate(table, 2)]
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise Fault(f"{path}: {fault}. It must be a table as ms3 writes it.") from fault


def number(text, where):
    try:
        return float(Fraction(text))
    except (ValueError, ZeroDivisionError, TypeError) as fault:
        raise Fault(f"{where}: {text!r} is no number.") from fault


def whole(text, where):
    x = number(text, where)
    if x != int(x):
        raise Fault(f"{where}: {text!r} is no whole number.")
    return int(x)


def global_key(text, where):
    found = re.fullmatch(r"([A-Ga-g])([#b]*)", text or "")
    if not found:
        raise Fault(f"{where}: {text!r} is no key such as  C  or  f#.")
    letter, signs = found.groups()
    return (LETTERS[letter.lower()] + signs.count("#") - signs.count("b")) % 12, letter.islower()


def local_key(text, tonic, minor, where):
    """A numeral within a key, "bVI" or "V/ii" (read from the right): center, minor."""
    for part in reversed((text or "").split("/")):
        found = re.fullmatch(r"([#b]*)([ivIV]+)", part)
        if not found or found.group(2).upper() not in NUMERALS or found.group(2) not in (found.group(2).upper(), found.group(2).lower()):
            raise Fault(f"{where}: {text!r} is no local key such as  V  or  bvi.")
        signs, numeral = found.groups()
        degree = (MINOR if minor else MAJOR)[NUMERALS[numeral.upper()]]
        tonic = (tonic + degree + signs.count("#") - signs.count("b")) % 12
        minor = numeral.islower()
    return tonic, minor


def dcml_notes(path):
    """Sorted [onset, length, key] in quarters."""
    notes, open_ = [], {}
    found = []
    for line, row in rows(path, ("quarterbeats", "duration", "midi", "tied", "gracenote")):
        where = f"{path}, line {line}"
        if not row["quarterbeats"] or row["gracenote"]:
            continue
        # `duration` is in whole notes.
        onset, length = number(row["quarterbeats"], where), 4 * number(row["duration"], where)
        key = whole(row["midi"], where)
        if not 0 <= key <= 127 or onset < 0:
            raise Fault(f"{where}: a key of {key} at {onset}; keys are 0 to 127, and times are not below 0.")
        if length > 0:
            found.append((onset, length, key, row["tied"]))
    for onset, length, key, tied in sorted(found, key=lambda n: n[:3]):
        before = open_.get((key, round(onset, 4)))
        # 1 begins a tie, 0 goes on, -1 ends it.
        if before and tied in ("0", "-1", "0.0", "-1.0"):
            note = before.pop()
            note[1] = round(onset + length - note[0], 4)
        else:
            note = [round(onset, 4), round(length, 4), key]
            notes.append(note)
        if tied in ("1", "0", "1.0", "0.0"):
            open_.setdefault((key, round(onset + length, 4)), []).append(note)
    return notes


def dcml_harmonies(path, end):
    """Segments and chords in seconds; `end`: of the piece, in quarters."""
    marks = []
    for line, row in rows(path, ("quarterbeats", "globalkey", "localkey", "chord_tones", "root", "bass_note")):
        where = f"{path}, line {line}"
        if not row["quarterbeats"] or not row["localkey"]:
            continue
        tonic, minor = global_key(row["globalkey"], where)
        center, minor = local_key(row["localkey"], tonic, minor, where)
        chord = None
        # Fifths above the local tonic.
        tones = [whole(t, where) for t in re.findall(r"[^\s,()]+", row["chord_tones"] or "")]
        if tones and row["root"] and row["bass_note"]:
            pc = lambda fifths: (center + 7 * fifths) % 12
            chord = [pc(whole(row["root"], where)), pc(whole(row["bass_note"], where)), sorted({pc(t) for t in tones})]
        marks.append((number(row["quarterbeats"], where), center, "minor" if minor else "major", chord))
    marks.sort(key=lambda m: m[0])
    seconds = lambda quarters: round(quarters * DCML_QUARTER, 4)
    segments, chords = [], []
    for i, (at, center, mode, chord) in enumerate(marks):
        stop = marks[i + 1][0] if i + 1 < len(marks) else max(end, at)
        if stop <= at:
            continue
        if segments and (segments[-1]["center"], segments[-1]["mode"]) == (center, mode):
            segments[-1]["end"] = seconds(stop)
        else:
            segments.append({"start": seconds(at), "end": seconds(stop), "center": center, "mode": mode})
        if chord:
            chords.append([seconds(at), seconds(stop), *chord])
    return segments, chords


def dcml(folder, first):
    """For each repository its name, pieces with notes and harmonies, and how many have notes."""
    folder = Path(folder)
    if not folder.is_dir():
        raise Fault(f"{folder}: no such folder. Clone repositories of the corpus into it.")
    homes = [d for d in (folder, *sorted(folder.iterdir())) if (d / "notes").is_dir() and (d / "harmonies").is_dir()]
    if not homes:
        raise Fault(f"{folder}: no repository with the folders notes/ and harmonies/ in it. Clone some there.")
    for home in homes:
        pieces = []
        files = sorted((home / "notes").glob("*.notes.tsv"))
        for file in files[:first]:
            name = file.name[: -len(".notes.tsv")]
            harmonies = home / "harmonies" / f"{name}.harmonies.tsv"
            if not harmonies.is_file():
                continue
            notes = dcml_notes(file)
            segments, chords = dcml_harmonies(harmonies, max((a + b for a, b, _ in notes), default=0))
            if not notes or not segments:
                continue
            pieces.append({
                "name": name, "kind": "local-key", "corpus": home.resolve().name, "quarter": DCML_QUARTER,
                "notes": notes, "segments": segments, "chords": chords,
            })
        yield home.resolve().name, pieces, len(files)


# ---------------------------------------------------------------------------------------


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    source = parser.add_mutually_exclusive_group(required=True)
    source.add_argument("--music21", action="store_true", help="folk tunes of the corpus that comes with music21")
    source.add_argument("--dcml", metavar="FOLDER", help="a folder of cloned DCML repositories, or one of them")
    parser.add_argument("out", help="the file to write; gzipped if its name ends in .gz")
    parser.add_argument("--first", type=int, metavar="N", help="look at N tunes or pieces of each collection only, to try it")
    arguments = parser.parse_args()
    if arguments.first is not None and arguments.first < 1:
        parser.error(f"--first {arguments.first}: at least one")
    count = 0
    try:
        # The same pieces give the same bytes: no name, no time.
        with open(arguments.out, "wb") as raw, gzip.GzipFile("", "wb", 9, raw, 0) if arguments.out.endswith(".gz") else raw as out:
            for collection, pieces, of in folk(arguments.first) if arguments.music21 else dcml(arguments.dcml, arguments.first):
                print(f"{collection}: {len(pieces)} of {of}", flush=True)
                for piece in pieces:
                    out.write((json.dumps(piece, ensure_ascii=False, separators=(",", ":")) + "\n").encode())
                count += len(pieces)
    except OSError as fault:
        raise Fault(f"cannot write to {arguments.out}: {fault.strerror}. Name a file that can be written.") from fault
    if not count:
        raise Fault(f"{arguments.out}: nothing was found to write. See the rules at the head of gather.py.")
    print(f"{count} pieces in {arguments.out}")
    return 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except Fault as fault:
        print(fault, file=sys.stderr)
        sys.exit(1)

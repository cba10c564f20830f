"""Reads folk tunes of the music21 corpus (it comes with the package): ABC text, its key
field and its notes. Shared by corpus.py and tests/training/gather.py.

A quarter lasts 0.4 s; repeats are not played, grace notes are left out, a tie is one note.
"""

import re
from pathlib import Path

MODES = {
    "": "ionian", "maj": "ionian", "ion": "ionian", "m": "aeolian", "min": "aeolian", "aeo": "aeolian",
    "dor": "dorian", "mix": "mixolydian", "lyd": "lydian", "phr": "phrygian",
}
# Sharps of the signature against the major key on the same tonic.
DARKER = {"lydian": -1, "ionian": 0, "mixolydian": 1, "dorian": 2, "aeolian": 3, "phrygian": 4}
ABC = {"lydian": "lyd", "ionian": "", "mixolydian": "mix", "dorian": "dor", "aeolian": "min", "phrygian": "phr"}
LETTERS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}
QUARTER = 0.4


class Fault(Exception):
    """What is wrong with the corpus or the folder, for whoever runs this."""


def corpus_folder():
    """Where music21 keeps its corpus, and music21's version. Raises Fault."""
    try:
        import music21
    except ImportError as fault:
        raise Fault(f"{fault.name} is not installed. Install it with  pip install {fault.name}") from fault
    return Path(music21.__file__).parent / "corpus", music21.__version__


def key_field(text):
    """Tonic, place in the circle of fifths (C = 0) and mode of `K:`, or None if it is no
    plain key in one of these modes."""
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


def tunes(corpus, collections):
    """Every tune with one plain key field: mode, tonic, fifths, collection, file, number,
    ABC text."""
    for collection in collections:
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
                yield mode, tonic, fifths, collection, file, number.group(1), piece


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

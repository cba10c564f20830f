"""Reads, as JSON, the scores of the études as their composer wrote them, and where their
files are:
{"folder": "recordings",
 "pieces": [{"name": "01_one_hearth", "title": "…", "tempo": 90.0,
             "sections": [{"here": ["D", "dorian"], "passing": null,
                           "lines": [["right", "C4q. D4e | E4h'"], …]}]}]}

The score language is read here once more, by its table in tests/etudes/score.rs and by
none of its code, and the files by mido. Every key of the score must be struck in the hand
and in the order in which it is written, about as long after the note before as is
written, and nothing else; the plan beside the file must name each section's tonality from
the first note of it that sounds."""

import json
import re
import sys
import tomllib
from fractions import Fraction
from pathlib import Path

import mido

LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
# In quarters.
LENGTHS = {"w": 4, "h": 2, "q": 1, "e": Fraction(1, 2), "s": Fraction(1, 4), "t": Fraction(1, 8)}
NOTE = re.compile(r"(?P<grace>,?)(?P<keys>[A-G][#b]*\d(?:\+[A-G][#b]*\d)*)(?P<length>[whqest.3~]*)(?P<marks>.*)")
SILENT = re.compile(r"[rP](?P<length>[whqest.3~]*)(?P<marks>.*)")
# How far a player's liberties go: the tempo of two notes a quarter or more apart, against
# the piece's, and how much earlier than a note before it one may sound.
SLOWEST, FASTEST, AHEAD = 0.4, 1.6, 0.2


def number_of(name):
    """`Eb4`: 63. The octave is the letter's."""
    return 12 * (int(name[-1]) + 1) + LETTERS[name[0]] + name.count("#") - name.count("b")


def quarters(text):
    total = Fraction(0)
    for part in text.split("~"):
        length = dot = Fraction(LENGTHS[part[0]])
        for sign in part[1:]:
            if sign == ".":
                dot /= 2
                length += dot
            else:
                length = length * 2 / 3
        total += length
    return total


def line(text, start):
    """Its strokes, (start, key) in quarters, and where it ends."""
    at, length, strokes = start, Fraction(1), []
    for token in text.split():
        if token == "|" or token[0] in "@*":
            continue
        found = NOTE.fullmatch(token) or SILENT.fullmatch(token)
        if found is None:
            raise ValueError(f"{token!r} is no note")
        if found["length"]:
            length = quarters(found["length"])
        if "keys" in found.groupdict():
            strokes += [(at, number_of(k)) for k in found["keys"].split("+")]
            if found["grace"]:
                continue
        at += length
    return strokes, at


def played(path):
    """Onsets in seconds by (hand, key), in order, and where the file ends."""
    midi = mido.MidiFile(path)
    names = [track.name for track in midi.tracks]
    tempi = [m.tempo for track in midi.tracks for m in track if m.type == "set_tempo"]
    assert midi.type == 1 and tempi == [500_000], (path, midi.type, tempi)
    onsets, end = {}, 0.0
    for name, track in zip(names, midi.tracks):
        now, down = 0, set()
        for message in track:
            now += message.time
            seconds = now * 0.5 / midi.ticks_per_beat
            if message.type == "note_on" and message.velocity > 0:
                onsets.setdefault((name.removesuffix(" hand"), message.note), []).append(seconds)
                down.add(message.note)
            elif message.type in ("note_on", "note_off"):
                down.discard(message.note)
            end = max(end, seconds)
        assert not down, (path, name, down)
    return names[0], onsets, end


def check(piece, folder):
    """What is wrong, line by line, and how many notes and regions were compared."""
    faults = []
    title, onsets, end = played(folder / f"{piece['name']}.mid")
    if title != piece["title"]:
        faults.append(f"the file is called {title!r}")
    start, written, sections = Fraction(0), [], []
    for n, section in enumerate(piece["sections"]):
        ends = set()
        for hand, text in section["lines"]:
            strokes, over = line(text, start)
            ends.add(over)
            written += [(at, hand, key, n) for at, key in strokes]
        if len(ends) != 1:
            faults.append(f"section {n + 1}: lines end at {sorted(ends)}")
        sections.append((section, start))
        start = max(ends)
    written.sort()
    # The first stroke of a key is the first that is written of it, and so on.
    left = {which: list(times) for which, times in onsets.items()}
    heard = []
    for at, hand, key, n in written:
        times = left.get((hand, key))
        if not times:
            faults.append(f"key {key}, {hand} hand, quarter {float(at)}: not played")
            continue
        heard.append((at, times.pop(0), hand, key, n))
    for (hand, key), times in left.items():
        faults += [f"key {key}, {hand} hand, {t:.2f} s: not written" for t in times]
    quarter = 60 / piece["tempo"]
    latest, before = -1.0, []
    for at, seconds, hand, key, _ in heard:
        where = f"key {key}, {hand} hand, quarter {float(at)}: sounds at {seconds:.2f} s"
        if seconds < latest - AHEAD:
            faults.append(f"{where}, and what is before it at {latest:.2f} s")
        latest = max(latest, seconds)
        # The last note a quarter or more before.
        while len(before) > 1 and at - before[1][0] >= 1:
            before.pop(0)
        if before and at - before[0][0] >= 1:
            tempo = float(at - before[0][0]) * quarter / (seconds - before[0][1])
            if not SLOWEST <= tempo <= FASTEST:
                faults.append(f"{where}: {tempo:.2f} of the tempo since quarter {float(before[0][0])}")
        if not before or at > before[-1][0]:
            before.append((at, seconds))
    regions, passing = [], []
    for n, (section, _) in enumerate(sections):
        first = min((t for _, t, _, _, m in heard if m == n), default=None)
        if first is None:
            faults.append(f"section {n + 1}: nothing sounds")
            continue
        for list_, tonality in ((regions, section["here"]), (passing, section["passing"])):
            if list_ and list_[-1][1] is None and tonality != list_[-1][2]:
                list_[-1][1] = first
            if tonality is not None and not (list_ and list_[-1][1] is None):
                list_.append([first, None, tonality])
    plan = tomllib.loads((folder / f"{piece['name']}.toml").read_text(encoding="utf-8"))
    compared = 0
    for name, ours in (("region", regions), ("passing", passing)):
        theirs = plan.get(name, [])
        if len(ours) != len(theirs):
            faults.append(f"{len(theirs)} {name}s in the plan, {len(ours)} in the score")
        for (begin, over, (center, mode)), entry in zip(ours, theirs):
            over = end if over is None else over
            spelling = center.replace("b", "♭").replace("#", "♯")
            want = (spelling, mode, number_of(f"{center}4") % 12)
            has = (entry["spelling"], entry["mode"], entry["center"])
            near = abs(begin - entry["start"]) < 1e-4 and abs(over - entry["end"]) < 1e-4
            if want != has or not near:
                faults.append(f"{name} {begin:.5f}-{over:.5f} {want}: the plan says {entry}")
            compared += 1
    return faults, len(heard), compared


def main() -> int:
    asked = json.load(sys.stdin)
    notes = regions = 0
    faults = []
    for piece in asked["pieces"]:
        wrong, heard, compared = check(piece, Path(asked["folder"]))
        faults += [f"{piece['name']}: {fault}" for fault in wrong]
        notes, regions = notes + heard, regions + compared
    if faults:
        print("\n".join(faults[:40]), file=sys.stderr)
        return 1
    print(f"{len(asked['pieces'])} pieces, {notes} notes, {regions} regions")
    return 0


sys.exit(main())

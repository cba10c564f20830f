"""Modal keyboard playing, labelled by construction, that no training sees.

`take(seed)` improvises one piece the way a player would who explores modes: the
center is what the bass, the phrase ends and the strong beats lean on, so that the
label is what a musician hears and not merely what the program meant. It shares
nothing with the music that the estimator is trained on.

    python held_out.py OUTDIR --count 160     MIDI files and labels.json
    python held_out.py --check                checks 320 pieces and says what it measured
    python held_out.py --show 5               one piece as text

What the families play, the tempi, registers and chances are common practice, no
source. The modes' notes are those of config/modes.toml.
"""

import argparse
import json
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

CATALOGUE = Path(__file__).resolve().parents[2] / "config" / "modes.toml"
LOWEST, HIGHEST = 21, 108
SHORTEST, LONGEST = 40.0, 120.0
# Keeps our seeds apart from those of other generators that begin at 0 as well.
SALT = 0x70C0

FAMILIES = [
    "vamp", "shuttle", "pedal_point", "drone", "planing", "bass_moves", "parallel", "wander",
    "blues", "functional", "solo_line", "chorale", "left_hand_patterns", "rare", "none", "silence",
]


# Modes ---------------------------------------------------------------------------------


def _semitones(degree):
    major = (0, 2, 4, 5, 7, 9, 11)
    digits = degree.lstrip("b#")
    signs = degree[: len(degree) - len(digits)]
    return (major[int(digits) - 1] - signs.count("b") + signs.count("#")) % 12


def _catalogue():
    with open(CATALOGUE, "rb") as file:
        modes = tomllib.load(file)["mode"]
    scales = {m["id"]: tuple(_semitones(d) for d in m["degrees"].split()) for m in modes}
    every = {
        m["id"]: frozenset(scales[m["id"]])
        | frozenset(_semitones(d) for d in m.get("movable", "").split())
        for m in modes
    }
    telling = {
        m["id"]: frozenset(_semitones(d) for d in m.get("characteristic", "").split())
        for m in modes
    }
    return scales, every, telling


# A scale keeps the order of its degrees; NOTES has a mode's movable degrees as well.
SCALES, NOTES, TELLING = _catalogue()
HARMONIC_MINOR = (0, 2, 3, 5, 7, 8, 11)
MELODIC_MINOR = (0, 2, 3, 5, 7, 9, 11)
WHOLE_TONE = (0, 2, 4, 6, 8, 10)
OCTATONIC = (0, 1, 3, 4, 6, 7, 9, 10)

DIATONIC = ["dorian", "mixolydian", "aeolian", "lydian", "phrygian", "ionian"]


@dataclass(frozen=True)
class Scene:
    """A center, its mode, and the scale in use (minor has several)."""

    center: int
    mode: str
    scale: tuple = ()

    def notes(self):
        return self.scale or (HARMONIC_MINOR if self.mode == "minor" else SCALES[self.mode])

    def pcs(self):
        return {(self.center + x) % 12 for x in self.notes()}

    def tonic(self, register):
        return near(self.center, register)

    def key(self, degree, register, scale=None):
        """The key of a degree (0 = the tonic nearest to the register, negative below)."""
        scale = scale or self.notes()
        return self.tonic(register) + scale[degree % len(scale)] + 12 * (degree // len(scale))


@dataclass(frozen=True)
class Chord:
    """Pitch classes from the root up, the bass, and the scale it asks of a melody."""

    pcs: tuple
    bass: int
    scale: tuple
    quartal: bool = False


STACKS = {
    "triad": (0, 2, 4), "seventh": (0, 2, 4, 6), "sus": (0, 3, 4), "quartal": (0, 3, 6),
    "quartal4": (0, 3, 6, 9), "ninth": (0, 2, 4, 8), "fifth": (0, 4),
}


def near(pc, register):
    """The key of a pitch class that is nearest to a register (ties go down)."""
    return register + (pc - register + 6) % 12 - 6


def stack(scene, degree, kind="triad", bass=None):
    scale = scene.notes()
    pcs = tuple((scene.center + scale[(degree + x) % len(scale)]) % 12 for x in STACKS[kind])
    return Chord(pcs, pcs[0] if bass is None else bass, scale, kind.startswith("quartal"))


# The sheet: what is played, in beats ---------------------------------------------------


class Sheet:
    """Notes and labels in beats, and how they will be performed."""

    def __init__(self, rng, bpm, meter=4, swing=0.5, rubato=False, pedal=False, mood=None):
        self.rng = rng
        self.bpm = bpm
        self.meter = meter
        self.swing = swing
        self.rubato = rubato
        self.pedal = pedal
        self.blur = float(rng.uniform(0.0, 0.15)) if pedal and rng.random() < 0.5 else 0.0
        self.jitter = float(rng.uniform(0.006, 0.022))
        self.ornaments = float(rng.choice([0.0, 0.03, 0.08]))
        self.wrong = float(rng.uniform(0.004, 0.016))
        self.low = int(rng.integers(38, 47))
        self.mid = int(rng.integers(57, 64))
        self.high = int(rng.integers(70, 79))
        self.mood = mood or str(rng.choice(["calm", "even", "busy"], p=[0.3, 0.45, 0.25]))
        self.notes = []
        self.marks = []
        self.pedals = []
        self.slowings = []
        self.now = 0.0
        self.unheard = set()
        self.voiced = None
        self.rhythm = None

    def beats(self, seconds):
        return seconds * self.bpm / 60.0

    def bars(self, seconds, least=2):
        return max(least, round(self.beats(seconds) / self.meter))

    def mark(self, scene, mode=None):
        """From now on this is the center (None: there is none, and `mode` says how)."""
        notes = scene.pcs() if scene else set()
        self.marks.append((self.now, scene.center if scene else None, scene.mode if scene else mode, notes))
        self.unheard = scene.pcs() if scene else set()

    def put(self, beat, length, key, hand="l"):
        key = int(key)
        while key < 24:
            key += 12
        while key > 104:
            key -= 12
        self.notes.append((float(beat), float(beat + length), key, hand))
        self.unheard.discard(key % 12)

    def lift(self, beat=None):
        """The sustaining pedal, where it is used, is changed here."""
        if self.pedal:
            self.pedals.append(self.now if beat is None else beat)

    def chance(self, p):
        return self.rng.random() < p

    def pick(self, options, weights=None):
        if weights is not None:
            weights = np.asarray(weights, float)
            weights = weights / weights.sum()
        return options[int(self.rng.choice(len(options), p=weights))]

    def voicing(self, chord, register=None):
        """Close keys for a chord, by the shortest way from the last ones."""
        register = self.mid if register is None else register
        options = []
        if chord.quartal:
            for octave in (-12, 0, 12):
                keys = [near(chord.pcs[0], register - 5) + octave]
                for pc in chord.pcs[1:]:
                    keys.append(keys[-1] + (pc - keys[-1]) % 12)
                options.append(keys)
        else:
            for turn in range(len(chord.pcs)):
                for octave in (-12, 0, 12):
                    keys = [near(chord.pcs[turn], register - 4) + octave]
                    for pc in chord.pcs[turn + 1 :] + chord.pcs[:turn]:
                        keys.append(keys[-1] + (pc - keys[-1]) % 12)
                    options.append(keys)

        def cost(keys):
            away = abs(np.mean(keys) - register)
            if self.voiced is None:
                return away
            return 0.5 * away + abs(np.mean(keys) - np.mean(self.voiced)) + abs(max(keys) - max(self.voiced))

        best = min(options, key=lambda keys: (cost(keys), keys))
        self.voiced = best
        return best


# Left hands ----------------------------------------------------------------------------


def accompany(sheet, kind, beat, length, chord):
    """One chord for `length` beats in a left-hand (or two-hand) pattern."""
    bass = near(chord.bass, sheet.low)
    keys = sheet.voicing(chord)
    sheet.lift(beat)
    # The chord from its bass up, for patterns that stand on one hand.
    above = sorted({bass + ((pc - bass) % 12) for pc in chord.pcs} | {bass})
    fifth = bass + (7 if bass + 7 in above else 12)
    whole = int(np.ceil(length - 1e-6))
    if kind == "block":
        sheet.put(beat, length * 0.97, bass)
        for key in keys:
            sheet.put(beat, length * 0.95, key, "m")
    elif kind == "pulse":
        sheet.put(beat, length * 0.95, bass)
        for i in range(whole):
            for key in keys:
                sheet.put(beat + i, min(0.7, length - i), key, "m")
    elif kind == "syncopated":
        sheet.put(beat, min(1.4, length), bass)
        if length > 2:
            sheet.put(beat + 2, min(1.5, length - 2), bass if sheet.chance(0.6) else fifth)
        for at in (0.5, 1.5, 3.0, 4.5, 6.0):
            if at < length - 0.2:
                for key in keys:
                    sheet.put(beat + at, 0.45, key, "m")
    elif kind == "broken":
        sheet.put(beat, length * 0.95, bass)
        order = keys + keys[-2:0:-1]
        for i in range(int(length * 2)):
            if i:
                sheet.put(beat + i / 2, 0.6, order[(i - 1) % len(order)], "m")
    elif kind == "alberti":
        low = near(chord.bass, sheet.low + 8)
        mid = sorted({low + ((pc - low) % 12) for pc in chord.pcs} | {low})
        third, top = mid[1 % len(mid)], mid[min(2, len(mid) - 1)]
        for i in range(int(length * 2)):
            sheet.put(beat + i / 2, 0.5, (low, top, third, top)[i % 4])
    elif kind in ("waltz", "stride"):
        step = sheet.meter if kind == "waltz" else 2
        for i in range(whole):
            if i % step == 0:
                turn = i // step % 2 == 1 and chord.bass == chord.pcs[0] and fifth - 12 >= 28
                low = fifth - 12 if turn else bass
                sheet.put(beat + i, 0.9, low)
                if kind == "stride" and sheet.low > 42:
                    sheet.put(beat + i, 0.9, low - 12)
            else:
                for key in keys:
                    sheet.put(beat + i, 0.55, key, "m")
    elif kind == "tenths":
        tenth = bass + 12 + (chord.pcs[1 % len(chord.pcs)] - bass) % 12
        for i in range(0, whole, 2):
            hold = min(1.95, length - i)
            for n, key in enumerate((bass, fifth, tenth)):
                sheet.put(beat + i + 0.09 * n, hold - 0.09 * n, key)
    elif kind == "arpeggio":
        run = [bass, fifth, bass + 12] + [key + 12 for key in above[1:]]
        run = run + run[-2:0:-1]
        for i in range(int(length * 2)):
            sheet.put(beat + i / 2, 0.6 if i else 1.5, run[i % len(run)])
    else:
        raise ValueError(f"no left-hand pattern called {kind}")


PATTERNS = ["block", "pulse", "syncopated", "broken", "alberti", "tenths", "arpeggio"]


def pattern_for(sheet):
    more = ["waltz", "waltz"] if sheet.meter == 3 else ["stride"] if sheet.meter == 4 else []
    return sheet.pick(PATTERNS + more)


# Right hands ---------------------------------------------------------------------------

CELLS = {
    "calm": [(1,), (2,), (1, 1), (1.5, 0.5), (-1, 1), (3,), (0.5, 0.5)],
    "even": [(1,), (0.5, 0.5), (1.5, 0.5), (0.75, 0.25), (1,), (-0.5, 0.5), (2,), (0.5, 1, 0.5)],
    "busy": [(0.5, 0.5), (0.25,) * 4, (0.5, 0.25, 0.25), (1 / 3,) * 3, (0.75, 0.25), (-0.5, 0.5), (1,)],
}


def rhythm(sheet, length, tail):
    """Lengths that fill a phrase (rests negative); the last is at least `tail` long."""
    if sheet.rhythm and abs(sheet.rhythm[0] - length) < 1e-6 and sheet.chance(0.4):
        return sheet.rhythm[1]
    out, filled = [], 0.0
    while filled < length - tail - 1e-6:
        cell = sheet.pick(CELLS[sheet.mood])
        size = sum(abs(x) for x in cell)
        if filled + size > length - tail + 1e-6:
            cell, size = (length - tail - filled,), length - tail - filled
        out.extend(cell)
        filled += size
    out.append(length - filled)
    sheet.rhythm = (length, out)
    return out


def melody(sheet, scene, start, length, harmony=None, register=None, span=(-4, 9), final=None, breath=0.0, hand="r"):
    """A phrase: steps and a few leaps over what sounds, to a stable last note.

    `harmony(beat)` gives the chord there; `final` the degrees that may end it."""
    register = sheet.high if register is None else register
    rng = sheet.rng
    size = len(scene.notes())
    stable = final if final is not None else (0, 0, 0, {7: 4, 6: 4, 5: 3, 8: 4}[size], 2)
    tail = min(length / 2, float(rng.choice([1, 1.5, 2])))
    values = rhythm(sheet, length - breath, tail)
    degree = int(rng.choice([0, 2, 4, 4]))
    way = 1
    beat = start
    last = len(values) - 1
    for i, value in enumerate(values):
        if value < 0:
            beat -= value
            continue
        chord = harmony(beat) if harmony else None
        scale = chord.scale if chord else scene.notes()
        strong = abs(beat - round(beat)) < 1e-6 and (value >= 1 or round(beat - start) % 2 == 0)
        options = list(range(max(span[0], degree - 4), min(span[1], degree + 4) + 1))
        weights = []
        for option in options:
            step = option - degree
            weight = {0: 0.6, 1: 5.0, 2: 2.2, 3: 0.8, 4: 0.5}[abs(step)]
            if step * way > 0:
                weight *= 1.6
            pc = (scene.center + scale[option % size]) % 12
            if pc in sheet.unheard:
                weight *= 6.0 if (pc - scene.center) % 12 in TELLING[scene.mode] else 3.0
            if chord and strong:
                weight *= 3.0 if pc in chord.pcs else 0.6
            elif strong and not chord:
                weight *= 1.8 if option % size in (0, 4) else 1.0
            middle = (span[0] + span[1]) / 2
            weight *= float(np.exp(-0.5 * ((option - middle) / (span[1] - span[0]) * 2.2) ** 2))
            if i == last:
                fits = option % size in stable
                if chord and fits and pc not in chord.pcs:
                    fits = option % size == 0 and 0.3
                weight *= 200.0 * float(fits) * (2.5 if option % size == 0 else 1.0) if fits else 0.01
            weights.append(weight)
        new = sheet.pick(options, weights)
        way = 1 if new > degree else -1 if new < degree else way
        key = scene.key(new, register, scale)
        if sheet.chance(sheet.ornaments) and value >= 0.5:
            ornament(sheet, scene, scale, new, register, beat, value, hand)
        else:
            sheet.put(beat, value * float(rng.uniform(0.8, 1.02)), key, hand)
        degree = new
        beat += value
    if sheet.rubato:
        sheet.slowings.append((start + length - 2.0, start + length, float(rng.uniform(0.03, 0.14))))


def ornament(sheet, scene, scale, degree, register, beat, value, hand):
    """A grace note, a mordent or a short trill on a melody note."""
    short = min(0.14, value / 6)
    kind = sheet.pick(["grace", "mordent", "trill"])
    main = scene.key(degree, register, scale)
    side = scene.key(degree + (1 if kind != "grace" or sheet.chance(0.5) else -1), register, scale)
    turns = {"grace": [side], "mordent": [main, side], "trill": [main, side] * 3}[kind]
    turns = turns[: max(1, int(value / short / 1.5))]
    for i, key in enumerate(turns):
        sheet.put(beat + i * short, short, key, hand)
    at = len(turns) * short
    sheet.put(beat + at, max(0.1, value - at) * 0.95, main, hand)


# Chords of a mode ----------------------------------------------------------------------

LOOPS = {
    "ionian": [(0, 3, 4, 0), (0, 5, 3, 4), (0, 1, 4, 0), (0, 4, 3, 0)],
    "dorian": [(0, 3), (0, 3, 0, 6), (0, 1, 3, 0), (0, 2, 3, 0), (0, 6, 3, 0)],
    "phrygian": [(0, 1), (0, 1, 2, 0), (0, 6, 1, 0), (0, 5, 1, 0)],
    "lydian": [(0, 1), (0, 1, 0, 6), (0, 1, 0, 4), (0, 2, 1, 0)],
    "mixolydian": [(0, 6), (0, 6, 3, 0), (0, 3, 6, 0), (0, 4, 6, 0)],
    "aeolian": [(0, 6), (0, 5, 6, 0), (0, 3, 0, 6), (0, 6, 5, 0), (0, 3, 6, 0)],
    "minor": [(0, 3, 4, 0), (0, 5, 3, 4), (0, 4), (0, 3, 4, 0)],
}
# Modes whose own chords pull away from the tonic get its bass below more often.
LEANING = {"lydian": 0.55, "phrygian": 0.35, "mixolydian": 0.25, "dorian": 0.2}


def progression(sheet, scene, bars, closed=True, loop=None):
    """Chords of one bar (or half a bar) over `bars` bars, as (beat, length, chord)."""
    loop = loop or sheet.pick(LOOPS.get(scene.mode, [(0, 1), (0, 6), (0, 0, 1, 0)]))
    anchored = sheet.chance(LEANING.get(scene.mode, 0.15 if scene.mode in LOOPS else 0.8))
    kind = sheet.pick(["triad", "seventh", "ninth", "sus", "quartal"], [6, 2, 1, 0.5, 0.8])
    if scene.mode in ("ionian", "minor"):
        kind = sheet.pick(["triad", "seventh"], [3, 1])
    halves = sheet.meter == 4 and len(loop) > 2 and sheet.bpm < 100 and sheet.chance(0.4)
    slow = not halves and sheet.meter * 60 / sheet.bpm < 1.8
    size = sheet.meter / 2 if halves else sheet.meter * (2 if slow and len(loop) == 2 else 1)
    out, at, end = [], 0.0, bars * sheet.meter
    i = 0
    while at < end - 1e-6:
        degree = loop[i % len(loop)]
        length = min(size, end - at)
        if closed and end - at <= max(size, sheet.meter) + 1e-6:
            degree, length = 0, end - at
        chord = stack(scene, degree, kind, scene.center if anchored else None)
        out.append((sheet.now + at, length, chord))
        at += length
        i += 1
    return out


def lay(sheet, scene, chords, pattern, phrases=True, wait=0):
    """Plays chords in a pattern, and phrases of 2 or 4 bars above them."""
    start = chords[0][0]
    end = chords[-1][0] + chords[-1][1]
    for beat, length, chord in chords:
        accompany(sheet, pattern, beat, length, chord)

    def harmony(beat):
        found = chords[0][2]
        for at, _, chord in chords:
            if at <= beat + 1e-6:
                found = chord
        return found

    if phrases:
        at = start + wait * sheet.meter
        while at < end - 1e-6:
            length = min(sheet.meter * sheet.pick([2, 4], [3, 2]), end - at)
            if end - (at + length) < sheet.meter:
                length = end - at
            final = (0,) if at + length > end - 1e-6 else None
            breath = 0.0 if length <= sheet.meter else float(sheet.pick([0, 0.5, 1]))
            if length >= 2:
                melody(sheet, scene, at, length, harmony, final=final, breath=breath)
            at += length
    sheet.now = end
    sheet.lift()


def section(sheet, scene, seconds, pattern=None, closed=True, loop=None, wait=0):
    bars = sheet.bars(seconds)
    lay(sheet, scene, progression(sheet, scene, bars, closed, loop), pattern or pattern_for(sheet), wait=wait)


# Getting to another center -------------------------------------------------------------


def elsewhere(sheet, scene, modes=DIATONIC, intervals=(3, -3, 4, -4, 2, -2, 5, -5, 1, -1, 6)):
    weights = [1.4 if abs(x) in (2, 3, 4) else 1.0 if abs(x) == 5 else 0.7 for x in intervals]
    return Scene((scene.center + sheet.pick(list(intervals), weights)) % 12, sheet.pick(modes))


def prepare(sheet, old, new):
    """Half a bar to a bar that leads over; the new label begins where it is foreign.

    Returns with the new scene marked."""
    way = sheet.pick(["dominant", "below", "pivot", "run"])
    length = sheet.meter if sheet.bpm > 90 else max(2, sheet.meter // 2)
    if way == "pivot":
        # A triad of both scales: it still belongs to what was there before.
        shared = [
            stack(old, d) for d in range(7)
            if len(old.notes()) == 7 and set(stack(old, d).pcs) <= new.pcs()
        ]
        if shared:
            accompany(sheet, "block", sheet.now, length, sheet.pick(shared))
            sheet.now += length
        sheet.mark(new)
        return
    sheet.mark(new)
    if way == "dominant":
        root = (new.center + 7) % 12
        chord = Chord(tuple((root + x) % 12 for x in QUALITIES["7"]), root, new.notes())
        accompany(sheet, "block", sheet.now, length, chord)
    elif way == "below":
        chord = stack(new, len(new.notes()) - 1)
        accompany(sheet, "block", sheet.now, length, chord)
    else:
        # The left hand walks up to the new tonic from its fifth.
        size = len(new.notes())
        steps = 2 * length
        for i in range(steps):
            key = new.key(max(-size, i - steps), sheet.low)
            sheet.put(sheet.now + i / 2, 0.5, key)
            sheet.put(sheet.now + i / 2, 0.5, key + 12)
    sheet.now += length


def move(sheet, old, new, prepared=None):
    """To the new scene, prepared or not (even chances)."""
    if prepared if prepared is not None else sheet.chance(0.5):
        prepare(sheet, old, new)
    else:
        if sheet.chance(0.25):
            sheet.now += float(sheet.pick([1, 2]))
        sheet.mark(new)


def lengths(sheet, least, most, count=None, total=(45, 105)):
    """Lengths of sections in seconds with a sum inside `total`."""
    goal = float(sheet.rng.uniform(*total))
    if count is None:
        low = max(1, int(np.ceil(goal / most)))
        high = max(low, int(goal // least))
        count = int(sheet.rng.integers(low, min(high, low + 3) + 1))
    parts = sheet.rng.uniform(0.7, 1.3, count)
    parts = parts / parts.sum() * goal
    return [float(np.clip(x, least, most)) for x in parts]


# The families --------------------------------------------------------------------------


def sheet_for(rng, bpm=(66, 132), meters=(4, 4, 4, 3), pedal=0.3, rubato=0.25, swing=0.1, mood=None):
    return Sheet(
        rng,
        float(rng.uniform(*bpm)),
        int(rng.choice(list(meters))),
        swing=float(rng.uniform(0.56, 0.66)) if rng.random() < swing else 0.5,
        rubato=bool(rng.random() < rubato),
        pedal=bool(rng.random() < pedal),
        mood=mood,
    )


def anywhere(sheet, modes=DIATONIC):
    return Scene(int(sheet.rng.integers(12)), sheet.pick(modes))


def vamp_section(sheet, scene, seconds):
    """An ostinato of one or two bars, stabs, and free phrases after it has settled."""
    bars = sheet.bars(seconds, 3)
    meter = sheet.meter
    size = len(scene.notes())
    fifth = {7: 4, 6: 4, 5: 3}[size]
    start = sheet.now
    if size == 7 and scene.notes()[4] != 7:
        fifth = 0
    # The ostinato: the tonic on the beat, then what leads back to it.
    long = sheet.pick([1, 2])
    home = 0.0
    while home < 0.5:
        figure, at = [], 0.0
        while at < long * meter - 1e-6:
            value = min(float(sheet.pick([0.5, 1, 1.5, 2], [2, 4, 2, 1.5])), meter - at % meter)
            if at % meter < 1e-6:
                degree = 0
            else:
                degree = sheet.pick([0, fifth - size, fifth, size, -1, 1, 2], [4, 2, 3, 2, 1.2, 0.8, 0.6])
            figure.append((at, value, degree))
            at += value
        # The tonic has at least half of it, or it is no ostinato on the tonic.
        home = sum(value for _, value, degree in figure if degree in (0, size)) / (long * meter)
    shape = "triad" if size != 7 else sheet.pick(["quartal", "triad", "quartal4", "seventh"], [3, 2, 1, 1])
    roots = [0, sheet.pick([1, 6, 3, 4, 0])] if size == 7 else [0, 0]
    hits = sheet.pick([(1.5,), (1, 2.5), (0.5, 2), (1.5, 3), (0, 1.5), (2,)])
    dry = sheet.chance(0.6)
    for bar in range(bars):
        base = start + bar * meter
        sheet.lift(base)
        for at, value, degree in figure:
            if bar % long * meter <= at < (bar % long + 1) * meter:
                sheet.put(base + at - bar % long * meter, value * 0.9, scene.key(degree, sheet.low))
        if bar == 0 and sheet.chance(0.5):
            continue
        chord = stack(scene, roots[bar % 2], shape)
        keys = sheet.voicing(chord)
        for at in hits:
            if at < meter:
                for key in keys:
                    sheet.put(base + at, 0.35 if dry else min(1.3, meter - at), key, "m")
    wait = 1 if bars <= 4 else sheet.pick([1, 2])
    at = start + wait * meter
    end = start + bars * meter
    tonic = stack(scene, 0)
    while at < end - 1e-6:
        length = min(meter * sheet.pick([2, 3, 4]), end - at)
        melody(sheet, scene, at, length, lambda _: tonic, breath=float(sheet.pick([0, 1, 1.5])) if length > 3 else 0.0)
        at += length + (meter if sheet.chance(0.25) else 0)
    sheet.now = end
    sheet.lift()


def vamp(rng):
    sheet = sheet_for(rng, (80, 150), (4, 4, 4, 3, 5, 7), pedal=0.1, rubato=0, swing=0.25)
    scene = anywhere(sheet)
    for i, seconds in enumerate(lengths(sheet, 12, 36)):
        if i:
            new = elsewhere(sheet, scene)
            move(sheet, scene, new)
            scene = new
        else:
            sheet.mark(scene)
        vamp_section(sheet, scene, seconds)
    close(sheet, scene)
    return sheet


def close(sheet, scene):
    """A last tonic, held."""
    length = float(sheet.rng.uniform(2, 4))
    chord = stack(scene, 0, "triad" if len(scene.notes()) == 7 else "fifth")
    accompany(sheet, "block", sheet.now, length, chord)
    sheet.put(sheet.now, length, scene.tonic(sheet.high), "r")
    sheet.now += length


SHUTTLES = {
    "dorian": [(0, 3)], "mixolydian": [(0, 6), (0, 6), (0, 4)], "lydian": [(0, 1)],
    "phrygian": [(0, 1)], "aeolian": [(0, 6), (0, 5, 6), (0, 6, 5, 6)], "ionian": [(0, 3), (0, 4)],
}


def shuttle(rng):
    sheet = sheet_for(rng, (70, 140))
    modes = ["dorian", "mixolydian", "lydian", "phrygian", "aeolian", "aeolian", "ionian"]
    scene = anywhere(sheet, modes)
    for i, seconds in enumerate(lengths(sheet, 12, 34)):
        if i:
            new = elsewhere(sheet, scene, modes)
            move(sheet, scene, new)
            scene = new
        else:
            sheet.mark(scene)
        loop = sheet.pick(SHUTTLES[scene.mode])
        if len(loop) == 3:
            loop = (0, 0, 5, 6)
        elif len(loop) == 4:
            loop = (0, 6, 5, 0)
        elif len(loop) == 2 and sheet.chance(0.35):
            loop = (0, 0, 0, loop[1]) if sheet.chance(0.5) else (0, 0, loop[1], 0)
        section(sheet, scene, seconds, closed=sheet.chance(0.6), loop=loop)
    close(sheet, scene)
    return sheet


def pedal_point(rng):
    sheet = sheet_for(rng, (60, 112), pedal=0.2, rubato=0.4)
    scene = anywhere(sheet, ["ionian", "mixolydian", "dorian", "aeolian", "minor"])
    for i, seconds in enumerate(lengths(sheet, 24, 50, count=sheet.pick([1, 2, 2, 3]), total=(55, 105))):
        if i:
            new = elsewhere(sheet, scene, ["ionian", "mixolydian", "dorian", "aeolian", "minor"])
            move(sheet, scene, new)
            scene = new
        else:
            sheet.mark(scene)
        if sheet.chance(0.5):
            tonic_pedal(sheet, scene, seconds)
        else:
            dominant_pedal(sheet, scene, seconds)
    close(sheet, scene)
    return sheet


def pedal_chords(sheet, scene, bars, bass, foreign, ends):
    """Moving triads over one bass; `foreign` is the chance of a chord from outside."""
    major = scene.notes()[2] == 4
    outside = [(2, "M"), (8, "M"), (10, "M"), (1, "M"), (5, "m")] if major else [(0, "M"), (2, "M"), (1, "M"), (5, "M")]
    out, degree, was_foreign = [], 0, True
    step = sheet.meter / 2 if sheet.meter == 4 and sheet.chance(0.5) else float(sheet.meter)
    count = int(bars * sheet.meter / step)
    for i in range(count):
        last = i == count - 1
        if not was_foreign and not last and sheet.chance(foreign):
            offset, quality = sheet.pick(outside)
            root = (scene.center + offset) % 12
            pcs = (root, (root + (4 if quality == "M" else 3)) % 12, (root + 7) % 12)
            out.append((sheet.now + i * step, step, Chord(pcs, bass, bend(scene.center, scene.notes(), pcs))))
            was_foreign = True
            continue
        was_foreign = False
        degree = ends if last else 0 if i % 4 == 0 and sheet.chance(0.8) else sheet.pick([0, 1, 3, 4, 5, 6, 3])
        out.append((sheet.now + i * step, step, stack(scene, degree, "triad", bass)))
    return out


def bend(center, scale, pcs):
    """The scale with a chord's foreign notes in place of their neighbours."""
    scale = list(scale)
    for pc in pcs:
        offset = (pc - center) % 12
        if offset in scale:
            continue
        sides = [i for i, x in enumerate(scale) if (x - offset) % 12 in (1, 11)]
        free = [i for i in sides if (center + scale[i]) % 12 not in pcs]
        if free or sides:
            scale[(free or sides)[0]] = offset
    return tuple(scale)


def tonic_pedal(sheet, scene, seconds):
    bars = sheet.bars(seconds, 4)
    chords = pedal_chords(sheet, scene, bars, scene.center, float(sheet.pick([0.1, 0.2, 0.3])), 0)
    lay(sheet, scene, chords, sheet.pick(["block", "pulse", "broken", "syncopated"]), phrases=sheet.chance(0.6))


def dominant_pedal(sheet, scene, seconds):
    """Context, the pedal on the fifth, and its resolution: one center throughout."""
    context = max(9.0, seconds * 0.35)
    pedal = float(np.clip(seconds * 0.3, 6.0, 11.0))
    # No pattern with fifths of its own below the tonic: the fifth comes with the pedal.
    pattern = sheet.pick(["block", "pulse", "broken", "arpeggio", "syncopated"])
    section(sheet, scene, context, pattern, closed=True)
    bars = sheet.bars(pedal)
    chords = pedal_chords(sheet, scene, bars, (scene.center + 7) % 12, 0.0, 4)
    lay(sheet, scene, chords, sheet.pick(["block", "pulse", "broken"]), phrases=sheet.chance(0.5))
    section(sheet, scene, max(9.0, seconds - context - pedal), pattern, closed=True)


def drone_section(sheet, scene, seconds, fifth, every):
    """A drone, struck again every `every` bars, with slow phrases and breaths."""
    bars = sheet.bars(seconds)
    start, end = sheet.now, sheet.now + bars * sheet.meter
    tonic = near(scene.center, sheet.low)
    keys = [tonic] + ([tonic + 7] if fifth and 7 in scene.notes() else []) + ([tonic + 12] if every % 2 else [])
    at = start
    while at < end - 1e-6:
        hold = min(every * sheet.meter, end - at)
        for key in keys:
            sheet.put(at, hold * 0.98, key)
        at += hold
    root = stack(scene, 0, "fifth") if len(scene.notes()) == 7 else None
    at = start + float(sheet.pick([0, 1, sheet.meter]))
    while at < end - 1e-6:
        length = min(sheet.meter * sheet.pick([2, 3, 4]), end - at)
        if length >= 2:
            final = (0,) if at + length > end - 1e-6 else None
            melody(sheet, scene, at, length, (lambda _: root) if root else None, final=final, breath=float(sheet.pick([0, 1, 2])) if length > 4 else 0.0)
        at += length
    sheet.now = end


def drone(rng):
    sheet = sheet_for(rng, (44, 84), (4, 3, 4, 2), pedal=0.1, rubato=0.6, swing=0, mood=sheet_mood(rng))
    chains = [
        ("lydian", "mixolydian", "dorian"), ("ionian", "mixolydian", "dorian", "aeolian"), ("dorian", "phrygian"),
        ("aeolian", "dorian"), ("mixolydian", "phrygian_dominant"), ("phrygian", "aeolian", "dorian"), ("lydian", "ionian"),
    ]
    chain = list(sheet.pick(chains))
    if sheet.chance(0.3):
        chain.reverse()
    scene = Scene(int(rng.integers(12)), chain[0])
    fifth, every = sheet.chance(0.6), int(rng.choice([1, 2, 2, 3, 4]))
    for i, seconds in enumerate(lengths(sheet, 14, 40, count=len(chain), total=(50, 110))):
        if i:
            center = scene.center
            if sheet.chance(0.2):
                center = (center + sheet.pick([2, -2, 3, -3, 5, 7])) % 12
            if sheet.chance(0.5):
                # A bar of bare drone between: still the old mode.
                for key in (0, 7) if fifth else (0,):
                    sheet.put(sheet.now, sheet.meter * 0.95, near(scene.center, sheet.low) + key)
                sheet.now += sheet.meter
            scene = Scene(center, chain[i])
        sheet.mark(scene)
        drone_section(sheet, scene, seconds, fifth, every)
    close(sheet, scene)
    return sheet


def sheet_mood(rng):
    return str(rng.choice(["calm", "even"], p=[0.65, 0.35]))


def planing(rng):
    sheet = sheet_for(rng, (66, 126), (4, 4, 3), pedal=0.25, rubato=0.2)
    scene = anywhere(sheet)
    shapes = [(0, 2, 4), (0, 2, 5), (0, 3, 5), (0, 2, 4, 6), (0, 3, 6), (0, 3, 6, 9), (0, 3, 6, 9, 11), (0, 2, 7)]
    for i, seconds in enumerate(lengths(sheet, 13, 34)):
        if i:
            new = elsewhere(sheet, scene)
            move(sheet, scene, new)
            scene = new
        else:
            sheet.mark(scene)
        planing_section(sheet, scene, seconds, sheet.pick(shapes))
    close(sheet, scene)
    return sheet


def planing_section(sheet, scene, seconds, shape):
    bars, meter = sheet.bars(seconds, 4), sheet.meter
    start, end = sheet.now, sheet.now + bars * meter
    slip = float(sheet.pick([0.0, 0.03, 0.06]))
    # The anchor: the tonic on every bar, at times with its fifth.
    hold = sheet.pick([1, 1, 2])
    for bar in range(0, bars, hold):
        base = start + bar * meter
        size = min(hold, bars - bar) * meter
        sheet.lift(base)
        sheet.put(base, size * 0.95, scene.tonic(sheet.low))
        if sheet.chance(0.4):
            sheet.put(base, size * 0.95, scene.tonic(sheet.low) + 7)
        if sheet.chance(0.3):
            sheet.put(base + size / 2, size * 0.45, scene.tonic(sheet.low) + 12)
    # The chords: a line of degrees whose bars and phrases come home.
    at, degree, slips = start, 0, 0.0
    register = sheet.mid + 5
    while at < end - 1e-6:
        left = end - at
        value = min(float(sheet.pick([0.5, 1, 1, 1.5, 2], [1, 3, 3, 1, 2] if sheet.mood != "busy" else [3, 3, 2, 1, 1])), left)
        if left <= 2.0 + 1e-6:
            degree, value = (0 if abs(degree) < 4 else 7), left
        elif abs((at - start) % (4 * meter)) < 0.26:
            degree = sheet.pick([0, 7, 4])
        else:
            options = [degree + x for x in (-3, -2, -1, 1, 2, 3) if -3 <= degree + x <= 9]
            degree = sheet.pick(options, [
                (4.0 if abs(x - degree) == 1 else 1.5 if abs(x - degree) == 2 else 0.5)
                * (2.5 if (scene.center + scene.notes()[x % 7]) % 12 in sheet.unheard else 1) for x in options
            ])
        keys = [scene.key(degree + x, register) for x in shape]
        if value >= 1 or sheet.chance(0.3):
            sheet.lift(at)
        if left > 4 and slip and sheet.chance(slip) and slips < 0.05 * (end - start):
            # A side-slip: the hand moves a semitone off and comes back.
            away = sheet.pick([1, -1])
            off = min(float(sheet.pick([0.5, 1.0])), 1.0)
            slips += off
            for shift, size in ((0, value), (away, off), (0, value)):
                size = min(size, end - at)
                sheet.lift(at)
                for key in keys:
                    if size > 0.05:
                        sheet.put(at, size * 0.95, key + shift, "m")
                at += size
            continue
        for key in keys:
            sheet.put(at, value * 0.95, key, "m")
        at += value
    sheet.now = end


def bass_moves(rng):
    sheet = sheet_for(rng, (72, 132), (4, 4, 3), pedal=0.3, rubato=0.15)
    root = int(rng.integers(12))
    if sheet.chance(0.2):
        parent = MELODIC_MINOR
        names = {0: "minor", 1: "dorian_flat2", 3: "lydian_dominant", 4: "mixolydian_flat6"}
    else:
        parent = SCALES["ionian"]
        names = {0: "ionian", 1: "dorian", 2: "phrygian", 3: "lydian", 4: "mixolydian", 5: "aeolian"}
    # One figure for the whole piece: it runs through all seven notes and rests nowhere.
    size = sheet.pick([8, 12, 16])
    top = Scene(root, "ionian", parent)
    if sheet.chance(0.5):
        figure = [int(x) for x in rng.permutation(7)] + [int(x) for x in rng.integers(0, 9, size - 7)]
    else:
        step = sheet.pick([2, 3, 4])
        figure = [i * step % 7 for i in range(7)] + [7, 5, 8, 4][: size - 7]
        figure += figure[1 : 1 + max(0, size - len(figure))]
    value = sheet.pick([0.5, 0.5, 0.25, 1 / 3]) if sheet.bpm < 100 else 0.5
    double = sheet.pick([None, None, 2, 5])
    degree = sheet.pick(list(names))
    style = sheet.pick(["held", "octaves", "repeated", "fifth"])
    i = 0
    for n, seconds in enumerate(lengths(sheet, 10, 24, total=(50, 100))):
        if n:
            others = [x for x in names if x != degree]
            degree = sheet.pick(others)
        scale = tuple((parent[(degree + x) % 7] - parent[degree]) % 12 for x in range(7))
        scene = Scene((root + parent[degree]) % 12, names[degree], scale)
        sheet.mark(scene)
        bars = sheet.bars(seconds)
        start, end = sheet.now, sheet.now + bars * sheet.meter
        bass = scene.tonic(sheet.low)
        for bar in range(bars):
            at = start + bar * sheet.meter
            if style == "held" and bar % 2 == 0:
                sheet.put(at, min(2, bars - bar) * sheet.meter * 0.98, bass)
            elif style == "octaves":
                sheet.put(at, sheet.meter * 0.95, bass)
                sheet.put(at, sheet.meter * 0.95, bass - 12 if bass > 40 else bass + 12)
            elif style == "repeated":
                for beat in range(sheet.meter):
                    sheet.put(at + beat, 0.85, bass)
            elif style == "fifth":
                sheet.put(at, sheet.meter * 0.95, bass)
                sheet.put(at + sheet.meter / 2, sheet.meter * 0.45, bass + 7)
        at = start
        while at < end - 1e-6:
            key = top.key(figure[i % len(figure)], sheet.mid + 6)
            sheet.put(at, value * 0.97, key, "r")
            if double and i % 2 == 0:
                sheet.put(at, value * 0.97, top.key(figure[i % len(figure)] + double, sheet.mid + 6), "r")
            at += value
            i += 1
        sheet.now = end
    close(sheet, scene)
    return sheet


def parallel(rng):
    sheet = sheet_for(rng, (66, 126))
    chain = sheet.pick([
        ("mixolydian", "aeolian", "phrygian"), ("ionian", "minor"), ("ionian", "lydian", "mixolydian"),
        ("dorian", "aeolian", "phrygian"), ("minor", "ionian"), ("lydian", "dorian"), ("aeolian", "mixolydian"),
        ("dorian", "mixolydian", "dorian"), ("phrygian", "ionian"), ("aeolian", "dorian", "lydian"),
    ])
    center = int(rng.integers(12))
    how = sheet.pick(["loop", "loop", "vamp", "mixed"])
    pattern = pattern_for(sheet)
    for i, seconds in enumerate(lengths(sheet, 13, 36, count=len(chain), total=(45, 100))):
        scene = Scene(center, chain[i])
        sheet.mark(scene)
        kind = how if how != "mixed" else sheet.pick(["loop", "vamp", "planing", "drone"])
        if kind == "vamp":
            vamp_section(sheet, scene, seconds)
        elif kind == "planing":
            planing_section(sheet, scene, seconds, (0, 2, 4))
        elif kind == "drone":
            drone_section(sheet, scene, seconds, True, 1)
        else:
            section(sheet, scene, seconds, pattern, closed=sheet.chance(0.7))
    close(sheet, scene)
    return sheet


def wander(rng):
    sheet = sheet_for(rng, (80, 140))
    modes = DIATONIC + ["minor"]
    scene = anywhere(sheet, modes)
    pattern = pattern_for(sheet)
    for i, seconds in enumerate(lengths(sheet, 9, 22, total=(60, 108))):
        if i:
            new = elsewhere(sheet, scene, modes, (3, -3, 4, -4, 2, -2, 6, 1, -1))
            move(sheet, scene, new)
            scene = new
            if sheet.chance(0.4):
                pattern = pattern_for(sheet)
        else:
            sheet.mark(scene)
        section(sheet, scene, seconds, pattern, closed=sheet.chance(0.7))
    close(sheet, scene)
    return sheet


def blues(rng):
    sheet = sheet_for(rng, (84, 168), (4,), pedal=0, rubato=0, swing=0.85)
    center = int(rng.integers(12))
    scene = Scene(center, "mixolydian")
    sheet.mark(scene)
    sheet.ornaments = 0.0
    left = sheet.pick(["shuffle", "walking", "boogie", "stride"])
    chorus = 48 * 60 / sheet.bpm
    count = int(np.clip(round(rng.uniform(45, 100) / chorus), np.ceil(44 / chorus), np.floor(108 / chorus)))
    for n in range(max(1, count)):
        form = [0, 0, 0, 0, 5, 5, 0, 0, 7, 5, 0, 7]
        if sheet.chance(0.5):
            form[1] = 5
        if sheet.chance(0.25):
            form[9] = 7
        if n == count - 1:
            form[11] = 0
        for bar, root in enumerate(form):
            base = sheet.now + bar * 4
            blues_bar(sheet, center, root, form[(bar + 1) % 12], base, left)
        blues_licks(sheet, center, form, rest=0 if n else int(rng.choice([0, 4])))
        sheet.now += 48
    for x in (0, 7, 12, 16, 22):
        sheet.put(sheet.now, 3.5, near(center, sheet.low) + x)
    sheet.now += 4
    return sheet


def blues_bar(sheet, center, root, following, base, left):
    bass = near((center + root) % 12, sheet.low)
    goal = near((center + following) % 12, sheet.low)
    shell = Chord(tuple((center + root + x) % 12 for x in (4, 10)), bass % 12, SCALES["mixolydian"])
    if left == "shuffle":
        for i in range(8):
            sheet.put(base + i / 2, 0.45, bass)
            sheet.put(base + i / 2, 0.45, bass + (7, 7, 9, 9, 7, 7, 10 if sheet.chance(0.3) else 9, 9)[i])
    elif left == "boogie":
        for i, x in enumerate((0, 4, 7, 9, 10, 9, 7, 4)):
            sheet.put(base + i / 2, 0.5, bass + x)
    elif left == "walking":
        approach = goal + sheet.pick([1, -1, 2, -2, 7 if goal < bass else -5])
        line = [0, *sheet.pick([(4, 7), (7, 9), (2, 4), (10, 7), (4, 5), (-2, -5)])]
        for i, key in enumerate([bass + x for x in line] + [approach]):
            sheet.put(base + i, 0.92, key)
    else:
        for i in range(4):
            if i % 2 == 0:
                sheet.put(base + i, 0.85, bass if i == 0 else bass - 5)
    if left != "shuffle" and left != "boogie":
        keys = sheet.voicing(shell)
        for at in sheet.pick([(1, 3), (0, 1.5), (1.5, 3.5), (0,), (2.5,)]):
            for key in keys:
                sheet.put(base + at, 0.5 if at else 1.2, key, "m")


def blues_licks(sheet, center, form, rest):
    """Two-bar calls and answers from the blues scale and the chord's third."""
    tonic = near(center, sheet.high)
    scale = (0, 3, 5, 6, 7, 10)
    at = rest
    while at < 48:
        root = form[int(at // 4)]
        degree = int(sheet.rng.choice([0, 4, 5, 6]))
        length = float(sheet.pick([5, 6, 7, 9, 11]))
        beat = float(sheet.pick([0, 0.5, 1]))
        while beat < length and at + beat < 47.5:
            value = float(sheet.pick([0.5, 1, 1.5], [5, 2, 1]))
            degree = int(np.clip(degree + sheet.pick([-2, -1, 1, 2], [1, 4, 4, 1]), -3, 9))
            root = form[int((at + beat) // 4)]
            closing = beat + value >= length
            if closing:
                degree, value = (0 if degree < 4 else 6), 1.5
            offset = scale[degree % 6]
            # The third is struck from below: minor, then major, over the tonic's chord.
            if offset == 3 and root == 0 and sheet.chance(0.6):
                if sheet.chance(0.5):
                    sheet.put(sheet.now + at + beat, 0.12, tonic + 3 + 12 * (degree // 6), "r")
                offset = 4
            if offset == 6 and not sheet.chance(0.4):
                offset = 7
            if root == 5 and offset == 10 and sheet.chance(0.3):
                offset = 9
            sheet.put(sheet.now + at + beat, value * 0.9, tonic + offset + 12 * (degree // 6), "r")
            beat += value
        at += 4 * int(np.ceil((length + 1) / 4))


QUALITIES = {
    "M": (0, 4, 7), "m": (0, 3, 7), "7": (0, 4, 7, 10), "m7": (0, 3, 7, 10), "M7": (0, 4, 7, 11), "h7": (0, 3, 6, 10),
    "o7": (0, 3, 6, 9), "9": (0, 4, 10, 14), "m9": (0, 3, 10, 14), "M9": (0, 4, 11, 14), "13": (0, 4, 10, 21), "o": (0, 3, 6),
    "6": (0, 4, 7, 9),
}
# (root above the tonic, quality, share of a bar, bass above the tonic if not the root)
MAJOR_PHRASES = [
    [(0, "M", 1), (5, "M", 1), (7, "7", 1), (0, "M", 1)],
    [(0, "M", 1), (9, "m", 1), (2, "m7", 0.5), (7, "7", 0.5), (0, "M", 1)],
    [(0, "M", 1), (9, "7", 0.5), (2, "m", 0.5), (7, "7", 1), (0, "M", 1)],
    [(0, "M", 0.5), (0, "7", 0.5), (5, "M", 1), (0, "M", 0.5, 7), (7, "7", 0.5), (0, "M", 1)],
    [(0, "M", 1), (4, "7", 0.5), (9, "m", 0.5), (2, "m", 0.5), (7, "7", 0.5), (0, "M", 1)],
    [(0, "M", 1), (2, "7", 0.5), (7, "M", 0.5), (7, "7", 1), (0, "M", 1)],
    [(0, "M", 1), (11, "o", 0.5, 2), (0, "M", 0.5, 4), (5, "M", 0.5), (7, "7", 0.5), (0, "M", 1)],
]
MINOR_PHRASES = [
    [(0, "m", 1), (5, "m", 1), (7, "7", 1), (0, "m", 1)],
    [(0, "m", 1), (8, "M", 1), (2, "h7", 0.5), (7, "7", 0.5), (0, "m", 1)],
    [(0, "m", 0.5), (0, "7", 0.5), (5, "m", 1), (7, "7", 1), (0, "m", 1)],
    [(0, "m", 1), (5, "m", 0.5), (10, "7", 0.5), (3, "M", 0.5), (8, "M", 0.5), (2, "h7", 0.5), (7, "7", 0.5), (0, "m", 1)],
    [(0, "m", 1), (11, "o7", 0.5), (0, "m", 0.5, 3), (5, "m", 0.5), (7, "7", 0.5), (0, "m", 1)],
    [(0, "m", 1), (10, "M", 0.5), (8, "M", 0.5), (7, "7", 1), (0, "m", 1)],
]
JAZZ_MAJOR = [
    [(2, "m9", 1), (7, "13", 1), (0, "M9", 2)],
    [(0, "M7", 0.5), (9, "7", 0.5), (2, "m9", 0.5), (7, "9", 0.5), (0, "M9", 2)],
    [(0, "M9", 1), (5, "M7", 1), (2, "m7", 1), (7, "13", 1), (0, "6", 2)],
]
JAZZ_MINOR = [
    [(2, "h7", 1), (7, "7", 1), (0, "m9", 2)],
    [(0, "m7", 1), (5, "m9", 1), (2, "h7", 1), (7, "7", 1), (0, "m9", 2)],
]


def spell_out(scene, phrase, sheet):
    natural = SCALES["ionian"] if scene.mode == "ionian" else SCALES["aeolian"]
    out, at = [], sheet.now
    for root, quality, share, *bass in phrase:
        pcs = tuple((scene.center + root + x) % 12 for x in QUALITIES[quality])
        low = (scene.center + (bass[0] if bass else root)) % 12
        # Half a bar of an odd meter: the longer half first.
        length = share * sheet.meter
        if share == 0.5 and sheet.meter % 2:
            length = sheet.meter // 2 + (1 if not out or (at - sheet.now) % sheet.meter == 0 else 0)
        out.append((at, float(length), Chord(pcs, low, bend(scene.center, natural, pcs))))
        at += length
    return out


def functional(rng):
    jazz = rng.random() < 0.3
    sheet = sheet_for(rng, (88, 140) if jazz else (84, 132), (4,) if jazz else (4, 3, 4), swing=0.7 if jazz else 0)
    modes = ["ionian", "ionian", "minor"]
    scene = anywhere(sheet, modes)
    pattern = sheet.pick(["block", "syncopated", "pulse"]) if jazz else pattern_for(sheet)
    tables = {"ionian": JAZZ_MAJOR, "minor": JAZZ_MINOR} if jazz else {"ionian": MAJOR_PHRASES, "minor": MINOR_PHRASES}
    for i, seconds in enumerate(lengths(sheet, 16, 42, count=sheet.pick([1, 2, 2, 3]), total=(48, 100))):
        if i:
            mode = sheet.pick(modes)
            step = sheet.pick([7, 5, 9 if mode == "minor" else 3, 2, 4, 8], [3, 2, 3, 1, 1, 1])
            new = Scene((scene.center + step) % 12, mode)
            # The new dominant, then the cadence that confirms it.
            sheet.mark(new)
            third = "M" if mode == "ionian" else "m"
            lay(sheet, new, spell_out(new, [(7, "7", 1), (0, third, 1)], sheet), pattern, phrases=False)
            scene = new
        else:
            sheet.mark(scene)
            if jazz:
                lay(sheet, scene, spell_out(scene, [(0, "M7" if scene.mode == "ionian" else "m7", 2)], sheet), pattern, phrases=False)
        end = sheet.now + sheet.beats(seconds)
        while sheet.now < end - sheet.meter:
            lay(sheet, scene, spell_out(scene, sheet.pick(tables[scene.mode]), sheet), pattern)
    close(sheet, Scene(scene.center, "ionian" if scene.mode == "ionian" else "aeolian"))
    return sheet


def solo_line(rng):
    chant = rng.random() < 0.5
    sheet = sheet_for(rng, (70, 110) if chant else (100, 150), (4,) if chant else (3, 4), pedal=0, rubato=0.9 if chant else 0, swing=0, mood="even")
    sheet.high = int(rng.integers(55, 76))
    scene = anywhere(sheet)
    count = sheet.pick([1, 2, 2, 3])
    for i, seconds in enumerate(lengths(sheet, 20, 60, count=count, total=(48, 100) if count > 1 else (46, 60))):
        if i:
            scene = elsewhere(sheet, scene, intervals=(2, -2, 5, -5, 3, -3, 4))
        sheet.mark(scene)
        end = sheet.now + sheet.beats(seconds)
        (chant_phrases if chant else dance_tune)(sheet, scene, end)
    return sheet


def chant_phrases(sheet, scene, end):
    """Intonation from the final, a reciting tone on the fifth (or third), and down again."""
    reciting = sheet.pick([4, 4, 4, 2])
    while sheet.now < end - 4:
        last = sheet.now > end - 22
        line = sheet.pick([[0, 1, reciting - 1], [0, 2], [0, -1, 0, reciting - 2], [0, 0, 1], [reciting, reciting + 1]])
        line = line + [reciting] * int(sheet.rng.integers(1, 4))
        degree = reciting
        for _ in range(int(sheet.rng.integers(2, 7))):
            options = [d for d in (-2, -1, 1, 2) if -2 <= degree + d <= 8]
            degree += sheet.pick(options, [
                (4 if abs(d) == 1 else 1.3) * (3 if (scene.center + scene.notes()[(degree + d) % 7]) % 12 in sheet.unheard else 1) for d in options
            ])
            line.append(degree)
        goal = 0 if last or sheet.chance(0.65) else reciting
        while abs(degree - goal) > 1:
            degree += 1 if goal > degree else -1
            line.append(degree)
        if goal == 0 and sheet.chance(0.3):
            line.append(-1)
        line.append(goal)
        for i, d in enumerate(line):
            value = 3.0 if i == len(line) - 1 else float(sheet.pick([0.5, 1, 1, 1.5], [3, 5, 5, 1]))
            sheet.put(sheet.now, value * 0.97, scene.key(d, sheet.high), "r")
            sheet.now += value
        sheet.slowings.append((sheet.now - 4, sheet.now, 0.12))
        sheet.now += float(sheet.pick([0.5, 1, 1.5]))
        if last and sheet.now > end - 4:
            break


def dance_tune(sheet, scene, end):
    """Strains of two four-bar phrases, each played twice; the second ends on the final."""
    meter = sheet.meter
    value = 1 / 3 if meter == 3 else 0.5
    per_beat = 3 if meter == 3 else 2
    high = 0
    while sheet.now < end - meter:
        first = strain(sheet, scene, meter, per_beat, high, open_end=True)
        second = first[: len(first) // 2] + strain(sheet, scene, meter, per_beat, high, open_end=False)[len(first) // 2 :]
        for line in (first, second) * sheet.pick([1, 2]):
            for at, d, size in line:
                sheet.put(sheet.now + at * value, size * value * 0.93, scene.key(d, sheet.high), "r")
            sheet.now += 4 * meter
        high = sheet.pick([0, 3, 4])


def strain(sheet, scene, meter, per_beat, high, open_end):
    """Four bars as (place, degree, size) in the dance's smallest values."""
    bar = meter * per_beat
    degree = sheet.pick([0, 0, 4]) + (0 if not high else high)
    out = []
    for i in range(4 * bar):
        beat = i % per_beat == 0
        if i >= 4 * bar - per_beat * 2:
            if i == 4 * bar - per_beat * 2:
                goal = sheet.pick([4, 1, 0]) if open_end else 0
                out.append((i, goal if degree < 6 or goal else 7, per_beat * 2))
            continue
        options = [d for d in range(degree - 4, degree + 5) if -3 <= d <= 9]
        if i == 0:
            options = [degree]
        elif i == 4 * bar - per_beat * 2 - 1:
            options = [d for d in options if d % 7 in (6, 1, 2)] or options
        elif i % bar == 0:
            options = [d for d in options if d % 7 in (0, 2, 4)] or options
        weights = [
            {0: 0.5, 1: 6, 2: 3, 3: 0.9, 4: 0.7}[abs(d - degree)] * ((3 if d % 7 == 0 else 1.8 if d % 7 == 4 else 1) if beat else 1)
            * (2.5 if (scene.center + scene.notes()[d % 7]) % 12 in sheet.unheard else 1) for d in options
        ]
        degree = sheet.pick(options, weights)
        sheet.unheard.discard((scene.center + scene.notes()[degree % 7]) % 12)
        if beat and i % bar and sheet.chance(0.15) and out:
            out[-1] = (out[-1][0], out[-1][1], out[-1][2] + 1)
            continue
        out.append((i, degree, 1))
    return out


CADENCES = {
    "dorian": [6, 3, 4], "phrygian": [1, 6, 1], "mixolydian": [6, 4, 3], "lydian": [1, 4, 6],
    "aeolian": [6, 3, 4], "ionian": [4, 3, 4], "minor": [4, 4],
}


def chorale(rng):
    sheet = sheet_for(rng, (46, 80), (4, 4, 3), pedal=0.1, rubato=0.5, swing=0)
    modes = DIATONIC + ["minor"]
    scene = anywhere(sheet, modes)
    count = sheet.pick([1, 2, 2, 3])
    for i, seconds in enumerate(lengths(sheet, 18, 60, count=count, total=(46, 100) if count > 1 else (46, 58))):
        if i:
            scene = elsewhere(sheet, scene, modes)
        sheet.mark(scene)
        end = sheet.now + sheet.beats(seconds)
        while sheet.now < end - 3:
            chorale_phrase(sheet, scene, last=sheet.now > end - 16)
    return sheet


def chorale_phrase(sheet, scene, last):
    roots = [0]
    for _ in range(int(sheet.rng.integers(4, 7))):
        # By fifths, thirds and steps, and home again now and then.
        nxt = sheet.pick([(roots[-1] + x) % 7 for x in (3, 4, 5, 2, 1, 6)] + [0], [3, 2, 2, 1, 1.5, 1.5, 3])
        if scene.notes()[nxt] != 0 and (stack(scene, nxt).pcs[0] + 7) % 12 not in stack(scene, nxt).pcs:
            nxt = 0
        roots.append(nxt)
    half = not last and sheet.chance(0.25)
    roots += [4] if half else [sheet.pick(CADENCES[scene.mode]), 0]
    for i, degree in enumerate(roots):
        end = i == len(roots) - 1
        length = float(sheet.pick([2, 3])) if end else float(sheet.pick([1, 2], [5, 1]))
        chord = stack(scene, degree)
        bass = near(chord.pcs[0], sheet.low + 4)
        if not end and i and sheet.chance(0.2):
            bass = near(chord.pcs[1], sheet.low + 4)
        keys = sheet.voicing(chord, sheet.mid + 3)
        sheet.lift()
        sheet.put(sheet.now, length * 0.97, bass)
        for key in keys[:-1]:
            sheet.put(sheet.now, length * 0.97, key, "m")
        # A passing note in the soprano at times.
        if not end and length >= 1 and sheet.chance(0.25):
            below = max((k for k in range(keys[-1] - 2, keys[-1]) if k % 12 in scene.pcs()), default=keys[-1])
            sheet.put(sheet.now, length / 2, keys[-1], "r")
            sheet.put(sheet.now + length / 2, length / 2, below, "r")
        else:
            sheet.put(sheet.now, length * 0.97, keys[-1], "r")
        sheet.now += length
    sheet.slowings.append((sheet.now - 3, sheet.now, 0.1))
    sheet.lift()
    sheet.now += float(sheet.pick([0, 0, 0.5, 1]))


def left_hand_patterns(rng):
    sheet = sheet_for(rng, (76, 144), (4, 3, 4), pedal=0.35, rubato=0.3)
    modes = DIATONIC + ["minor", "phrygian_dominant", "mixolydian_flat6"]
    pattern = sheet.pick(["waltz", "tenths", "arpeggio"] if sheet.meter == 3 else ["alberti", "stride", "tenths", "arpeggio", "broken"])
    if pattern == "stride":
        sheet.swing = float(rng.uniform(0.54, 0.64))
    scene = anywhere(sheet, modes)
    for i, seconds in enumerate(lengths(sheet, 13, 36)):
        if i:
            new = elsewhere(sheet, scene, modes)
            move(sheet, scene, new)
            scene = new
        else:
            sheet.mark(scene)
        section(sheet, scene, seconds, pattern, closed=sheet.chance(0.75), wait=sheet.pick([0, 0, 1]))
    close(sheet, scene)
    return sheet


RARE = {
    "phrygian_dominant": 3, "lydian_dominant": 3, "mixolydian_flat6": 2.5, "dorian_flat2": 2, "dorian_sharp4": 2,
    "ionian_flat6": 2, "mixolydian_flat2": 1, "lydian_flat3": 1, "lydian_augmented": 1, "lydian_sharp2": 0.7,
    "major_pentatonic": 3, "minor_pentatonic": 3, "suspended_pentatonic": 1.5, "blues": 3,
    "minor/harmonic": 2, "minor/melodic": 2, "locrian_nat2": 0.7,
}


def rare(rng, turn):
    """The first mode goes round by `turn`, so that none is left out; the others are drawn."""
    sheet = sheet_for(rng, (56, 120), (4, 4, 3), rubato=0.3)
    center = int(rng.integers(12))

    def draw(mode=None):
        mode = mode or sheet.pick(list(RARE), list(RARE.values()))
        scales = {"minor/harmonic": HARMONIC_MINOR, "minor/melodic": MELODIC_MINOR}
        return Scene(center, mode.split("/")[0], scales.get(mode, ()))

    scene = None
    for i, seconds in enumerate(lengths(sheet, 16, 50, count=sheet.pick([1, 2, 2, 3]), total=(48, 100))):
        if i and sheet.chance(0.6):
            center = (center + sheet.pick([2, -2, 3, -3, 4, -4, 5, 7])) % 12
        old, scene = scene, draw(None if i else list(RARE)[turn % len(RARE)])
        while old and (scene.center, scene.mode) == (old.center, old.mode):
            scene = draw()
        sheet.mark(scene)
        if sheet.chance(0.5):
            drone_section(sheet, scene, seconds, sheet.chance(0.5), int(rng.choice([1, 1, 2])))
        else:
            vamp_section(sheet, scene, seconds)
    close(sheet, scene)
    return sheet


def none(rng):
    sheet = sheet_for(rng, (72, 126), (4,), rubato=0, swing=0)
    kind = sheet.pick(["notes", "clusters", "rows", "whole-tone", "octatonic"])
    before, after = sheet.chance(0.5), sheet.chance(0.5)
    scene = anywhere(sheet)
    if before:
        sheet.mark(scene)
        section(sheet, scene, float(rng.uniform(14, 22)), closed=True)
        if sheet.chance(0.5):
            sheet.now += 2
    mode = kind if kind in ("whole-tone", "octatonic") else "none" if kind == "clusters" else "chromatic"
    sheet.mark(None, mode)
    centerless(sheet, kind, float(rng.uniform(24, 40)) + (0 if before or after else 22) + (0 if before and after else 4))
    if after:
        if sheet.chance(0.5):
            sheet.now += 2
        scene = elsewhere(sheet, scene)
        sheet.mark(scene)
        section(sheet, scene, float(rng.uniform(14, 22)), closed=True)
        close(sheet, scene)
    return sheet


def centerless(sheet, kind, seconds):
    """Playing in which no note is a home: no bass, ending or accent prefers one."""
    rng = sheet.rng
    end = sheet.now + sheet.beats(seconds)
    if kind == "clusters":
        while sheet.now < end:
            low = int(rng.integers(33, 88))
            length = float(sheet.pick([0.5, 1, 2, 3]))
            for key in range(low, low + int(rng.integers(3, 8))):
                sheet.put(sheet.now, length * 0.9, key, "m")
            sheet.now += length + float(sheet.pick([0, 0.5, 1]))
    elif kind == "rows":
        row = rng.permutation(12)
        while sheet.now < end:
            form = sheet.pick([row, row[::-1], (2 * row[0] - row) % 12])
            form = (form + int(rng.integers(12))) % 12
            i = 0
            while i < 12:
                together = int(rng.choice([1, 1, 1, 2, 3]))
                length = float(sheet.pick([0.5, 1, 1.5]))
                for pc in form[i : i + together]:
                    sheet.put(sheet.now, length * 0.9, near(int(pc), int(rng.integers(42, 86))), "r")
                i += together
                sheet.now += length
    elif kind == "notes":
        while sheet.now < end:
            length = float(sheet.pick([0.25, 0.5, 0.5, 1]))
            for _ in range(int(rng.choice([1, 1, 2]))):
                sheet.put(sheet.now, length, int(rng.integers(36, 92)), "r")
            sheet.now += length
    else:
        # Every group of chord and run begins on another note of the collection.
        scale = WHOLE_TONE if kind == "whole-tone" else OCTATONIC
        base = int(rng.integers(12))
        size = len(scale)
        order = list(rng.permutation(size))
        n = 0
        while sheet.now < end:
            if n % size == 0:
                order = list(rng.permutation(size))
            top = Scene(base, "ionian", scale)
            place = int(order[n % size])
            n += 1
            for x in (0, 2, 4) if sheet.chance(0.7) else (0, 3):
                sheet.put(sheet.now, 3.8, top.key(place + x, 50), "l")
            degree = place + size
            for i in range(8 if sheet.mood != "calm" else 4):
                degree = int(np.clip(degree + sheet.pick([-2, -1, 1, 2, 3, -3]), 3, 3 * size))
                value = 0.5 if sheet.mood != "calm" else 1.0
                sheet.put(sheet.now + i * value, value, top.key(degree, 60), "r")
            sheet.now += 4


def silence(rng):
    sheet = sheet_for(rng, (66, 120), (4, 3))
    modes = DIATONIC + ["minor"]
    scene = anywhere(sheet, modes)
    sheet.mark(scene)
    count = sheet.pick([4, 5, 6])
    for i in range(count):
        if i:
            sheet.now += sheet.beats(float(rng.uniform(2.2, 6.0)))
            if sheet.chance(0.45):
                scene = elsewhere(sheet, scene, modes)
                sheet.mark(scene)
        kind = sheet.pick(["loop", "loop", "chorale", "vamp"])
        seconds = float(rng.uniform(9, 13))
        if kind == "chorale":
            stop = sheet.now + sheet.beats(seconds)
            while sheet.now < stop - 4:
                chorale_phrase(sheet, scene, last=True)
        elif kind == "vamp":
            vamp_section(sheet, scene, seconds)
        else:
            section(sheet, scene, seconds, closed=True)
    return sheet


PLAYERS = {
    "vamp": vamp, "shuttle": shuttle, "pedal_point": pedal_point, "drone": drone, "planing": planing,
    "bass_moves": bass_moves, "parallel": parallel, "wander": wander, "blues": blues, "functional": functional,
    "solo_line": solo_line, "chorale": chorale, "left_hand_patterns": left_hand_patterns, "rare": rare,
    "none": none, "silence": silence,
}


# Performing ----------------------------------------------------------------------------


def clock(sheet):
    """From beats to seconds: the tempo drifts, slows at phrase ends, and may swing."""
    end = max(sheet.now, max(b for _, b, _, _ in sheet.notes)) + 8
    grid = np.arange(0, end + 0.25, 0.25)
    drift, value = np.zeros(len(grid)), 0.0
    depth = 0.02 if sheet.rubato else 0.005
    for i in range(len(grid)):
        value = 0.93 * value + float(sheet.rng.normal(0, depth))
        drift[i] = np.clip(value, -0.12, 0.12)
    for start, stop, slow in sheet.slowings:
        inside = (grid >= start) & (grid < stop)
        drift[inside] += slow * (grid[inside] - start) / max(0.25, stop - start)
    steps = np.exp(drift) * 0.25 * 60.0 / sheet.bpm
    at = np.concatenate([[0.0], np.cumsum(steps)[:-1]])

    def seconds(beat):
        whole = np.floor(beat)
        part = beat - whole
        s = sheet.swing
        part = part / 0.5 * s if part < 0.5 else s + (part - 0.5) / 0.5 * (1 - s)
        return float(np.interp(whole + part, grid, at))

    return seconds


def perform(sheet):
    """Notes and segments in seconds."""
    rng = sheet.rng
    seconds = clock(sheet)
    lead = float(rng.uniform(0.0, 0.02))
    pedals = sorted(set(sheet.pedals))
    played = []
    for beat, end, key, hand in sorted(sheet.notes):
        on = seconds(beat) + float(rng.normal(0, sheet.jitter)) - (lead if hand == "r" else 0.0)
        off = seconds(end) + float(rng.normal(0, sheet.jitter))
        if pedals:
            i = int(np.searchsorted(pedals, beat + 1e-6))
            if i < len(pedals) and pedals[i] - beat < 9:
                off = max(off, seconds(pedals[i]) + sheet.blur)
        off = max(off, on + 0.05)
        if rng.random() < sheet.wrong:
            slip = key + int(rng.choice([-1, 1]))
            # Held notes are always put right at once.
            if off - on > 1.5 or rng.random() < 0.5:
                played.append((on, on + min(0.12, off - on), slip))
                on += 0.09
                off = max(off, on + 0.05)
            else:
                played.append((on, min(off, on + 0.6), slip))
                continue
        played.append((on, off, key))
    played.sort()
    first = played[0][0]
    last_on = {}
    notes = []
    for on, off, key in played:
        # A key that is struck again must have been let go.
        if key in last_on:
            i = last_on[key]
            if on - first - notes[i][0] < 0.045:
                notes[i][1] = max(notes[i][1], off - first)
                continue
            notes[i][1] = min(notes[i][1], on - first - 0.008)
            notes[i][1] = max(notes[i][1], notes[i][0] + 0.03)
        last_on[key] = len(notes)
        notes.append([on - first, off - first, key])
    end = max(off for _, off, _ in notes)
    marks = []
    for beat, center, mode, scale in sheet.marks:
        start = max(0.0, seconds(beat) - first)
        if marks and marks[-1][1] == center is not None:
            # The center stays: the first note that was not in the old scale tells of the change.
            fresh = scale - marks[-1][3]
            start = min((on for on, _, key in notes if on >= start - 0.05 and key % 12 in fresh), default=start)
        marks.append((start, center, mode, scale))
    segments = []
    for i, (start, center, mode, _) in enumerate(marks):
        stop = marks[i + 1][0] if i + 1 < len(marks) else end
        if segments and (segments[-1]["center"], segments[-1]["mode"]) == (center, mode):
            segments[-1]["end"] = round(stop, 4)
            continue
        segments.append({"start": round(0.0 if i == 0 else start, 4), "end": round(stop, 4), "center": center, "mode": mode})
    return [(round(a, 4), round(b, 4), k) for a, b, k in notes], segments


def audible(notes, segment):
    """Whether a segment is long enough to be heard and has its mode's characteristic notes."""
    start, end = segment["start"], segment["end"]
    if end - start < 6.0:
        return False
    if segment["center"] is None:
        return True
    length = np.zeros(12)
    for a, b, k in notes:
        if start - 0.05 <= a < end:
            length[(k - segment["center"]) % 12] += b - a
    return all(length[x] > 0.006 * length.sum() for x in TELLING[segment["mode"]])


def take(seed, family=None):
    """One labelled piece; the same for the same seed (and family)."""
    family = family or FAMILIES[seed % len(FAMILIES)]
    if family not in PLAYERS:
        raise ValueError(f"no family called {family}; there are {', '.join(FAMILIES)}")
    # A draw that comes out too short or too long, or whose label is not to be heard, is
    # drawn again.
    for attempt in range(50):
        rng = np.random.default_rng([SALT, seed, FAMILIES.index(family), attempt])
        player = PLAYERS[family]
        sheet = player(rng, seed // len(FAMILIES)) if player is rare else player(rng)
        notes, segments = perform(sheet)
        if SHORTEST <= segments[-1]["end"] <= LONGEST and all(audible(notes, s) for s in segments):
            return {"name": f"{family}-{seed:04d}", "family": family, "notes": notes, "segments": segments}
    raise RuntimeError(f"{family}, seed {seed}: no piece of {SHORTEST:g} to {LONGEST:g} s in 50 draws")


# Music without a center ----------------------------------------------------------------


def negatives(seed, minutes=10):
    """Three kinds of playing in which nothing should be established, as note lists."""
    return {
        kind: maker(np.random.default_rng([SALT, seed, 100 + i]), minutes * 60.0)
        for i, (kind, maker) in enumerate(
            [("random-notes", _random_notes), ("random-clusters", _random_clusters), ("drums", _drums)]
        )
    }


def _release(notes):
    """Lets a key go before it is struck again."""
    out, last = [], {}
    for on, off, key in sorted(notes):
        if key in last:
            i = last[key]
            if on - out[i][0] < 0.04:
                continue
            out[i] = (out[i][0], min(out[i][1], on - 0.005), key)
        last[key] = len(out)
        out.append((round(on, 4), round(off, 4), key))
    return [(a, round(b, 4), k) for a, b, k in out]


def _random_notes(rng, length):
    notes, at = [], 0.0
    while at < length:
        for _ in range(int(rng.choice([1, 1, 1, 2]))):
            notes.append((at, at + float(rng.uniform(0.1, 0.9)), int(rng.integers(30, 97))))
        at += float(rng.uniform(0.08, 0.6))
    return _release(notes)


def _random_clusters(rng, length):
    notes, at = [], 0.0
    while at < length:
        low, size = int(rng.integers(28, 92)), int(rng.integers(3, 9))
        hold = float(rng.uniform(0.15, 2.0))
        notes += [(at + float(rng.uniform(0, 0.02)), at + hold, k) for k in range(low, low + size)]
        at += hold * float(rng.uniform(0.6, 1.5)) + 0.1
    return _release(notes)


def _drums(rng, length):
    """Kits of 5 to 8 keys with three neighbouring semitones, struck on a grid at random."""
    notes, at = [], 0.0
    while at < length:
        while True:
            kit = rng.choice(np.arange(35, 60), int(rng.integers(5, 9)), replace=False)
            pcs = {int(k) % 12 for k in kit}
            if len(pcs) == len(kit) and any({p, (p + 1) % 12, (p + 2) % 12} <= pcs for p in range(12)):
                break
        step = 60.0 / float(rng.uniform(80, 150)) / 4
        stop = min(length, at + float(rng.uniform(15, 40)))
        while at < stop:
            for key in kit:
                if rng.random() < 1.1 / len(kit):
                    on = at + float(rng.uniform(0, 0.01))
                    notes.append((on, on + float(rng.uniform(0.05, 0.15)), int(key)))
            at += step * int(rng.choice([1, 1, 2]))
    return _release(notes)


# Files ---------------------------------------------------------------------------------


def write_midi(notes, path):
    """A Standard MIDI File at a quarter of 0.5 s, 1000 ticks a quarter."""
    import mido

    events = []
    for on, off, key in notes:
        events.append((round(on * 2000), 1, key))
        events.append((max(round(off * 2000), round(on * 2000) + 1), 0, key))
    events.sort()
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=500_000, time=0)])
    now = 0
    for tick, on, key in events:
        track.append(mido.Message("note_on" if on else "note_off", note=key, velocity=72 if on else 0, time=tick - now))
        now = tick
    midi = mido.MidiFile(ticks_per_beat=1000)
    midi.tracks.append(track)
    midi.save(str(path))


def label(piece):
    """What labels.json says of a piece: places without a center stand under "none"."""
    out = {
        "name": piece["name"],
        "source": "tests/training/held_out.py",
        "kind": f"playing-{piece['family']}",
        "segments": [s for s in piece["segments"] if s["center"] is not None],
    }
    out["none"] = [[s["start"], s["end"]] for s in piece["segments"] if s["center"] is None]
    return out


# Checking ------------------------------------------------------------------------------

# How much of a segment's time must lie inside its mode. The blues and chords from
# outside over a pedal leave it on purpose, functional harmony a little.
INSIDE = {"blues": 0.70, "pedal_point": 0.75, "functional": 0.80, "none": 0.85}
# How much of a family's labelled time the center should be the lowest note.
BASS = {
    "vamp": 0.45, "shuttle": 0.4, "pedal_point": 0.45, "drone": 0.8, "planing": 0.8, "bass_moves": 0.8,
    "parallel": 0.4, "wander": 0.4, "blues": 0.25, "functional": 0.3, "solo_line": 0.12, "chorale": 0.2,
    "left_hand_patterns": 0.4, "rare": 0.6, "none": 0.3, "silence": 0.35,
}


def content(notes, start, end):
    """Seconds of each pitch class, and of each as the lowest sounding, in a span."""
    total, low = np.zeros(12), np.zeros(12)
    inside = [(max(a, start), min(b, end), k) for a, b, k in notes if a < end and b > start]
    for a, b, k in inside:
        total[k % 12] += b - a
    edges = sorted({x for a, b, _ in inside for x in (a, b)})
    sounding = sorted(inside)
    for a, b in zip(edges, edges[1:]):
        keys = [k for x, y, k in sounding if x <= a and y >= b]
        if keys:
            low[min(keys) % 12] += b - a
    return total, low


def read_back(notes):
    """The notes of the MIDI file that we write, as mido plays them."""
    import mido

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "piece.mid"
        write_midi(notes, path)
        out, down, now = [], {}, 0.0
        for message in mido.MidiFile(path):
            now += message.time
            if message.type == "note_on" and message.velocity:
                down[message.note] = now
            elif message.type in ("note_on", "note_off"):
                out.append((down.pop(message.note), now, message.note))
    return sorted(out)


def check(count):
    """Everything that a label promises, on `count` pieces. Returns the complaints."""
    faults = []
    rows = {f: dict(n=0, s=0, inside=[], least=1.0, bass=[], lead=0, seen=[], late=[], fit=0, diatonic=0, length=[], notes=0) for f in FAMILIES}
    for seed in range(count):
        piece = take(seed)
        name, family, notes, segments = (piece[k] for k in ("name", "family", "notes", "segments"))
        row = rows[family]
        row["n"] += 1
        row["notes"] += len(notes)
        if take(seed) != piece:
            faults.append(f"{name}: two takes differ")
        if any(b - a <= 0 for a, b, _ in notes):
            faults.append(f"{name}: a note without length")
        if any(not LOWEST <= k <= HIGHEST for _, _, k in notes):
            faults.append(f"{name}: a note off the keyboard")
        by_key = {}
        for a, b, k in notes:
            if a < by_key.get(k, -1.0):
                faults.append(f"{name}: key {k} struck while down at {a}")
            by_key[k] = b
        if seed < len(FAMILIES):
            ours, back = (sorted(x, key=lambda n: (n[2], n[0])) for x in (notes, read_back(notes)))
            # A file's tick is half a millisecond.
            if len(ours) != len(back) or any(
                x[2] != y[2] or abs(x[0] - y[0]) > 0.001 or abs(x[1] - y[1]) > 0.001 for x, y in zip(ours, back)
            ):
                faults.append(f"{name}: the MIDI file holds other notes")
        end = max(b for _, b, _ in notes)
        row["length"].append(end)
        if segments[0]["start"] != 0 or abs(segments[-1]["end"] - end) > 0.001:
            faults.append(f"{name}: segments do not cover the piece")
        if any(abs(a["end"] - b["start"]) > 1e-6 for a, b in zip(segments, segments[1:])):
            faults.append(f"{name}: segments with a gap")
        # The time without a sounding note, gap by gap.
        rests, sounding = [], 0.0
        for a, b, _ in notes:
            if a > sounding:
                rests.append(a - sounding)
            sounding = max(sounding, b)
        if family == "silence" and sum(1 for x in rests if 1.8 <= x <= 7.5) < 3:
            faults.append(f"{name}: rests of {', '.join(f'{x:.1f}' for x in rests if x > 1)} s only")
        if not SHORTEST <= end <= LONGEST:
            faults.append(f"{name}: {end:.1f} s long")
        for s in segments:
            if s["end"] - s["start"] < (8 if family == "bass_moves" else 6):
                faults.append(f"{name}: a segment of {s['end'] - s['start']:.1f} s")
            if s["center"] is None:
                continue
            total, low = content(notes, s["start"], s["end"])
            relative = np.roll(total, -s["center"]) / total.sum()
            inside = sum(relative[x] for x in NOTES[s["mode"]])
            row["s"] += 1
            row["inside"].append(inside)
            row["least"] = min(row["least"], inside)
            if inside < INSIDE.get(family, 0.85):
                faults.append(f"{name}: {inside:.2f} of {s} is inside its mode")
            row["bass"].append(low[s["center"]] / low.sum())
            row["lead"] += int(low.argmax() == s["center"])
            heard = [x for x in NOTES[s["mode"]] if relative[x] > 0.004]
            row["seen"].append(len(heard) / len(NOTES[s["mode"]]))
            missing = [x for x in TELLING[s["mode"]] if relative[x] < 0.004]
            if missing and family != "blues":
                faults.append(f"{name}: {s} without its characteristic note {missing}")
            for x in TELLING[s["mode"]]:
                first = min((a for a, b, k in notes if a >= s["start"] - 0.05 and (k - s["center"]) % 12 == x), default=s["end"])
                row["late"].append(max(0.0, first - s["start"]))
            if s["mode"] in DIATONIC:
                row["diatonic"] += 1
                best = max(sum(relative[x] for x in SCALES[m]) for m in DIATONIC)
                row["fit"] += int(inside >= best - 0.002)
    print(f"{'family':20}{'pieces':>7}{'notes':>7}{'segm.':>6}{'length s':>11}{'inside':>8}{'least':>7}{'bass':>6}{'leads':>7}{'heard':>7}{'fits':>6}{'late s':>11}")
    for family, r in rows.items():
        if not r["n"]:
            continue
        bass = float(np.mean(r["bass"])) if r["bass"] else float("nan")
        print(
            f"{family:20}{r['n']:7}{r['notes']:7}{r['s']:6}{min(r['length']):5.0f}–{max(r['length']):<5.0f}"
            f"{np.mean(r['inside']) if r['inside'] else np.nan:8.3f}{r['least']:7.3f}{bass:6.2f}"
            f"{r['lead'] / max(1, r['s']):7.2f}{np.mean(r['seen']) if r['seen'] else np.nan:7.2f}"
            f"{r['fit'] / r['diatonic'] if r['diatonic'] else np.nan:6.2f}"
            f"{np.median(r['late']) if r['late'] else np.nan:6.1f}{np.percentile(r['late'], 90) if r['late'] else np.nan:5.1f}"
        )
        if r["bass"] and bass < BASS[family]:
            faults.append(f"{family}: the center is the lowest note {bass:.2f} of the time")
    print("inside: share of time on notes of the mode (mean, least); bass: share of time the center is the")
    print("lowest note; leads: segments where no other note is the lowest for longer; heard: share of the")
    print("mode's notes that sound; fits: diatonic segments that no other diatonic mode fits better; late:")
    print("from a segment's start to its first characteristic note (median, nine in ten)")
    for kind, notes in negatives(1, 2).items():
        if negatives(1, 2)[kind] != notes:
            faults.append(f"{kind}: two draws differ")
        if any(b <= a or not LOWEST <= k <= HIGHEST for a, b, k in notes):
            faults.append(f"{kind}: a bad note")
        pcs = np.bincount([k % 12 for _, _, k in notes], minlength=12) / len(notes)
        print(f"{kind}: {len(notes)} notes in 2 minutes, commonest pitch class {pcs.max():.2f}")
    return faults


NAMES = "C D♭ D E♭ E F G♭ G A♭ A B♭ B".split()


def show(piece):
    """A piece as text: one line a fifth of a second, lowest note first."""
    print(piece["name"], f"{len(piece['notes'])} notes")
    marks = list(piece["segments"])
    groups = []
    for a, b, k in piece["notes"]:
        if groups and a - groups[-1][0] < 0.06:
            groups[-1][1].append((k, b - a))
        else:
            groups.append((a, [(k, b - a)]))
    for at, keys in groups:
        while marks and marks[0]["start"] <= at + 0.06:
            s = marks.pop(0)
            print(f"--- {s['start']:.2f} to {s['end']:.2f}: {NAMES[s['center']] if s['center'] is not None else '–'} {s['mode']}")
        print(f"{at:7.2f}  " + "  ".join(f"{NAMES[k % 12]}{k // 12 - 1}:{d:.1f}" for k, d in sorted(keys)))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", nargs="?", help="where the MIDI files and labels.json go")
    parser.add_argument("--count", type=int, default=160, help="how many pieces (160)")
    parser.add_argument("--first", type=int, default=0, help="the first seed (0)")
    parser.add_argument("--check", action="store_true", help="check the generator instead")
    parser.add_argument("--show", type=int, metavar="SEED", help="print one piece instead")
    arguments = parser.parse_args()
    if arguments.check:
        faults = check(max(arguments.count, 320))
        for fault in faults:
            print("fault:", fault, file=sys.stderr)
        print("no faults" if not faults else f"{len(faults)} faults")
        return 1 if faults else 0
    if arguments.show is not None:
        show(take(arguments.show))
        return 0
    if arguments.folder is None:
        parser.error("name a folder for the files, or --check, or --show SEED")
    folder = Path(arguments.folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        labels = []
        for seed in range(arguments.first, arguments.first + arguments.count):
            piece = take(seed)
            write_midi(piece["notes"], folder / f"{piece['name']}.mid")
            labels.append(label(piece))
        (folder / "labels.json").write_text(json.dumps(labels, indent=1), encoding="utf-8")
    except OSError as fault:
        print(f"cannot write to {folder}: {fault.strerror}. Name a folder that can be written.", file=sys.stderr)
        return 1
    print(f"{len(labels)} pieces in {folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

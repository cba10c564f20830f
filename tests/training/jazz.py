"""Jazz and pop piano, labelled by construction: harmony that leads to its center by
fifths and begins elsewhere, beside modal vamps of the same chords that rest where they
begin.  What tells the two apart is where phrases rest, how long, and that a dominant falls.

`take(length, rng, catalogue)` -> notes, segments (start, end, center, mode or None), chord
roots.  All invented; the progressions are common practice, no source.
"""

import playing

# Qualities: semitones above the root of third, fifth, seventh and the colours above them.
QUALITIES = {
    "maj7": ((4, 7, 11), (14, 21, 18)), "maj6": ((4, 7, 9), (14,)), "triad": ((4, 7, 12), ()), "minor": ((3, 7, 12), ()),
    "7": ((4, 7, 10), (14, 21)), "7b9": ((4, 7, 10), (13, 20)), "7alt": ((4, 8, 10), (13, 15)), "7#11": ((4, 7, 10), (14, 18, 21)),
    "sus": ((5, 7, 10), (14, 21)), "m7": ((3, 7, 10), (14, 17)), "m6": ((3, 7, 9), (14,)), "mM7": ((3, 7, 11), (14,)),
    "m7b5": ((3, 6, 10), (14, 17)), "dim7": ((3, 6, 9), ()),
}
# The scale played over a chord that is not of the key, above its root.
SCALES = {
    "maj7": (0, 2, 4, 6, 7, 9, 11), "maj6": (0, 2, 4, 5, 7, 9, 11), "triad": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 9, 10),
    "7": (0, 2, 4, 5, 7, 9, 10), "7b9": (0, 1, 4, 5, 7, 8, 10), "7alt": (0, 1, 3, 4, 6, 8, 10), "7#11": (0, 2, 4, 6, 7, 9, 10),
    "sus": (0, 2, 4, 5, 7, 9, 10), "m7": (0, 2, 3, 5, 7, 9, 10), "m6": (0, 2, 3, 5, 7, 9, 11), "mM7": (0, 2, 3, 5, 7, 9, 11),
    "m7b5": (0, 1, 3, 5, 6, 8, 10), "dim7": (0, 2, 3, 5, 6, 8, 9, 11),
}
# Chords as semitones above the center, a quality, and the bars they last.
MAJOR = [
    (8, "2:m7 7:7 0:maj7/2"), (4, "2:m7 7:7 0:maj7 0:maj7"), (4, "2:m7/.5 7:7/.5 0:maj7"), (3, "2:m7/2 7:7/2 0:maj7/4"),
    (4, "2:m7 7:7 0:maj7 9:7"), (3, "2:m7 7:7 0:maj7 9:m7"), (3, "0:maj7 9:m7 2:m7 7:7"), (3, "0:maj7/.5 9:7/.5 2:m7/.5 7:7/.5"),
    (2, "4:m7 9:7 2:m7 7:7 0:maj7/2"), (2, "4:m7/.5 9:m7/.5 2:m7/.5 7:7/.5"), (2, "0:maj7 1:dim7 2:m7 7:7"),
    (2, "2:m7 1:7#11 0:maj7/2"), (1, "2:m7/.5 1:7/.5 0:maj7"), (2, "5:m7 10:7 0:maj7/2"), (2, "5:maj7 5:m6 0:maj7/2"), (1, "5:m7/.5 10:7/.5 0:maj7"),
    (2, "2:7 7:7 0:maj7/2"), (2, "2:7 2:m7/.5 7:7/.5 0:maj7"), (1, "9:7 2:7 7:7 0:maj7"), (1, "4:7/2 9:7/2 2:7/2 7:7/2 0:maj7/2"),
    (1, "0:maj7 11:m7b5/.5 4:7/.5 9:m7 7:m7/.5 0:7/.5 5:maj7 5:m6 4:m7/.5 9:7/.5 2:m7/.5 7:7/.5"),
    (2, "0:maj6/.5 9:7/.5 2:m7/.5 7:7/.5 4:m7/.5 9:7/.5 2:m7/.5 7:7/.5 0:maj6/.5 0:7/.5 5:maj6/.5 6:dim7/.5 0:maj6/.5 7:7/.5 0:maj6"),
    (2, "7:sus 0:maj7"), (2, "7:7/2 0:maj6/2"), (2, "5:maj7 7:7 0:maj7/2"), (2, "2:m7b5 7:7b9 0:maj7/2"), (1, "8:maj7 1:maj7 0:maj7/2"),
    (2, "0:triad 9:minor 5:triad 7:triad"), (2, "0:triad 7:triad 9:minor 5:triad"), (1, "5:triad 7:triad 0:triad/2"), (1, "2:minor 7:triad 0:triad/2"),
    (1, "5:maj7 4:m7 2:m7 7:sus 0:maj7/2"), (1, "0:maj7/2 2:m7 7:7"), (1, "9:m7 2:7 2:m7 7:7 0:maj7/2"),
]
MINOR = [
    (5, "2:m7b5 7:7alt 0:m6/2"), (3, "2:m7b5/.5 7:7b9/.5 0:m7"), (3, "2:m7b5 7:7b9 0:mM7/2"), (2, "7:7alt/2 0:mM7/2"), (1, "7:7alt 0:mM7"),
    (2, "0:m7 5:m7 2:m7b5 7:7b9"), (2, "5:m7 10:7 3:maj7 8:maj7 2:m7b5 7:7b9 0:m6/2"), (2, "0:m7/.5 9:m7b5/.5 2:m7b5/.5 7:7alt/.5"),
    (2, "0:minor/.5 0:mM7/.5 0:m7/.5 0:m6/.5"), (1, "0:m6 8:7 7:7alt 0:m6"), (1, "0:m7 8:7#11/.5 7:7alt/.5"), (1, "2:m7b5 1:7#11 0:m6/2"),
    (1, "0:minor 5:minor 7:7 0:minor"), (1, "0:m7/2 2:m7b5 7:7b9"),
]
VAMPS = {   # they rest where they begin
    "dorian": [(5, "0:m7 5:7"), (3, "0:m7/2 5:7/2"), (2, "0:m7/4"), (1, "0:m7 2:m7"), (2, "0:m7/.5 5:7/.5"), (1, "0:m6/2"), (1, "0:m7/3 5:7"),
               (2, "0:m7/8"), (1, "0:m7 3:maj7 5:7 0:m7")],
    "mixolydian": [(3, "0:7 10:triad"), (2, "0:7/4"), (2, "0:sus/4"), (3, "0:triad 10:triad 5:triad 0:triad"), (1, "0:7 7:m7"), (2, "0:7/8"), (1, "0:triad 7:m7 5:triad 0:triad")],
    "lydian": [(3, "0:maj7 2:triad"), (2, "0:maj7/2 2:7/2"), (2, "0:maj7/4"), (1, "0:triad/2 2:triad 0:triad")],
    "phrygian": [(2, "0:m7 1:maj7"), (1, "0:sus/2 1:maj7/2"), (1, "0:minor 1:triad 10:minor 0:minor")],
    "aeolian": [(2, "0:m7 8:maj7 10:triad 0:m7"), (2, "0:minor 8:triad 3:triad 10:triad"), (1, "0:m7 7:m7"), (1, "0:m7/2 5:m7/2"), (2, "0:minor 10:triad 8:triad 10:triad")],
    "lydian_dominant": [(3, "0:7#11/8"), (2, "0:7#11/2 10:7/2"), (1, "0:7#11/4")],
    "mixolydian_flat6": [(1, "0:7 5:minor")],
    "minor": [(1, "0:mM7/4"), (1, "0:m6 5:7")],
    "ionian": [(1, "0:maj7/4"), (2, "0:maj7 5:maj7"), (1, "0:triad 5:triad"), (1, "0:maj7/8")],
}
VAMP_MODES = ("dorian",) * 7 + ("mixolydian",) * 4 + ("lydian",) * 3 + ("phrygian", "aeolian", "aeolian", "lydian_dominant", "lydian_dominant", "mixolydian_flat6", "minor", "ionian")
BLUES = ["0:7 5:7 0:7 0:7 5:7 5:7 0:7 9:7 2:m7 7:7 0:7/.5 9:7/.5 2:m7/.5 7:7/.5", "0:7/4 5:7/2 0:7/2 7:7 5:7 0:7 7:7",
         "0:7 5:7 0:7/2 5:7 6:dim7 0:7 9:7 2:m7 7:7 0:7/2", "0:m7/4 5:m7/2 0:m7/2 8:7 7:7alt 0:m7/2"]
APPROACH = ["", "7:7", "7:7", "2:m7/.5 7:7/.5", "2:m7/.5 7:7/.5", "2:m7 7:7", "1:7#11", "7:sus"]
CYCLES = [(8, 4), (4, 8), (3, 9), (9, 3), (10, 10), (2, 2), (5, 5), (7, 7), (1, 1), (11, 11), (4, 4), (8, 8), (3, 3), (9, 9), (3, 8), (4, 9)]


def spelled_out(chords):
    """"2:m7/.5 7:7" -> [(2, "m7", .5), (7, "7", 1)]"""
    out = []
    for chord in chords.split():
        what, _, bars = chord.partition("/")
        above, _, quality = what.partition(":")
        out.append((int(above), quality, float(bars or 1)))
    return out


class Pianist:
    """Two hands, and a bass player where there is one, with habits kept for some time."""

    def __init__(self, rng, catalogue):
        self.r, self.catalogue = rng, catalogue
        self.notes, self.roots, self.segments = [], [], []
        self.beat, self.meter, self.t = 60 / rng.uniform(58, 220), rng.choice((4, 4, 4, 4, 3)), 0.0
        if self.beat < .36 and rng.random() < .5:
            self.beat *= 2
        self.habits()

    def habits(self):
        r = self.r
        self.left = r.choice(("rootless", "rootless", "rootless", "shell", "shell", "full", "full", "nine", "nine", "spread", "quartal", "triad", "broken"))
        self.bass = r.choice(("whole", "whole", "two", "walk", "walk", "walk", "short", "pedal")) if self.left in ("rootless", "shell", "quartal") \
            else r.choice(("whole", "two", "walk", "short", "chord", "chord"))
        if self.left in ("rootless", "shell") and r.random() < .12:
            self.bass = "none" if self.left == "rootless" else "chord"
        self.right = r.choice(("none", "none", "line", "line", "line", "tune", "tune", "guides", "block", "riff"))
        self.hits = r.choice(([0], [0], [0], [0, 2], [0, 1.5], [1.5], [1, 3], [0, 1, 2, 3], [0, 2.5], [.5, 2]))
        self.hold = r.random() < .55
        self.push = r.random() < .15                  # struck half a beat early
        self.swing = r.choice((.5, .6, 2 / 3, 2 / 3))
        self.middle, self.low = r.choice((48, 50, 52, 53, 55)), r.choice((28, 31, 33, 36, 38))
        self.alter = r.random() < .3                  # dominants are altered
        self.colours = r.choice((0, 1, 1, 2))
        self.busy = r.uniform(.35, .95)
        self.p = 66 + r.randrange(12)
        self.hand = None

    def put(self, a, b, p):
        while p < 24:
            p += 12
        while p > 103:
            p -= 12
        self.notes.append((max(0.0, a), b, int(p)))

    # -- what is played of a list of chords

    def chords(self, center, mode, chords):
        """Plays (semitones above the center, quality, bars), in `center` and `mode`."""
        r, bar = self.r, self.meter * self.beat
        key = {(center + d) % 12 for d in self.catalogue.degrees[self.catalogue.index(mode or "ionian")]}
        for i, (above, quality, bars) in enumerate(chords):
            root = (center + above) % 12
            a, b = self.t, self.t + bars * bar
            if quality == "7" and self.alter and above in (7, 9, 4) and r.random() < .7:
                quality = r.choice(("7b9", "7alt", "7#11"))
            after = (center + chords[i + 1][0]) % 12 if i + 1 < len(chords) else None
            self.roots.append((a, b, root))
            self.under(a, b, root, quality, after)
            self.comp(a, b, root, quality)
            own = {(root + k) % 12 for k in (0, *QUALITIES[quality][0])}
            scale = key if own <= key else {(root + k) % 12 for k in SCALES[quality]}
            self.over(a, b, root, quality, sorted(scale), i + 1 == len(chords) or above == 0 and bars >= 1, center)
            self.t = b

    def under(self, a, b, root, quality, after):
        """The bass."""
        r, low, kind = self.r, self.low + (root - self.low) % 12, self.bass
        beats = max(1, round((b - a) / self.beat))
        fifth = QUALITIES[quality][0][1] if QUALITIES[quality][0][1] < 12 else 7
        if kind == "chord" and self.left in ("rootless", "shell", "quartal"):
            kind = "whole"
        if kind == "whole":
            self.put(a, b - .02, low)
        elif kind == "short":
            self.put(a, a + self.beat * .8, low)
        elif kind == "pedal":
            for x in range(0, beats, 2):
                self.put(a + x * self.beat, a + (x + .9) * self.beat, low + (12 if x % 4 == 2 and r.random() < .3 else 0))
        elif kind == "two":
            for x in range(0, beats, 2):
                self.put(a + x * self.beat, min(b, a + (x + 1.85) * self.beat), low + (fifth if x % 4 == 2 else 0) - (12 if x % 4 == 2 and low > 38 else 0))
        elif kind == "walk":
            goal = low if after is None else self.low + (after - self.low) % 12
            tones = [0, *QUALITIES[quality][0], 12]
            scale = SCALES[quality]
            p = low
            for x in range(beats):
                if x and x == beats - 1:
                    p = goal + r.choice((-1, 1, -1, 1, 2, -2, 7, -5))
                elif x:
                    p = low + (r.choice(tones) if r.random() < .6 else r.choice(scale)) - (12 if r.random() < .15 else 0)
                self.put(a + x * self.beat, a + (x + .95) * self.beat, p)

    def voicing(self, root, quality):
        """Pitch classes of the left hand from the bottom up."""
        r, (body, colours) = self.r, QUALITIES[quality]
        third, fifth, seventh = body
        colour = [root + c for c in colours[:max(1, self.colours)]]
        if self.left == "shell":
            return [root + third, root + seventh] if self.bass not in ("none", "chord") else [root, root + third, root + seventh]
        if self.left == "rootless":
            nine = colour[0] if colour else root + fifth
            six = root + colours[1] if len(colours) > 1 and quality.startswith("7") else root + fifth
            return r.choice(([root + third, six, root + seventh, nine], [root + seventh, nine, root + third, six], [root + third, root + seventh, nine]))
        if self.left == "quartal":
            first = r.choice((third, seventh, 2 if quality != "m7b5" else third))
            return [root + first + 5 * k for k in range(3)] if quality in ("m7", "sus") else [root + third, root + seventh, *(colour[:1] or [root + fifth])]
        if self.left == "triad" or not colour:
            return [root, root + third, root + fifth] if seventh == 12 or self.left == "triad" else [root, root + third, root + fifth, root + seventh]
        if self.left == "nine":
            return [root, root + third, root + fifth, root + seventh, *colour]
        if self.left == "spread":
            return [root, root + seventh, root + third + 12]
        return [root, root + third, root + fifth, root + seventh]

    def comp(self, a, b, root, quality):
        r = self.r
        classes = self.voicing(root, quality)
        middle = self.middle - (5 if self.left in ("full", "nine", "spread") and self.bass == "chord" else 0)
        if self.left == "spread" and self.bass == "chord":
            middle -= 8
        first = middle + (classes[0] - middle) % 12
        if self.hand is not None and self.left in ("rootless", "shell", "triad") and abs(first - 12 - self.hand) < abs(first - self.hand) and first - 12 > 43:
            first -= 12
        self.hand = first
        keys = [first]
        for c in classes[1:]:
            keys.append(keys[-1] + ((c - keys[-1]) % 12 or 12))
        beats = max(1, round((b - a) / self.beat))
        if self.left == "broken":
            low = self.low + 12 + (root - self.low) % 12
            body, colours = QUALITIES[quality]
            cell = [low + k for k in (0, body[1] if body[1] < 12 else 7, *(x + 12 for x in body if x < 12), *colours[:1])]
            x = 0.0
            while x < beats - .01:
                self.put(a + x * self.beat, b if self.hold else a + (x + .5) * self.beat, cell[int(2 * x) % len(cell)])
                x += .5
            return
        hits = [0] if self.hold and r.random() < .8 else [h for h in self.hits if h < beats] or [0]
        if beats > self.meter and not self.hold:
            hits = [h + m for m in range(0, beats, self.meter) for h in self.hits if h + m < beats]
        for h in hits:
            at = a + h * self.beat - (self.beat * .5 if self.push and h == 0 and a > 0 else 0)
            end = b if self.hold else min(b, at + self.beat * r.choice((.4, .8, 1.5)))
            for k in keys:
                self.put(at + r.uniform(0, .012), end - .02, k)

    def over(self, a, b, root, quality, scale, rests, center):
        """The right hand."""
        r, beat = self.r, self.beat
        chord = [(root + k) % 12 for k in (QUALITIES[quality][0][0], QUALITIES[quality][0][1], QUALITIES[quality][0][2], *QUALITIES[quality][1][:1])] + [root]
        near = lambda pc: self.p + (pc - self.p + 6) % 12 - 6
        def place(at, end, p):
            p = p + 12 if p < 58 else p - 12 if p > 88 else p
            self.put(at, end, p)
            self.p = p
        if self.right == "none":
            return
        if self.right == "guides":
            place(a, b - .03, near(r.choice(chord[:4])))
            return
        if self.right == "block":
            x = 0.0
            while a + x * beat < b - .05:
                w = r.choice((1, 1, 2, .5))
                top = near(r.choice(chord if r.random() < .7 else scale))
                under = sorted({top - (top - c) % 12 or top for c in chord[:4]})[:4]
                for k in {top, *under}:
                    self.put(a + x * beat, min(b, a + (x + w * .9) * beat), k)
                self.p = top if 60 <= top <= 86 else 72 + top % 12
                x += w
            return
        if self.right == "riff":
            for x, w, d in ((0, .5, 0), (.5, .5, 2), (1.5, 1, r.choice((0, 1, 3)))):
                if a + x * beat < b - .05 and r.random() < .8:
                    place(a + x * beat, min(b, a + (x + w) * beat), near(scale[d % len(scale)] if r.random() < .3 else r.choice(chord)))
            return
        x, up = 0.0, r.choice((-1, 1))
        beats = (b - a) / beat
        if rests and r.random() < .6:
            # A phrase ends: a long note of the chord, of the center more often than not.
            p = near(center if r.random() < .5 and center in chord + [root] else r.choice(chord))
            start = r.choice((0, 0, .5, 1)) if beats > 1.5 else 0
            place(a + start * beat, min(b, a + (start + r.choice((1.5, 2, 3, 4))) * beat), p)
            return
        while x < beats - .02:
            if r.random() > self.busy:
                x += r.choice((.5, 1))
                continue
            if self.right == "line":
                even = abs(x - round(x)) < .01
                w = self.swing if even else 1 - self.swing
                if even and r.random() < .45:
                    p = near(r.choice(chord))
                else:
                    p = self.p + up
                    while p % 12 not in scale:
                        p += up
                    if r.random() < .1 and not even:                  # from a semitone away
                        p = near(r.choice(chord)) + r.choice((-1, 1))
                if r.random() < .2:
                    up = -up
                place(a + x * beat, a + (x + w * .95) * beat, p)
                x = round(x) + self.swing if even else round(x + .5 - .01)
            else:
                w = r.choice((.5, 1, 1, 1.5, 2))
                p = near(r.choice(chord if x == 0 or r.random() < .55 else scale))
                place(a + x * beat, min(b, a + (x + w * .95) * beat), p)
                x += w

    # -- passages

    def region(self, start, center, mode):
        if self.segments and self.segments[-1][2:] == (center, mode):
            a, _, c, m = self.segments.pop()
            self.segments.append((a, self.t, c, m))
        elif self.t > start:
            self.segments.append((start, self.t, center, mode))

    def draw(self, table):
        weights, what = zip(*table)
        return self.r.choices(what, weights)[0]

    def functional(self, center, major, seconds):
        """Round and round, or one after another, until the center was rested on."""
        r, start = self.r, self.t
        mode = "ionian" if major else "minor"
        cycle = spelled_out(self.draw(MAJOR if major else MINOR))
        if r.random() < .12:
            cycle = spelled_out(r.choice(BLUES))
            mode = "mixolydian" if cycle[0][1] == "7" else "dorian"
        stretch = 1.0
        while sum(c[2] for c in cycle) * stretch * self.meter * self.beat > max(seconds * 2, 8):
            stretch /= 2
        cycle = [(a, q, max(.5, bars * stretch)) for a, q, bars in cycle]
        while self.t - start < seconds:
            self.chords(center, mode, cycle)
            if r.random() < .25:
                cycle = [(a, q, max(.5, bars)) for a, q, bars in spelled_out(self.draw(MAJOR if mode == "ionian" else MINOR))] if mode in ("ionian", "minor") else cycle
        if cycle[-1][0] != 0 and r.random() < .7:
            self.chords(center, mode, [(0, {"ionian": "maj7", "minor": "m6", "dorian": "m7"}.get(mode, "7"), r.choice((1, 1, 2)))])
        self.region(start, center, mode)

    def cycle(self, center, seconds):
        """Centers one after another, each with its dominant, or bare."""
        r = self.r
        steps, approach = r.choice(CYCLES), r.choice(APPROACH)
        major = r.random() < .8
        bars = r.choice((1, 1, 2, 2, 4))
        begun, i = self.t, 0
        if approach == "" and bars * self.meter * self.beat < 2.5:
            bars = 2 if self.meter * self.beat >= 1.3 else 4
        quality = r.choice(("maj7", "triad", "maj6")) if major else r.choice(("m7", "minor", "m6"))
        mode = "ionian" if major else "minor" if quality == "m6" else "dorian" if quality == "m7" and r.random() < .5 else "aeolian"
        while self.t - begun < seconds or i < 3:
            start = self.t
            way = spelled_out(approach) if i or r.random() < .5 else []
            if mode != "ionian":
                way = [(a, {"m7": "m7b5", "7": "7b9"}.get(q, q), b) for a, q, b in way]
            self.chords(center, mode, way + [(0, quality, bars)])
            self.region(start, center, mode)
            center = (center + steps[i % 2]) % 12
            i += 1
        return (center - steps[(i - 1) % 2]) % 12

    def vamp(self, center, seconds):
        r, start = self.r, self.t
        mode = r.choice(VAMP_MODES)
        cycle = spelled_out(self.draw(VAMPS[mode]))
        while self.t - start < seconds:
            self.chords(center, mode, cycle)
        self.region(start, center, mode)

    def fourths(self, center, seconds):
        """Blocks in fourths on the degrees of a mode, over a bass or nothing; up a semitone and back."""
        r = self.r
        mode = r.choice(("dorian", "dorian", "dorian", "mixolydian", "aeolian", "phrygian", "lydian"))
        bass = r.random() < .45
        degrees = sorted(self.catalogue.degrees[self.catalogue.index(mode)])
        pitch = lambda k: degrees[k % 7] + 12 * (k // 7)
        many, gap = r.choice((3, 3, 4, 5)), 3
        cell = [(r.choice((0, 0, .5, 1, 1.5)), 0, r.choice((1, 1.5, 2, 3)))] + [(x, r.choice((1, 1, 2, -1, 4, 3)), r.choice((.5, 1, 1.5))) for x in (2, 2.5, 3) if r.random() < .6]
        for move in r.choice(((0,), (0, 1, 0), (0, 1, 0), (0, 1), (0, 2, 0), (0, 3), (0, 11, 0))):
            start = self.t
            c = (center + move) % 12
            bar = self.meter * self.beat
            for b in range(max(2, min(8, round(seconds / bar)))):
                for x, k, w in cell:
                    if x < self.meter:
                        k = 0 if b % 2 == 0 and x < 2 else k
                        low = 50 + (c - 50) % 12
                        for i in range(many):
                            self.put(self.t + x * self.beat, self.t + (x + w) * self.beat, low + pitch(k + gap * i))
                if bass and b % 2 == 0:
                    self.put(self.t, self.t + bar * r.choice((.5, 1, 2)), self.low + (c - self.low) % 12)
                self.t += bar
            self.region(start, c, mode)
        return (center + move) % 12

    def alone(self, center, seconds):
        """One slow line that keeps coming to rest on its center."""
        r, start = self.r, self.t
        mode = r.choice(("dorian",) * 3 + ("lydian",) * 3 + ("mixolydian",) * 2 + ("phrygian", "aeolian", "ionian", "minor", "phrygian_dominant", "lydian_dominant"))
        degrees = sorted(self.catalogue.degrees[self.catalogue.index(mode)])
        base, k = 60 + (center - 60) % 12 - 12 * r.randrange(2), r.choice((0, 0, 4, 2))
        unit = r.choice((.4, .6, .8, 1.1))
        pitch = lambda k: base + degrees[k % len(degrees)] + 12 * (k // len(degrees))
        while self.t - start < seconds:
            for i in range(r.choice((3, 4, 5, 7))):
                w = unit * r.choice((.5, 1, 1, 1, 2))
                self.put(self.t, self.t + w * .98, pitch(k))
                self.t += w
                k += r.choice((-2, -1, -1, -1, 1, 1, 1, 2, 3, -3))
                k = max(-4, min(9, k))
            k = r.choice((0, 0, 0, 0, 7, 4, 2))
            w = unit * r.choice((2, 3, 4))
            self.put(self.t, self.t + w, pitch(k))
            self.t += w + r.choice((0, 0, .3))
        self.region(start, center, mode)

    def elsewhere(self, seconds):
        """A whole-tone or chromatic stretch; then the center of before is back at once."""
        r = self.r
        end = self.t + min(seconds, r.uniform(3, 10))
        notes, (c, what) = playing.free(r, self.t, end, self.beat)
        self.notes += notes
        self.segments.append((self.t, end, c, what))
        self.t = end

    def pedal(self, center, seconds):
        """Octatonic or chromatic playing over a pedal, which stays the center."""
        r, start = self.r, self.t
        row = [(center + d + r.randrange(2)) % 12 for d in (0, 3, 6, 9)]
        pcs = sorted({p for q in row[:1] for p in ((q + d) % 12 for d in (0, 1, 3, 4, 6, 7, 9, 10))} | {center})
        low, p = self.low + (center - self.low) % 12, 64
        again = 0.0
        while self.t - start < seconds:
            if self.t - start >= again:
                self.put(self.t, self.t + r.choice((2, 4)) * self.beat * 2, low)
                again = self.t - start + 4 * self.beat
            p += r.choice((-3, -2, -1, 1, 2, 3))
            while p % 12 not in pcs:
                p += 1
            p = 60 + p % 12 if not 55 <= p <= 88 else p
            w = r.choice((.5, .5, 1)) * self.beat
            self.put(self.t, self.t + w * .9, p)
            if r.random() < .15:
                for k in (3, 6):
                    self.put(self.t, self.t + w, p - k)
            self.t += w
        self.region(start, center, None)


def take(length, rng, catalogue):
    """-> notes [(onset s, end s, key)], segments [(start, end, center, mode; None for any)], roots."""
    player = Pianist(rng, catalogue)
    r = rng
    center = first = r.randrange(12)
    one = r.random() < .25
    while player.t < length:
        seconds = r.choice((4, 6, 8, 10, 14, 20, 30, 45)) if not one else length
        what = r.choices(("functional", "minor", "vamp", "cycle", "fourths", "alone", "elsewhere", "pedal"), (.42, .12, .18, .12, .06, .06, .03, .01))[0]
        if what == "elsewhere" and (one or player.t < 6):
            continue
        if what in ("functional", "minor"):
            player.functional(center, what == "functional", seconds)
        elif what == "cycle":
            center = player.cycle(center, seconds)
        elif what == "fourths":
            center = player.fourths(center, seconds)
        elif what == "elsewhere":
            player.elsewhere(seconds)
            # What was there before goes on.
            if r.random() < .5:
                player.functional(center, r.random() < .7, 6)
            else:
                player.vamp(center, 6)
        else:
            getattr(player, what)(center, seconds)
        if r.random() < .35:
            player.habits()
        if r.random() < .1:
            player.t += r.uniform(.3, 3)
        if one:
            break
        center = first if r.random() < .2 else (center + r.choice((0, 0, 1, 2, 3, 3, 4, 5, 5, 5, 7, 8, 8, 9, 10, 11))) % 12
    return [(a, b, p) for a, b, p in player.notes if b > a + .02], player.segments, player.roots

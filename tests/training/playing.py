"""Modal keyboard playing, labelled by construction: what the program's users play and
no labelled corpus holds.  Hands, textures and progressions are drawn at random;
the center is where the bass, the long notes and the phrase ends say it is.

`take(length, rng, catalogue)` -> notes, segments, chord roots.  All invented.
"""

import math

MODES = {  # how often each mode is drawn
    "ionian": .13, "dorian": .15, "phrygian": .08, "lydian": .11, "mixolydian": .13, "aeolian": .11, "minor": .09,
    "locrian": .01,
}
RARE = .16  # the rest goes to all other modes alike
# Degrees (0 = the center's chord) that tell a mode in a two-chord shuttle.
SHUTTLE = {"ionian": (3, 4, 5), "dorian": (3, 1, 6), "phrygian": (1, 6), "lydian": (1, 6, 4), "mixolydian": (6, 4, 3),
           "aeolian": (5, 6, 3), "minor": (4, 3), "phrygian_dominant": (1, 6), "lydian_dominant": (1, 6),
           "mixolydian_flat6": (3, 6), "dorian_flat2": (1, 6)}
LOOPS = {"ionian": [[1, 4, 0, 0], [1, 4, 0, 0], [0, 3, 4, 0], [0, 5, 1, 4], [0, 5, 3, 4], [0, 4, 5, 3], [3, 4, 0, 0], [0, 2, 3, 4], [1, 4, 0, 5],
                    [2, 5, 1, 4, 0, 0], [0, 0, 4, 4, 4, 4, 0, 0], [5, 3, 0, 4], [3, 0, 4, 5], [3, 4, 5, 0]],
         "minor": [[1, 4, 0, 0], [0, 3, 4, 0], [0, 5, 1, 4], [0, 6, 5, 4], [0, 5, 3, 4], [3, 4, 0, 0], [0, 4, 0, 4], [0, 3, 0, 4]],
         "dorian": [[0, 3], [0, 6, 3, 0], [0, 1], [0, 2, 3, 6], [0, 3, 6, 0], [0, 4, 3, 0]],
         "mixolydian": [[0, 6, 3, 0], [0, 3, 6, 3], [0, 6], [0, 4, 6, 3], [0, 6, 3, 3]],
         "lydian": [[0, 1], [0, 1, 6, 0], [0, 1, 4, 0], [0, 2, 1, 0]],
         "phrygian": [[0, 1], [0, 1, 2, 1], [3, 2, 1, 0], [0, 6, 1, 0]],
         "aeolian": [[0, 5, 6, 0], [0, 6, 5, 6], [0, 3, 6, 0], [0, 5, 2, 6], [0, 2, 6, 3], [5, 6, 0, 0], [0, 6, 3, 5]]}
FAMILIES = (["vamp"] * 3 + ["drone"] * 2 + ["shuttle"] * 3 + ["pedal"] * 2 + ["bassline"] * 2 + ["loop"] * 3 + ["functional"] * 4
            + ["alone"] * 3 + ["planing"] * 2 + ["chorale"] + ["pattern"] * 3 + ["blues"] * 2 + ["unison", "held"] + ["wash"] * 2
            + ["figure"] * 3 + ["quartal"] * 2 + ["changes"] * 7 + ["stabs"] * 2)
# Harmony that leads to its center by fifths, and mostly begins elsewhere: (how often, chords).
# A chord is a step of the scale, or semitones above the center and a quality; after a stroke
# how many bars it lasts, if not one.
CHANGES = {
    "ionian": [(7, "1 4 0/2"), (4, "1 4 0 0"), (4, "1 4 0"), (4, "1/0.5 4/0.5 0"),
           (3, "1/0.5 4/0.5 0 1/0.5 4/0.5 0"), (3, "1/2 4/2 0/4"), (3, "0 5 1 4"),
           (2, "0/0.5 5/0.5 1/0.5 4/0.5"), (2, "2 5 1 4 0/2"), (2, "2/0.5 5/0.5 1/0.5 4/0.5 0/2"),
           (2, "1 4 2 5 1 4 0/2"), (1, "1 1:7 0/2"), (1, "3 5:m6 0/2"), (1, "3 10:7 0/2"), (2, "1 4 0 9:7"),
           (1, "2:7 1/0.5 4/0.5 0/2"), (2, "3 4 0/2"), (1, "3 4 2 5 1 4 0/2"), (1, "4/2 0/2"), (1, "3 0 4 0"),
           (1, "5 1 4 0"), (1, "1 4 0 3")],
    "minor": [(1, "2:m7b5 7:7 0:m/2"), (1, "2:m7b5/0.5 7:7/0.5 0:m"), (1, "2:m7b5 7:7 0:m 0:m"),
          (1, "0:m 8:7 2:m7b5/0.5 7:7/0.5"), (1, "5:m 7:7 0:m/2"),
          (1, "5:m 10:7 3:maj 8:maj 2:m7b5 7:7 0:m/2"), (1, "8:7 7:7 0:m/2"), (1, "7:7/2 0:m/2")],
    "dorian": [(3, "0/2 3/2"), (3, "0 3"), (1, "0/0.5 3/0.5"), (1, "0/4 3/4"), (1, "0 3 0 0"), (1, "0 3 0 6")],
}
QUALITIES = {"7": (0, 4, 7, 10, 14, 21), "m": (0, 3, 7, 10, 14, 17), "m6": (0, 3, 7, 9, 14, 17), "m7b5": (0, 3, 6, 10, 14, 17),
             "maj": (0, 4, 7, 11, 14, 18)}


def draw_mode(rng, catalogue):
    if rng.random() < RARE:
        rare = [m for m in catalogue.ids if m not in MODES]
        return rng.choice(rare)
    return rng.choices(list(MODES), list(MODES.values()))[0]


class Player:
    """Two hands that keep their habits from section to section."""

    def __init__(self, rng, catalogue):
        self.r = rng
        self.catalogue = catalogue
        self.notes = []
        self.roots = []
        self.habits()

    def habits(self):
        r = self.r
        self.family = r.choice(FAMILIES)
        self.right = r.choice(["walk", "walk", "walk", "arpeggio", "chords", "sparse", "long", "none", "thirds"])
        self.base = r.choice((31, 34, 36, 36, 38, 41, 43))
        self.middle = r.choice((50, 52, 55, 57))
        self.stride = r.choice((.5, .5, .5, 1, 1, 1 / 3, .25, .75))
        self.phrase = r.choice((2, 2, 4))
        self.hold = r.random() < .5
        self.seventh = r.choice((3, 3, 3, 4, 4, 5))
        self.dirt = r.random() ** 3 * .12         # chromatic neighbours and slips of the finger
        self.colour = r.random() < .35            # passing chords, side-slips, applied dominants
        self.sync = sorted({0.0} | {r.choice((.5, 1, 1.5, 2, 2.5, 3)) for _ in range(r.randrange(1, 4))})
        self.tune = 60 + r.randrange(14)
        self.cells = None                         # a figuration that may outlast a change of center

    # -- material of a tonality

    def settle(self, c, mode):
        self.c, self.mode = c, mode
        base = sorted(self.catalogue.degrees[self.catalogue.index(mode)])
        self.s = base
        self.n = len(base)
        # In common-practice minor the dominant takes the leading tone.
        self.sharp = mode == "minor"

    def pitch(self, d, lead=False):
        """Semitones above C 0 of scale step d (any integer)."""
        x = self.s[d % self.n] + 12 * (d // self.n)
        if lead and self.sharp and self.n == 7 and d % 7 == 6:
            x += 1
        return self.c + x

    def stack(self, d, size=3, gap=2):
        lead = self.sharp and (d % 7 in (4, 6)) and self.n == 7
        return [self.pitch(d + gap * k, lead) for k in range(size)]

    def low(self, pc):
        b = self.base + (pc - self.base) % 12
        return b

    def voice(self, pitches, low, spread=False):
        out, p = [], low
        for x in pitches:
            q = p + (x - p) % 12
            out.append(q)
            p = q + (self.r.choice((1, 1, 8)) if spread else 1)
        return out

    def put(self, a, b, p):
        while p < 22:
            p += 12
        while p > 106:
            p -= 12
        self.notes.append((a, b, p))

    # -- one section

    def section(self, t, bars, beat, meter, moved=None):
        """Plays `bars` bars from t; `moved`: the right hand's collection stays that of
        (center, mode) while the left hand goes to the new center."""
        r, bar = self.r, meter * beat
        fam = self.family
        c = self.c % 12
        loop = self.progression(fam)
        quartal = [self.pitch(3 * k) for k in range(r.choice((3, 3, 4)))]
        if self.n < 6:
            quartal = [self.pitch(2 * k) for k in range(3)]
        if fam == "figure" and self.cells is None:
            self.cells = self.figuration(meter)
        rooted = r.random() < .3
        foreign = fam == "pedal" and r.random() < .5
        dominant = (t + r.randrange(4, 9) * bar, t + r.randrange(8, 15) * bar) if fam in ("functional", "loop", "pattern", "planing") \
            and self.n == 7 and 7 in self.s and r.random() < .12 else (0, 0)
        slide = r.randrange(3, 9) if bars > 5 and r.random() < (.6 if self.colour else .06) else -1
        shape = r.choice([quartal, quartal, self.stack(0), self.stack(0, 4), self.stack(r.randrange(self.n)),
                          [self.pitch(r.randrange(self.n)) for _ in range(3)], [self.pitch(3 * k + r.randrange(self.n)) for k in range(3)]])
        osti = self.ostinato(meter)
        pattern = r.choice(("alberti", "stride", "waltz", "arpeggio", "tenths", "fifths", "octaves"))
        line = self.melodist()
        blues = self.blues_habits()
        if fam == "changes":
            self.changes(t, bars, beat, meter)
        if fam == "stabs":
            self.stabs(t, bars, beat, meter)
            if r.random() < .6:
                return
        for b in range(bars):
            a, e = t + b * bar, t + (b + 1) * bar
            last = b == bars - 1
            slip = 0
            if self.colour and b and not last and r.random() < .10:
                slip = r.choice((1, -1))
            d = loop[b % len(loop)]
            if last and fam in ("loop", "functional", "chorale", "pattern") and r.random() < .8:
                d = 0
            if dominant[0] <= a < dominant[1] - .01 and b < bars - 2:
                # Over the dominant, prepared and left again: no new center.
                self.put(a, e, self.low((c + 7) % 12))
                for x in range(meter):
                    if r.random() < .7:
                        for q in self.voice(self.stack(r.choice((4, 0, 6, 3, 4, 1))), self.middle):
                            self.put(a + x * beat, a + (x + .9) * beat, q)
            elif b in (slide, slide + 1) and not last and r.random() < .8:
                # The same chord slid about without a bass: colour, not a journey.
                kind, root = r.choice(((0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 5, 10))), c + 48
                x = 0.0
                while x < meter - .01:
                    for k in kind:
                        self.put(a + x * beat, a + (x + .95) * beat, 12 + root + k)
                    root += r.choice((-3, -2, -1, -1, 1, 1, 2, 3))
                    x += r.choice((.5, 1, 1, 2))
                continue
            elif fam == "figure":
                for x, p, w in self.cells[b % len(self.cells)]:
                    self.put(a + x * beat, a + (x + w) * beat, p)
                low = self.low(c)
                if self.hold or r.random() < .3:
                    self.put(a, e, low)
                else:
                    for x in self.sync:
                        if x < meter:
                            self.put(a + x * beat, a + (x + .9) * beat, low + (0 if x == 0 else r.choice((0, 0, 12, 7 if 7 in self.s else 12))))
            elif fam == "quartal":
                low = self.low(c)
                if b % 2 == 0 or self.hold:
                    self.put(a, e, low)
                else:
                    self.put(a, a + beat, low)
                x = r.choice((0, 1, 1, .5))
                while x < meter - .01:
                    k, w = r.randrange(self.n), r.choice((.5, 1, 1.5, 1.5, 2))
                    gap = 3 if self.n == 7 else 2
                    first = self.middle + r.choice((0, 5)) + (self.pitch(k) - self.middle) % 12
                    for i in range(r.choice((3, 3, 4, 5))):
                        self.put(a + x * beat, min(e, a + (x + w) * beat), first + self.pitch(k + gap * i) - self.pitch(k))
                    x += w
            elif fam == "vamp":
                self.vamp(a, e, beat, meter, shape, osti, slip)
            elif fam == "drone":
                if b % 2 == 0:
                    fifth = 7 if 7 in self.s else 12
                    for k in ((0, fifth) if r.random() < .6 else (0, 12) if r.random() < .4 else (0,)):
                        self.put(a, a + 2 * bar if b < bars - 1 else e, self.low(c) + k)
            elif fam in ("shuttle", "loop", "functional"):
                self.chord_bar(a, e, beat, meter, d, slip)
            elif fam == "pedal":
                if b % 2 == 0 or not self.hold:
                    self.put(a, e if not self.hold else min(t + bars * bar, a + 2 * bar), self.low(c))
                for x in range(meter):
                    k = (0, 1, 2, 1, 6, 0, 3, 4, 5, 2)[(b * meter + x + len(shape)) % 10]
                    if x % 2 == 0 or r.random() < .6:
                        ps = self.stack(k)
                        if foreign and r.random() < .4:
                            root = r.randrange(12)
                            ps = [root + i for i in r.choice(((0, 4, 7), (0, 3, 7), (0, 3, 6)))]
                        for q in self.voice([p + slip for p in ps], self.middle + 5):
                            self.put(a + x * beat, a + (x + .92) * beat, q)
            elif fam == "planing":
                if b % 2 == 0 or r.random() < .5:
                    self.put(a, e, self.low(c))
                    if r.random() < .4 and 7 in self.s:
                        self.put(a, e, self.low(c) + 7)
                k = r.randrange(self.n)
                gap = r.choice((2, 2, 3)) if self.n == 7 else 2
                x = 0.0
                while x < meter - .01:
                    step = r.choice((.5, 1, 1))
                    ps = self.stack(k, 3 if gap == 3 else r.choice((3, 4)), gap)
                    q0 = self.middle + 5 + (ps[0] - self.middle - 5) % 12
                    for p in ps:
                        self.put(a + x * beat, min(e, a + (x + step * .9) * beat), q0 + p - ps[0] + slip)
                    k += r.choice((-2, -1, -1, 1, 1, 2))
                    x += step
            elif fam == "bassline":
                self.walking(a, e, beat, meter, b, loop)
            elif fam == "chorale":
                for x in range(0, meter, r.choice((1, 1, 2)) if meter > 2 else 1):
                    k = 0 if (x == 0 and (b % 2 == 0 or last)) else r.choice((3, 4, 5, 1, 6, 2, 0))
                    if last and x:
                        k = 0
                    four = self.stack(k)
                    low = self.low(four[0] % 12)
                    if r.random() < .2:
                        low = self.low(four[1] % 12)
                    self.put(a + x * beat, a + (x + 1) * beat, low)
                    self.roots.append((a + x * beat, a + (x + 1) * beat, four[0] % 12))
                    for i, q in enumerate(self.voice(r.sample(four, 3), self.middle + 2, True)):
                        self.put(a + x * beat, a + (x + 1) * beat, q)
            elif fam == "pattern":
                self.pattern_bar(a, e, beat, meter, d, pattern)
            elif fam == "blues":
                self.blues_bar(a, e, beat, meter, b % 12, blues)
            elif fam == "unison":
                p = self.low(c)
                for x, (k, w) in enumerate(osti):
                    q = p + self.pitch(k) - self.pitch(0)
                    self.put(a + w * beat, a + (w + .8) * beat, q)
                    self.put(a + w * beat, a + (w + .8) * beat, q + 12)
            elif fam == "wash":
                k = 0 if b % 2 == 0 else r.choice((0, d, 1, 6, 3))
                ps = self.stack(k, r.choice((4, 5)))
                q = self.low(ps[0] % 12 if rooted else c)
                self.put(a, e, q)
                if rooted:
                    # Broken upward, all held by the pedal.
                    width = r.choice((.25, .5))
                    up = [q + self.pitch(k + i) - self.pitch(k) for i in r.choice(((4, 7, 9, 11, 13, 15), (4, 9, 11, 13, 15, 18), (2, 4, 7, 9, 11, 13)))]
                    for i, p in enumerate(up):
                        if (i + 1) * width < meter - .01:
                            self.put(a + (i + 1) * width * beat, e, p)
                    continue
                x = 0.0
                while x < meter - .01:
                    self.put(a + x * beat, e, 48 + (r.choice(ps) - 48) % 12 + 12 * r.randrange(3))
                    x += r.choice((.25, .5, .5))
            elif fam == "held":
                self.put(a, e, self.low(c))
                for q in self.voice(shape, self.middle):
                    self.put(a, e, q)
            if self.colour and not last and b and r.random() < .12:
                self.passing(e - beat, e)
            if not (fam in ("held", "planing", "chorale", "wash") and r.random() < .5):
                self.melody(a, e, beat, meter, b, line, slip if fam == "vamp" and r.random() < .5 else 0,
                            last or b % self.phrase == self.phrase - 1, fam)

    def progression(self, fam):
        r = self.r
        n = self.n
        if n < 7:
            return [0, r.randrange(1, n)]
        if fam == "shuttle":
            other = r.choice(SHUTTLE.get(self.mode, (1, 3, 6)) + (r.randrange(1, n),))
            return r.choice([[0, other], [0, other], [0, 0, other, other], [0, other, 0, 0]])
        known = LOOPS.get(self.mode)
        if known and r.random() < .75:
            return r.choice(known)
        if fam == "functional" and not known:
            return r.choice([[0, 3, 4, 0], [0, 6, 0, 4], [0, 1, 6, 0]])
        return [0] + [r.randrange(n) for _ in range(r.choice((1, 3, 3)))]

    def ostinato(self, meter):
        """Bass steps (scale step, beat): always from the center on the first beat."""
        r = self.r
        out = [(0, 0.0)]
        x = r.choice((.5, 1, 1, 1.5, 2))
        while x < meter - .01:
            out.append((r.choice((0, 0, 4, 4, 6, 2, -1, 3)) if self.n == 7 else r.randrange(self.n), x))
            x += r.choice((.5, 1, 1, 1.5))
        return out if r.random() < .6 else out[:r.choice((1, 1, 2, 3))]

    def vamp(self, a, e, beat, meter, shape, osti, slip):
        low = self.low(self.c % 12)
        full = len(osti) < 3 and self.hold
        for i, (k, x) in enumerate(osti):
            end = e if full and i == len(osti) - 1 else a + (x + (.9 if self.hold else .5)) * beat
            self.put(a + x * beat, min(e, end), low + self.pitch(k) - self.pitch(0))
        for x in self.sync[1:] or [1]:
            if x < meter:
                for q in self.voice(shape, self.middle):
                    self.put(a + x * beat, e if self.hold else min(e, a + (x + .8) * beat), q + slip)

    def chord_bar(self, a, e, beat, meter, d, slip):
        r = self.r
        two = self.family == "functional" and r.random() < .3
        halves = [(a, e, d)] if not two else [(a, (a + e) / 2, d), ((a + e) / 2, e, r.choice((d, 1, 4, 3)))]
        for u, v, k in halves:
            ch = self.stack(k, self.seventh if k or r.random() < .4 else 3)
            if self.colour and self.n == 7 and r.random() < .14:     # an applied dominant before this chord or the next
                x = v - beat * r.choice((1, 1, 2))
                if x < u:
                    continue
                root = (ch[0] + 7) % 12
                self.put(x, v, self.low(root))
                for q in self.voice([root, root + 4, root + 10], self.middle):
                    self.put(x, v, q)
                v = x
                if v - u < beat * .9:
                    continue
            root = ch[0] % 12
            bass = ch[1] % 12 if r.random() < .1 else root
            self.roots.append((u, v, root))
            if self.hold or r.random() < .5:
                self.put(u, v, self.low(bass))
            else:
                for x in range(int(round((v - u) / beat))):
                    self.put(u + x * beat, u + (x + .8) * beat, self.low(bass if x % 2 == 0 else (root + 7) % 12 if r.random() < .5 else bass))
            upper = ch[1:] if len(ch) > 3 and r.random() < .5 else ch
            for x in ([0] if self.hold else self.sync):
                if u + x * beat < v - .01:
                    for q in self.voice(upper, self.middle):
                        self.put(u + x * beat, v if self.hold else min(v, u + (x + .8) * beat), q + slip)

    def figuration(self, meter):
        """Bars of a pattern in the collection, above the bass: (beat, key, beats)."""
        r = self.r
        step = r.choice((.25, .5, .5, 1))
        pool = [56 + (self.pitch(k) - 56) % 12 + 12 * (k % 2) for k in range(self.n)]
        pool = r.sample(pool, min(len(pool), r.choice((4, 5, 6, 7))))
        bars = []
        cell = [r.choice(pool) for _ in range(max(1, round(meter / step)))]
        for _ in range(r.choice((1, 2, 2, 4))):
            bars.append([(i * step, p, step * .95) for i, p in enumerate(cell) if r.random() < .95])
            if r.random() < .6:
                r.shuffle(cell)
        return bars

    def walking(self, a, e, beat, meter, b, loop):
        r = self.r
        low, k = self.low(self.c % 12), 0
        plain = r.random() < .5
        for x in range(meter):
            if x == 0 and b % 2 == 0:
                k = 0
            q = low + self.pitch(k) - self.pitch(0)
            if not plain and x == meter - 1 and r.random() < .3:
                q = low + r.choice((-1, 1))                          # chromatic approach
            self.put(a + x * beat, a + (x + .95) * beat, q)
            k += r.choice((1, 2, 4, -1, -2, 1, -1))
            k = max(-3, min(7, k))
        if r.random() < .7:
            d = loop[b % len(loop)]
            for x in self.sync:
                if x < meter:
                    for q in self.voice(self.stack(d, self.seventh)[0 if r.random() < .5 else 1:], self.middle):
                        self.put(a + x * beat, min(e, a + (x + (2 if self.hold else .5)) * beat), q)

    def pattern_bar(self, a, e, beat, meter, d, pattern):
        r = self.r
        ch = self.stack(d, 3)
        root = ch[0] % 12
        low = self.low(root)
        third, fifth = (ch[1] - ch[0]) % 12, (ch[2] - ch[0]) % 12
        self.roots.append((a, e, root))
        if pattern in ("alberti", "arpeggio", "tenths"):
            cell = {"alberti": (0, fifth, third, fifth), "arpeggio": (0, fifth, 12, 12 + third, 12, fifth),
                    "tenths": (0, fifth, 12 + third, fifth)}[pattern]
            if r.random() < .1:
                low, cell = low + third - 12, tuple((x - third) % 12 for x in cell)
            up = 12 if pattern == "alberti" else 0
            x, i = 0.0, 0
            while x < meter - .01:
                self.put(a + x * beat, a + (x + .5) * beat if not self.hold else e, low + up + cell[i % len(cell)])
                x, i = x + .5, i + 1
        elif pattern in ("stride", "waltz"):
            self.put(a, a + beat, low)
            for x in range(1, meter):
                if pattern == "stride" and x % 2 == 0:
                    self.put(a + x * beat, a + (x + .9) * beat, low + fifth - (12 if low > 40 else 0))
                else:
                    for q in self.voice(ch, self.middle):
                        self.put(a + x * beat, a + (x + .8) * beat, q)
        else:
            for x in range(0, meter, 2):
                self.put(a + x * beat, min(e, a + (x + 1.9) * beat), low)
                self.put(a + x * beat, min(e, a + (x + 1.9) * beat), low + (fifth if pattern == "fifths" else 12))
            if r.random() < .6:
                for q in self.voice(ch, self.middle):
                    self.put(a, e, q)

    def blues_habits(self):
        r = self.r
        dominant = self.mode in ("mixolydian", "blues", "major_pentatonic", "ionian", "lydian_dominant")
        turn = [(7, 4)] * 2 if not dominant else r.choice(([(7, 4), (5, 4)], [(7, 4), (5, 4)], [(2, 3), (7, 4)], [(9, 4), (2, 3)], [(7, 4), (7, 4)]))
        return {"dominant": dominant, "third": 4 if dominant else 3, "turn": turn, "quick": r.random() < .4,
                "bass": r.choice(("whole", "two", "walk", "walk", "boogie", "shuffle", "roots", "none")),
                "left": r.choice(("full", "shell", "rootless", "rootless", "sixth", "none")),
                "swing": r.choice((.5, 2 / 3, 2 / 3))}

    def blues_bar(self, a, e, beat, meter, b, habit):
        """One of twelve bars: i or I, IV, V, and a turn at the end."""
        r = self.r
        third = habit["third"]
        root, third = {4: (5, third), 5: (5, third), 8: habit["turn"][0], 9: habit["turn"][1],
                       11: (7, 4) if self.hold else (0, third)}.get(b, (0, third))
        if b == 1 and habit["quick"]:
            root = 5
        root = (self.c + root) % 12
        low, bass, left = self.low(root), habit["bass"], habit["left"]
        if bass == "none" and left in ("none", "rootless"):
            bass = "two"
        if bass == "whole":
            self.put(a, e, low)
        elif bass == "walk":
            after = low + r.choice((5, -7, 0, 0))
            for x in range(meter):
                q = low if x == 0 else after + r.choice((-1, 1, 2, -2)) if x == meter - 1 else low + r.choice((third, 7, 9, 10, 12, 2, 5))
                self.put(a + x * beat, a + (x + .95) * beat, q)
        elif bass == "boogie":
            for i in range(2 * meter):
                x = i // 2 + (habit["swing"] if i % 2 else 0)
                k = (0, 0, third, third, 7, 7, 9, 10)[i % 8] if self.stride == .5 else (0, 12)[i % 2] + (0, 0, third, third, 7, 7, 10, 9)[i % 8]
                self.put(a + x * beat, a + (x + .4) * beat, low + k)
        elif bass == "shuffle":
            for i in range(2 * meter):
                x = i // 2 + (habit["swing"] if i % 2 else 0)
                for k in (0, (7, 7, 9, 9, 10, 10, 9, 9)[i % 8] if self.hold else (7, 9)[i // 2 % 2]):
                    self.put(a + x * beat, a + (x + .35) * beat, low + k)
        elif bass in ("two", "roots"):
            for x in range(0, meter, 2 if bass == "two" else 1):
                self.put(a + x * beat, a + (x + .9) * beat, low + (7 if bass == "two" and x % 4 == 2 else 0))
        kind = {"full": (0, third, 7, 10), "shell": (third, 10) if bass != "none" else (0, third, 10), "rootless": (third, 10, 14) if self.hold else (10, 14, 12 + third + 5 * (third == 4)),
                "sixth": (0, third, 7, 9), "none": ()}[left]
        for x in [0] if self.stride == 1 and self.hold else [x if x == int(x) else int(x) + habit["swing"] for x in self.sync]:
            if x < meter:
                for q in self.voice([root + k for k in kind], self.middle):
                    self.put(a + x * beat, e if self.stride == 1 and self.hold else min(e, a + (x + .7) * beat), q)
        self.roots.append((a, e, root))

    def riff(self, a, e, beat, meter, line, ending):
        """A blues line: blue thirds and fifths over whatever chord sounds, at rest on the center."""
        r = self.r
        pool = r.choice(((0, 3, 5, 6, 7, 10), (0, 3, 5, 6, 7, 10), (0, 2, 3, 4, 7, 9), (0, 3, 4, 5, 7, 9, 10), (0, 3, 5, 7, 10)))
        if line.get("riff") is None or r.random() < .4:
            x, line["riff"] = r.choice((0, 0, .5, 1)), []
            while x < meter - .1:
                w = r.choice((1 / 3, 2 / 3, .5, 1, 1, 1.5))
                line["riff"].append((x, w, r.choice(pool)))
                x += w + r.choice((0, 0, 0, .5, 1))
        for i, (x, w, k) in enumerate(line["riff"]):
            if x + w > meter:
                continue
            if ending and i == len(line["riff"]) - 1:
                k = r.choice((0, 0, 0, 7, 4 if self.mode != "dorian" else 3))
            q = self.near(line["p"], self.c + k)
            q = q + 12 if q < 55 else q - 12 if q > 88 else q
            if k in (4, 7) and r.random() < .3:                        # crushed from below
                self.put(a + x * beat, a + x * beat + .07, q - 1)
                self.put(a + x * beat + .06, a + (x + w * .9) * beat, q)
            else:
                self.put(a + x * beat, a + (x + w * .9) * beat, q)
            line["p"] = q
        self.tune = line["p"]

    @staticmethod
    def spelled_out(chord):
        """"4/.5" -> (4, .5), "7:m" -> ((7, "m"), 1)"""
        what, _, bars = chord.partition("/")
        above, _, quality = what.partition(":")
        return (int(above), quality) if quality else int(above), float(bars or 1)

    def changes(self, t, bars, beat, meter):
        """Sevenths that go round by fifths: roots in the bass, walking, or left to somebody else."""
        r = self.r
        weights, cycles = zip(*CHANGES[self.mode])
        cycle = [self.spelled_out(chord) for chord in r.choices(cycles, weights)[0].split()]
        left = r.choice(("full", "full", "shell", "shell", "rootless", "rootless", "triad", "broken", "broken"))
        bass = r.choice(("whole", "whole", "two", "walk", "walk", "short")) if left == "rootless" else r.choice(("whole", "two", "walk", "short", "chord"))
        if left == "shell" and r.random() < .6:
            bass = "walk"
        if left == "rootless" and r.random() < (.25 if self.mode != "dorian" else 0):
            bass = "chord"
        if left == "broken" and r.random() < .7:
            bass = "chord"
        up, width, ring = r.choice((3, 4, 4, 5, 6)), r.choice((.5, .5, 1, 1, .25)), r.random() < .6
        sizes = r.choice((4, 4, 5, 6))
        x, i, after = 0.0, 0, None
        spans = []
        while x < bars - .01:
            what, share = cycle[i % len(cycle)]
            end = min(bars, x + share)
            # The last bars are the center's.
            if bars - x <= 1.01 and r.random() < .85:
                what, end = (0, "m") if self.mode == "minor" else 0, bars
            spans.append((t + x * meter * beat, t + end * meter * beat, what))
            x, i = end, i + 1
        before = None
        for j, (u, v, what) in enumerate(spans):
            if isinstance(what, int):
                tones = self.stack(what, 6)
                if what == 0 and self.mode == "ionian" and r.random() < .35:   # a sixth for the seventh
                    tones[3] -= 2
                if what == 4 and self.mode == "ionian" and r.random() < .2:
                    tones[4] -= 1
            else:
                tones = [self.c + what[0] + k for k in QUALITIES[what[1]]]
                if what[1] == "m" and what[0] == 0 and r.random() < .5:
                    tones[3] -= 1                                      # minor with a sixth or its leading tone
                if what[1] == "7" and self.mode == "minor":
                    tones[4] -= 1
            root = tones[0] % 12
            self.roots.append((u, v, root))
            upper = {"full": tones[:sizes], "broken": tones[:3], "triad": tones[:3], "shell": [tones[0], tones[1], tones[3]],
                     "rootless": r.choice(([tones[1], tones[3], tones[4]], [tones[3], tones[4], tones[1]],
                                           [tones[1], tones[2], tones[3], tones[4]]))}[left]
            if bass != "chord" and left == "shell":
                upper = upper[1:]
            low = self.low(root)
            beats = max(1, int(round((v - u) / beat)))
            if bass == "whole":
                self.put(u, v, low)
            elif bass == "short":
                self.put(u, u + beat * r.choice((.5, 1)), low)
            elif bass == "two":
                for x in range(0, beats, 2):
                    self.put(u + x * beat, min(v, u + (x + 1.8) * beat), low + ((tones[2] - tones[0]) if x % 4 == 2 else 0))
            elif bass == "walk":
                nxt = spans[j + 1][2] if j + 1 < len(spans) else what
                goal = self.low((self.pitch(nxt) if isinstance(nxt, int) else self.c + nxt[0]) % 12)
                for x, q in enumerate(self.walk(low, goal, [k - tones[0] for k in tones], beats)):
                    self.put(u + x * beat, min(v, u + (x + .95) * beat), q)
            if left == "broken":
                # Upward through the chord, and back or once more.
                cell = [low + 12 + k - tones[0] for k in tones[:up]]
                cell = cell + cell[-2:0:-1] if r.random() < .7 else cell
                y, k = 0.0, 0
                while u + y * beat < v - .02:
                    at = u + y * beat
                    self.put(at, v if ring else min(v, at + width * beat), cell[k % len(cell)])
                    y, k = y + width, k + 1
                continue
            start = self.middle if before is None else before + r.choice((-1, 0, 0, 1))
            start = min(max(start, 46), 62)
            first = start + (upper[0] - start) % 12
            if first - start > 7 and left != "full":
                first -= 12
            before = first
            pitches = [first]
            for p in upper[1:]:
                pitches.append(pitches[-1] + ((p - pitches[-1]) % 12 or 12))
            hits = [0] if self.hold else [h for h in self.sync if h < beats - .01] or [0]
            for h in hits:
                for p in pitches:
                    self.put(u + h * beat, v if self.hold else min(v, u + (h + .8) * beat), p)

    def walk(self, low, goal, tones, beats):
        """Quarters from a root to the next: through the chord, or by step, or both."""
        r = self.r
        kind = r.choice(("chord", "chord", "steps", "any"))
        out = [low]
        for x in range(1, beats):
            if x == beats - 1:
                q = goal + r.choice((-1, -1, 1, 1, 2, -2, 7, -5))
            elif kind == "chord":
                q = low + (tones + [tones[1]])[x % 4]
            elif kind == "steps":
                away = goal - out[-1]
                q = self.snap(out[-1] + (r.choice((1, 2)) if away > 0 or (away == 0 and r.random() < .5) else -r.choice((1, 2))))
                q = q if q != out[-1] else q + r.choice((-2, 2))
            else:
                q = low + r.choice(tones[1:5] + [12, 2, -5, 0])
            out.append(q)
        return out

    def stabs(self, t, bars, beat, meter):
        """One or two short chords, fifths or octaves struck again and again: percussive, yet somewhere."""
        r = self.r
        triad = self.stack(0)
        fifth = 7 if 7 in self.s else 12
        what = r.choice((triad, triad, triad[:2] + [triad[0] + 12], [self.c, self.c + fifth], [self.c, self.c + fifth, self.c + 12],
                         [self.c, self.c + 12], [self.c], self.stack(0, 4)))
        other = self.stack(r.randrange(1, self.n)) if r.random() < .3 else None
        low = r.choice((self.base, self.base, self.middle, self.middle + 12)) // 12 * 12
        length = r.choice((.06, .1, .15, .25, .5)) * (1 if r.random() < .7 else 2 * beat)
        cell = [x / 2 for x in range(2 * meter) if r.random() < r.choice((.3, .5, .8))] or [0.0]
        bass = r.random() < .3
        for b in range(bars):
            a = t + b * meter * beat
            shift = other is not None and b % 4 == 3 and b < bars - 1
            for x in cell:
                if r.random() < .05:
                    continue
                for p in other if shift else what:
                    at = a + x * beat + r.uniform(0, .006)
                    self.put(at, at + length, low + p if p < 24 else low + p - 12)
            if bass and b % 2 == 0:
                self.put(a, a + length, self.low(self.c % 12))

    def passing(self, a, e):
        """A chord from elsewhere that moves no center."""
        r = self.r
        root = r.randrange(12)
        kind = r.choice(((0, 3, 6, 9), (0, 4, 7, 10), (0, 4, 7), (0, 3, 7), (0, 4, 8)))
        self.put(a, e, self.low(root))
        for q in self.voice([root + k for k in kind], self.middle):
            self.put(a, e, q)

    def melodist(self):
        r = self.r
        return {"p": self.tune, "motif": [r.choice((-3, -2, -2, -1, -1, 1, 1, 2, 2, 3)) for _ in range(r.randrange(3, 7))], "i": 0}

    def near(self, p, pc):
        return p + (pc - p + 6) % 12 - 6

    def snap(self, p):
        own = {(self.c + x) % 12 for x in self.s}
        for _ in range(5):
            if p % 12 in own:
                return p
            p += self.r.choice((-1, 1))
        return p

    def melody(self, a, e, beat, meter, b, line, slip, ending, fam):
        r, style = self.r, self.right
        if fam == "blues" and style in ("walk", "thirds", "long"):
            return self.riff(a, e, beat, meter, line, ending)
        if fam in ("alone", "drone", "unison") and style in ("none", "chords", "sparse"):
            style = "walk"
        if style == "none":
            return
        if style == "chords":
            for x in self.sync:
                if x < meter:
                    k = r.choice((0, 0, 3, 4, r.randrange(self.n)))
                    for q in self.voice(self.stack(k), 64):
                        self.put(a + x * beat, min(e, a + (x + .8) * beat), q + slip)
            return
        step = {"long": r.choice((1, 2)), "sparse": 1}.get(style, self.stride) * beat
        stable = [self.c] * 3 + [self.pitch(min(4, self.n - 1))] + [self.pitch(2)]
        if fam == "alone":
            stable = [self.c] * 4 + [self.pitch(4)]
        x = a
        while x < e - .02:
            if style == "sparse" and r.random() < .5:
                x += step
                continue
            length = step * r.choice((1, 1, 1, 1, 2, .5)) if fam == "alone" or r.random() < .2 else step
            if ending and x + length >= e - 1.5 * beat:
                q = self.near(line["p"], r.choice(stable))
                self.put(x, max(x + .1, e - r.choice((0, 0, .5)) * beat), q + slip)
                line["p"] = q
                break
            if style == "arpeggio":
                q = 60 + (self.pitch(r.choice((0, 2, 4, 6, 1, 3, 5)[:r.choice((3, 4, 7))]) if self.n == 7 else r.randrange(self.n)) - 60) % 12 + 12 * r.randrange(2)
            else:
                if r.random() < .6:
                    q = line["p"] + line["motif"][line["i"] % len(line["motif"])]
                    line["i"] += 1
                else:
                    q = line["p"] + r.choice((-5, -3, -2, -2, -1, -1, 1, 1, 2, 2, 3, 5, 7, -7))
                q = self.snap(q)
                if self.sharp and (q - self.c) % 12 == 10 and r.random() < .6:
                    q += 1                                            # the leading tone
            if r.random() < self.dirt:
                n = q + r.choice((-1, 1))
                self.put(x, x + length * .5, n + slip)
                x += length * .5
                length *= .5
            lo, hi = (48, 86) if fam == "alone" else (57, 93)
            q = q + 12 if q < lo else q - 12 if q > hi else q
            self.put(x, x + length * r.uniform(.7, 1.05), q + slip)
            if style == "thirds" and self.n == 7:
                self.put(x, x + length * .9, self.snap(q - 4) + slip)
            line["p"] = q
            x += length
        self.tune = line["p"]


def move(rng, catalogue, before):
    """Where the music goes next: by collection, by bass, by any interval."""
    c, m = before
    x = rng.random()
    mode = draw_mode(rng, catalogue)
    own = catalogue.degrees[catalogue.index(m)]
    if x < .27 and len(own) == 7:
        # The same notes around another center: only the bass and the ends of phrases move.
        set_ = sorted((c + d) % 12 for d in own)
        options = []
        for i, mm in enumerate(catalogue.ids):
            for k in range(12):
                if (k != c) and sorted((k + d) % 12 for d in catalogue.degrees[i]) == set_ and mm not in ("minor",) \
                        and (mm != "locrian" or rng.random() < .1):
                    options.append((k, mm))
        if options:
            return rng.choice(options), True
    if x < .46:
        return (c, mode), False
    return ((c + rng.choice((5, 7, 5, 7, 3, 4, 8, 9, 2, 10, 1, 11, 6))) % 12, mode), False


# Loops of songs, in semitones above the center and a quality ("" major, m minor, 5 neither).
SONG_MAJOR = ["0 5", "0 5 7 5", "0 7 9m 5", "9m 5 0 7", "0 9m 5 7", "0 10 5 0", "0 10 5", "10 5 0 0", "0 5 0 7", "0 7 5 0", "0 7 5 7",
              "0 4m 5 7", "0 2m 5 7", "0 2m 7 0", "0 3 5 0", "0 3 5", "0 8 10 0", "8 10 0 0", "0 5m 0", "0 5 5m 0", "0 10", "0 10 8 7",
              "5 0 7 9m", "5 7 0 9m", "5 0", "5 7 0 0", "5 0 5 7", "0 2 5 0", "0 2 5 7", "0 4 5 5m", "9m 7 5 7", "2m 7 0 0", "0", "0 7", "0 0 0 5 5 0 7 5 0 7",
              "0 0 5 5 0 0 7 7", "0 10 0 5", "0 7m 5 0", "0 11 9m 7 5 0", "0 7 10 5", "0 9 2 7"]
SONG_MINOR = ["0m 8 3 10", "0m 10 8 10", "0m 10 8 7", "0m 5m 0m 7m", "0m 5 0m", "0m 3 10 5", "0m 10 5 0m", "0m 8 10", "0m", "0m 10", "0m 7m",
              "0m 5m 7 0m", "0m 10 3 8", "0m 8 5m 7", "8 10 0m 0m", "05 35 55", "05 105 05 35", "05 35 55 65 55", "05 105 85 105", "0m 2 5 0m", "0m 7",
              "0m 5m", "0m 3 5 8", "0m 10 8 8", "0m 8"]


def song(length, rng):
    """Verses and choruses over loops of chords, borrowed ones among them, under a tune on
    five to seven notes -> notes, segments (start, end, center, mode None), roots."""
    r = rng
    beat = 60 / r.uniform(66, 170)
    bar = 4 * beat
    c, t, notes, segments, roots = r.randrange(12), 0.0, [], [], []
    major = r.random() < .68
    sections = []
    for _ in range(r.choice((1, 2, 2, 3))):
        loop = r.choice(SONG_MAJOR if major else SONG_MINOR).split()
        if r.random() < .15:                                          # begun elsewhere in the loop
            k = r.randrange(len(loop))
            loop = loop[k:] + loop[:k]
        sections.append((loop, r.choice((.5, 1, 1, 1, 2))))
    texture = r.choice(("after", "after", "after", "block", "strum", "eighths", "broken", "riff"))
    pool = r.choice(((0, 2, 4, 7, 9), (0, 2, 4, 7, 9), (0, 2, 4, 5, 7, 9, 11), (0, 2, 4, 5, 7, 9, 10), (0, 3, 5, 7, 10), (0, 2, 3, 4, 7, 9)) if major
                    else ((0, 3, 5, 7, 10), (0, 3, 5, 7, 10), (0, 2, 3, 5, 7, 8, 10), (0, 2, 3, 5, 7, 9, 10), (0, 3, 5, 6, 7, 10)))
    sung = r.random() < .85
    density = r.uniform(.4, 1)
    rest = [0, 0, 0, 7, 4 if major else 3]
    p = 60 + r.randrange(12)
    begun = 0.0
    while t < length:
        if t - begun > 12 and r.random() < .12:
            segments.append((begun, t, c, None))
            c = (c + r.choice((1, 2, 2, 2, 3, 5, 7, 9, 10, 4))) % 12
            begun = t
        loop, bars = r.choice(sections)
        whole = [(x, bars) for x in loop]
        for _ in range(r.choice((1, 2, 2, 4))):
            motif = [(i * .5, r.choice(pool)) for i in range(32) if r.random() < density * .5]
            for i, (name, size) in enumerate(whole):
                quality = name[-1] if name[-1] in "m5" and len(name) > 1 else ""
                above = int(name[:-1] if quality else name)
                end = t + size * bar
                root = (c + above) % 12
                ring = (0, 7) if quality == "5" else (0, 3, 7) if quality == "m" else (0, 4, 7)
                if r.random() < .08 and quality != "5":
                    ring = (*ring, 10 if quality == "m" or above == 7 else 11)
                low = 34 + (root - 34) % 12
                bass = low if r.random() < .93 else low + ring[1]
                mid = [50 + (root + k - 50) % 12 for k in ring]
                roots.append((t, end, root))
                beats = size * 4
                if texture == "block":
                    notes += [(t, end, q) for q in (bass, *mid)]
                elif texture == "broken":
                    cell = [bass, *sorted(mid), sorted(mid)[1]]
                    notes += [(t + k * .5 * beat, t + (k * .5 + .5) * beat, cell[k % len(cell)]) for k in range(int(2 * beats))]
                else:
                    x = 0.0
                    while x < beats - .01:
                        if texture == "after":
                            notes.append((t + x * beat, t + (x + .9) * beat, bass))
                            if x + 1 < beats:
                                notes += [(t + (x + 1) * beat, t + (x + 1.9) * beat, q) for q in mid]
                            x += 2
                        elif texture == "riff":
                            notes.append((t + x * beat, t + (x + .45) * beat, bass if x == 0 or r.random() < .6 else low + r.choice((0, 12, 10, 7, 3 if not major else 12))))
                            if x % 2 == 1:
                                notes += [(t + x * beat, t + (x + .5) * beat, q) for q in mid]
                            x += .5
                        else:
                            w = .5 if texture == "eighths" else r.choice((.5, 1, 1, 1.5))
                            notes += [(t + x * beat, t + (x + w * .9) * beat, q) for q in (bass, *mid)]
                            x += w
                if sung:
                    for x, k in motif:
                        if x < beats and r.random() < .9:
                            last = i == len(whole) - 1 and x > beats - 2
                            k = r.choice(rest) if last and r.random() < .6 else root - c + r.choice(ring) if x == 0 and r.random() < .4 else k
                            q = p + (c + k - p + 6) % 12 - 6
                            q = q + 12 if q < 55 else q - 12 if q > 81 else q
                            notes.append((t + x * beat, t + (x + r.choice((.4, .5, .5, 1))) * beat, q))
                            p = q
                t = end
            if t > length:
                break
        if r.random() < .1:
            t += bar
    segments.append((begun, t, c, None))
    return notes, segments, roots


TEXTURES = ("block", "block", "repeated", "alberti", "alberti", "arpeggio", "arpeggio", "stride", "chorale", "broken", "line",
            "rolled", "held", "held", "stride")
# One key after another: all of a chord is heard only when the figure has gone round.
FIGURES = ("alberti", "arpeggio", "broken", "line", "held")


def figure(texture, low, voices, line):
    """The keys of one round of a broken chord, from its bass on; `line` orders the voices."""
    top, *rest = voices[::-1]
    over = [voices[i] for i in line if i < len(voices)]
    if texture == "alberti":                                          # low, high, middle, high
        return [low] + [p for middle in rest or [top] for p in (top, middle)] + [top] * (len(rest) > 1)
    if texture == "broken":
        return [low, *voices]
    if texture == "line":
        return [low, *over]
    return [low, *voices, *voices[-2::-1]]                            # up and back


def realise(chords, beat, rng, tune=True, texture=None, step=None):
    """Chords (start s, end s, root, bass, pitch classes) set for the piano anew, in one
    texture, under a made-up tune if `tune` -> notes.  `step`: seconds a note of a figure."""
    r = rng
    texture = texture or r.choice(TEXTURES)
    middle, base = r.choice((48, 52, 55, 57, 60)), r.choice((33, 36, 36, 40, 45))
    step = step or beat * r.choice((.5, .5, .25, 1, 1 / 3))
    # The bass stays out of the hand above it, or is doubled there.
    apart = r.random() < .5
    line = r.sample(range(8), 8)
    delay = r.choice((.03, .06, .1, .15, .22))
    long = max(.04 / step, r.choice((1, 1, .9, .6, .3, 2)))           # of a step that a note sounds
    notes, top, voices = [], 72, None
    for a, b, root, bass, pcs in chords:
        pcs = list(pcs) or [root]
        low = base + (bass - base) % 12
        over = [p for p in pcs if p != bass] if apart and len(pcs) > 2 else pcs
        if voices is None:
            voices = [middle + (p - middle) % 12 for p in over]
        else:                                                         # each voice to the nearest
            near = sum(voices) / len(voices)
            near += (middle + 4 - near) * .3
            voices = [round(near) + (p - round(near) + 6) % 12 - 6 for p in over]
        voices.sort()
        full = [low, *voices]
        if texture == "block":
            notes += [(a, b, p) for p in full]
        elif texture == "chorale":
            spread = [low, *[v + 12 * (i % 2) for i, v in enumerate(voices)]]
            notes += [(a, b, p) for p in spread]
        elif texture == "rolled":
            notes += [(min(b - .05, a + delay * i), b, p) for i, p in enumerate(full)]
        elif texture == "held":                                       # the bass lies, the rest moves
            notes.append((a, b, low))
            cell = figure(r.choice(("arpeggio", "line")), low, voices, line)[1:] or full
            notes += [(x, min(b, x + step * long), cell[i % len(cell)]) for i, x in enumerate(times(a, b, step))]
        elif texture in FIGURES:
            root_low = low + 12 if texture == "alberti" and low < 42 else low
            under = [p if p > root_low else p + 12 for p in voices]
            cell = figure(texture, root_low, sorted(under), line)
            notes += [(x, min(b, x + step * long), cell[i % len(cell)]) for i, x in enumerate(times(a, b, step))]
        else:
            for i, x in enumerate(times(a, b, step)):
                end = min(b, x + step)
                if texture == "repeated":
                    notes += [(x, end, p) for p in (full if i == 0 else voices)]
                    if i == 0 and b - a > step:
                        notes.append((a, b, low - 12 if low > 40 else low))
                elif i % 2 == 0:                                      # bass and chord in turn
                    notes.append((x, x + (end - x) * min(long, 1), low))
                else:
                    notes += [(x, x + (end - x) * min(long, 1), p) for p in voices]
        if tune and r.random() < .9:
            x = a
            while x < b - .04:
                w = step * r.choice((1, 1, 2, 2, 4))
                goal = r.choice(pcs)
                q = top + (goal - top + 6) % 12 - 6
                if r.random() < .25 and w >= step and q != top:      # a note passing by, then the chord's
                    half = min(b, x + w / 2)
                    notes.append((x, half, q + r.choice((-2, -1, 1, 2))))
                    x, w = half, w / 2
                q = q - 12 if q > 86 else q + 12 if q < 62 else q
                notes.append((x, min(b, x + w), q))
                top, x = q, x + w
    return [(a, b, p) for a, b, p in notes if b > a + .02]


def times(a, b, step):
    """From a on, every step, as long as something fits before b."""
    return [a + i * step for i in range(max(1, math.ceil((b - a - .04) / step)))]


def free(rng, t, end, beat):
    """Music without a center -> notes, label."""
    notes = []
    kind = rng.choice(("whole-tone", "octatonic", "chromatic", "chromatic", "clusters", "row"))
    k = rng.randrange(12)
    pcs = {"whole-tone": [(k + 2 * i) % 12 for i in range(6)], "octatonic": [(k + d) % 12 for d in (0, 1, 3, 4, 6, 7, 9, 10)]}.get(kind, list(range(12)))
    x, p = t, 60
    step = rng.choice((.25, .5, .5, 1)) * beat
    row = rng.sample(range(12), 12)
    i = 0
    wide = rng.random() < .4
    while x < end:
        if kind == "clusters":
            low = rng.randrange(28, 90)
            for n in range(rng.randrange(3, 6)):
                notes.append((x, x + step * 1.5, low + n * rng.choice((1, 1, 2))))
            x += step * rng.choice((1, 2, 2, 3))
            continue
        if kind == "row":
            pc = row[i % 12]
            i += 1
            p = 40 + (pc - 40) % 12 + 12 * rng.randrange(4)
        elif wide:
            p = 36 + (rng.choice(pcs) - 36) % 12 + 12 * rng.randrange(4)
        else:
            p += rng.choice((-4, -3, -2, -1, 1, 2, 3, 4))
            while p % 12 not in pcs:
                p += 1
            p = min(max(p, 45), 95)
            while p % 12 not in pcs:
                p -= 1
        notes.append((x, x + step * rng.uniform(.6, 1.6), p))
        if rng.random() < .2:
            notes.append((x, x + step, 36 + (rng.choice(pcs) - 36) % 12))
        x += step * rng.choice((1, 1, 1, 2))
    if kind == "whole-tone":
        return notes, (k % 2, "whole-tone")
    if kind == "octatonic":
        return notes, (k % 3, "octatonic")
    return notes, (0, "chromatic")


def drums(length, rng):
    """Someone drums on a few keys, and changes them now and then: nobody's center."""
    notes, t = [], 0.0
    while t < length:
        end = t + rng.uniform(4, 40)
        low = rng.choice((24, 30, 35, 35, 40, 48))
        keys = [low + rng.randrange(25) for _ in range(rng.choice((2, 3, 3, 4, 5, 6)))]
        beat = 60 / rng.uniform(60, 200)
        step = beat * rng.choice((.25, .5, .5, 1 / 3))
        hold = rng.choice((.05, .08, .12, .2))
        cell = [[k for k in keys if rng.random() < .35] for _ in range(rng.choice((8, 12, 16, 16)))]
        loose = rng.random() < .5
        i = 0
        while t < min(end, length):
            for k in cell[i % len(cell)] if not loose else [k for k in keys if rng.random() < .3]:
                at = max(0.0, t + rng.gauss(0, .006))
                notes.append((at, at + hold * rng.uniform(.7, 1.3), k))
            t, i = t + step, i + 1
    return notes


def scatter(length, rng):
    """Notes and clusters from anywhere."""
    notes, t = [], 0.0
    low, high = rng.choice((21, 36, 48)), rng.choice((72, 84, 96, 108))
    every, hold = rng.uniform(.08, 1.2), rng.uniform(.5, 3)
    even, many = rng.random() < .4, rng.choice((1, 1, 2, 3, 5))
    close = rng.random() < .4
    while t < length:
        key = rng.randrange(low, high)
        for i in range(rng.randrange(1, many + 1)):
            notes.append((t, t + every * hold * rng.uniform(.5, 1.5), key))
            key = min(108, key + rng.choice((1, 1, 2))) if close else rng.randrange(low, high)
        t += every if even else rng.expovariate(1 / every)
    return notes


def take(length, rng, catalogue):
    """-> notes [(onset s, end s, key)], segments [(start, end, center, mode)], roots."""
    beat = 60 / rng.uniform(52, 176)
    meter = rng.choice((4, 4, 4, 3, 3, 2, 5))
    player = Player(rng, catalogue)
    t, before, segments, keep = 0.0, None, [], False
    one = rng.random() < .2
    while t < length:
        if before and rng.random() < .04 or (not before and rng.random() < .05):
            end = t + rng.uniform(4, 20)
            notes, (c, mode) = free(rng, t, end, beat)
            player.notes += notes
            segments.append((t, end, c, mode))
            t = end + rng.choice((0, 0, 1))
            continue
        if before is None:
            now = (rng.randrange(12), draw_mode(rng, catalogue))
        elif rng.random() < .12 and len(segments) > 2:
            now = segments[0][2:]                                     # home again
            if now == before or now[1] not in catalogue.ids:
                continue
        else:
            now, keep = move(rng, catalogue, before)
        if now == before:
            continue
        if before and rng.random() < (.25 if keep or now[0] == before[0] else .5):
            player.habits()
        if player.family in ("blues", "changes"):
            # They have chords of their own, and so their modes.
            own = ("mixolydian",) * 6 + ("dorian", "aeolian", "blues") if player.family == "blues" else ("ionian",) * 5 + ("minor", "minor", "dorian")
            now = (now[0], rng.choice(own))
            if now == before:
                continue
            keep = False
        if not keep:
            player.cells = None
        player.settle(*now)
        bars = rng.choice((2, 3, 4, 4, 6, 8, 8, 12, 16))
        seconds = bars * meter * beat
        if seconds < 4:
            bars = math.ceil(4 / (meter * beat))
        if keep and player.family not in ("figure", "vamp", "drone", "held") and rng.random() < .6:
            player.family = "figure"
        if player.family == "blues":
            bars = rng.choice((12, 12, 24, 8, 4))
        if player.family == "changes":
            bars = rng.choice((2, 4, 4, 8, 8, 8, 12, 16, 16, 24))
        player.section(t, bars, beat, meter)
        end = t + bars * meter * beat
        segments.append((t, end, *now))
        t, before = end, now
        if one:
            break
        if rng.random() < .12:
            t += rng.uniform(.5, 5)
    if rng.random() < .04:                                            # someone drums along
        x = 0.0
        keys = [rng.randrange(35, 60) for _ in range(2)]
        while x < t:
            player.notes.append((x, x + .08, rng.choice(keys)))
            x += beat * rng.choice((.5, 1, 1))
    notes = [(a, b, p) for a, b, p in player.notes if b > a + .02]
    return notes, segments, player.roots

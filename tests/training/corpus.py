"""Labelled music as training material: tunes joined with moving centers, recast into
rarer modes, accompanied; pieces with local keys; songs; generated playing.

Files: JSON Lines, gzipped (.gz) or plain, one piece a line: name, kind (folk-mode, local-key, rock),
corpus, quarter (seconds), notes [[onset, length, key]] in quarters, segments
[{start, end, center, mode}] in seconds, chords [[start, end, root, bass, [pcs]]]."""

import glob
import gzip
import json
import math
import random

import numpy as np
import torch

import features
import jazz
import playing

# Learned from; the others are measured alone.
LEARNED = ("folk-mode", "local-key", "rock")
MADE_UP = "playing-"    # and a family's name
KINDS = LEARNED + ("folk-set", "perf-local", "perf-keysig")
NONE_KINDS = ("whole-tone", "octatonic", "chromatic")
# What of a collection is taken: chant, whose rhythm is mostly invented, and songs rather than dances.
THINNED = {"essenFolksong": .5, "cantus": .25, "antiphonale": .25, "jgabc": .25, "inadiutorium": .25}
DIATONIC = ("ionian", "dorian", "phrygian", "lydian", "mixolydian", "aeolian")


class Fault(Exception):
    """What is wrong with files or arguments, for whoever runs this."""


def load(paths):
    """Pieces of the files that the patterns name; their notes as "n", [n, 3] of onset s,
    end s, key. Raises Fault."""
    out = []
    for pattern in paths:
        found = sorted(glob.glob(pattern))
        if not found:
            raise Fault(f"{pattern}: no such file. Name JSON Lines as at the head of corpus.py; gather.py makes some.")
        for path in found:
            out += load_file(path)
    return out


def load_file(path):
    out = []
    try:
        with (gzip.open if path.endswith(".gz") else open)(path, "rt", encoding="utf-8") as f:
            for number, line in enumerate(f, 1):
                try:
                    out.append(piece(json.loads(line)))
                except (ValueError, TypeError, KeyError, AttributeError, IndexError) as fault:
                    what = f"{fault} is missing" if isinstance(fault, KeyError) else fault
                    raise Fault(f"{path}, line {number}: {what}. The format stands at the head of corpus.py.") from fault
    except (OSError, EOFError, UnicodeDecodeError) as fault:
        raise Fault(f"{path}: {fault}. It must be JSON Lines, gzipped if its name ends in .gz.") from fault
    return out


def piece(d):
    n = np.array(d.pop("notes"), float).reshape(-1, 3)
    if not len(n) or not np.isfinite(n).all() or not d["quarter"] > 0:
        raise ValueError("notes must be finite numbers, at least one note, and quarter above 0")
    n[:, 1] += n[:, 0]
    n[:, :2] *= d["quarter"]
    d["n"] = n[np.argsort(n[:, 0], kind="stable")]
    if d["kind"] not in KINDS and not d["kind"].startswith(MADE_UP):
        raise ValueError(f"kind {d['kind']!r}; it must be one of {', '.join(KINDS)}, or begin with {MADE_UP}")
    if not d["segments"] or any(not s["start"] < s["end"] or s["center"] not in range(12) for s in d["segments"]):
        raise ValueError("segments must be at least one, each with start < end and a center of 0 to 11")
    for text in d["name"], d["corpus"], *(s["mode"] for s in d["segments"]):
        if not isinstance(text, str):
            raise ValueError(f"{text!r} must be a text")
    return d


class Targets:
    """What a label allows: a row of the modes that count as right at the center."""

    def __init__(self, catalogue):
        self.catalogue = catalogue
        rows = [[m] for m in catalogue.ids] + [["aeolian", "minor"], list(catalogue.ids)]
        self.mask = np.zeros((len(rows), len(catalogue.ids)), np.float32)
        for i, row in enumerate(rows):
            for m in row:
                self.mask[i, catalogue.index(m)] = 1
        self.folk_minor = len(catalogue.ids)
        self.any = self.folk_minor + 1
        self.none = self.any + 1          # + kind of collection

    def of(self, mode, kind):
        if mode in NONE_KINDS:
            return self.none + NONE_KINDS.index(mode)
        if kind == "rock":
            return self.any
        if kind == "folk-mode" and mode == "aeolian":
            return self.folk_minor
        return self.catalogue.index({"major": "ionian", "minor": "minor"}.get(mode, mode))


class Source(torch.utils.data.IterableDataset):
    """An endless stream of labelled stretches of `length` seconds."""

    def __init__(self, items, catalogue, length, seed, mix, options=()):
        self.catalogue, self.length, self.seed, self.mix = catalogue, length, seed, mix
        self.options = set(options)
        self.targets = Targets(catalogue)
        self.folk = {}
        for d in items:
            for s in d["segments"]:
                try:
                    self.targets.of(s["mode"], d["kind"])
                except ValueError as fault:
                    raise Fault(f"{d['name']}: no mode {s['mode']!r} in config/modes.toml, major or minor") from fault
            if d["kind"] == "folk-mode":
                self.folk.setdefault(d["segments"][0]["mode"], []).append(d)
        self.local = [d for d in items if d["kind"] == "local-key"]
        self.rock = [d for d in items if d["kind"] == "rock"]
        for part, kind, there in (("tunes", "folk-mode tunes in Ionian", self.folk.get("ionian")), ("anew", "local-key pieces", self.local),
                                  ("pieces", "local-key pieces", self.local), ("songs", "rock songs", self.rock)):
            if mix.get(part) and not there:
                raise Fault(f"there are no {kind} in the data. Give files with some, or leave {part} out of --mix.")

    def __iter__(self):
        worker = torch.utils.data.get_worker_info()
        rng = random.Random(self.seed * 1009 + (worker.id if worker else 0))
        while True:
            yield self.one(rng)

    def one(self, rng):
        while True:
            kind = rng.choices(list(self.mix), list(self.mix.values()))[0]
            made = getattr(self, kind)(rng)
            if made is not None and len(made[0]) >= 8:
                return self.finish(rng, kind, *made)

    # -- the kinds; each gives notes [n, 3], segments (start, end, center, target), roots

    def playing(self, rng):
        notes, segments, roots = playing.take(self.length, rng, self.catalogue)
        of = lambda m: self.targets.of(m, "playing")
        return np.array(notes, float), [(a, b, c, of(m)) for a, b, c, m in segments], roots

    def jazz(self, rng):
        notes, segments, roots = jazz.take(self.length, rng, self.catalogue)
        of = lambda m: self.targets.any if m is None else self.targets.of(m, "playing")
        return np.array(notes, float), [(a, b, c, of(m)) for a, b, c, m in segments], roots

    def noise(self, rng):
        """Someone drums on the keys or scatters notes, alone or beside some playing."""
        alone = rng.random() < .5
        span = self.length if alone else rng.uniform(.25, .75) * self.length
        notes = (playing.drums if rng.random() < .6 else playing.scatter)(span, rng)
        if not notes:
            return None
        label = (0, self.targets.none + NONE_KINDS.index("chromatic"))
        if alone:
            return np.array(notes, float), [(0.0, span, *label)], []
        music, segments, roots = self.playing(rng)
        if rng.random() < .5:                                         # what is played comes first
            music = music[music[:, 0] < self.length - span].copy()
            music[:, 1] = np.minimum(music[:, 1], self.length - span)
            segments = [(a, min(b, self.length - span), c, m) for a, b, c, m in segments if a < self.length - span]
            roots = [(a, b, c) for a, b, c in roots if b < self.length - span]
            at, start = max([b for _, b, *_ in segments], default=0.0), 0.0
        else:
            at, start = 0.0, span
        music[:, :2] += start
        noise = np.array(notes, float)
        noise[:, :2] += at
        segments = [(a + start, b + start, c, m) for a, b, c, m in segments] + [(at, at + span, *label)]
        return np.concatenate([music, noise]), sorted(segments), [(a + start, b + start, c) for a, b, c in roots]

    def tunes(self, rng):
        """Tunes played straight on, center and mode moving between them; or one tune again and again."""
        parts, segments, roots, at, before = [], [], [], 0.0, None
        tempo = math.exp(rng.triangular(-.45, .5, 0))
        texture = rng.choice(("bare",) * 8 + ("drone", "chords", "chords", "broken", "oompah", "bass"))
        one = rng.random() < .15
        while at < self.length:
            mode = before[1] if one and before else rng.choice(REAL) if "no-recast" in self.options else draw_mode(rng, self.catalogue)
            d, source = self.tune(mode, rng)
            if before is None:
                c = rng.randrange(12)
            elif one:
                c = before[0]
            else:
                c = wander(rng, self.catalogue, before, mode)
                if c is None:
                    continue
            n = d["n"].copy()
            c0 = d["segments"][0]["center"]
            if source != mode:
                n[:, 2] = recast(self.catalogue, n[:, 2], c0, source, mode, rng)
            n[:, 2] += (c - c0 + 6) % 12 - 6 + 12 * rng.choice((-1, 0, 0, 0, 1))
            n[:, :2] = (n[:, :2] - n[0, 0]) * tempo
            if rng.random() < .15 and len(n) > 60 and not one:      # a tune cut short
                cut = n[rng.randrange(30, len(n)), 0]
                n = n[n[:, 0] < cut]
                n[:, 1] = np.minimum(n[:, 1], cut)
            if texture != "bare":
                while n[:, 2].min() < 56:
                    n[:, 2] += 12
                extra, more = accompany(self.catalogue, n, c, mode, texture, rng, .4 * tempo)
                roots += [(a + at, b + at, x) for a, b, x in more]
                n = np.concatenate([n, np.array(extra).reshape(-1, 3)])
            end = max(n[:, 1].max(), .5)
            n[:, :2] += at
            parts.append(n)
            label = self.targets.folk_minor if mode == "aeolian" and source == "aeolian" else self.catalogue.index(mode)
            segments.append((at, at + end, c, label))
            at += end
            before = (c, mode)
            if one:
                at += rng.choice((0, 0, 1, 3))
                if at > self.length * rng.uniform(.3, 1):
                    break
            elif rng.random() < .1:
                at += rng.random() * 3
        return np.concatenate(parts), segments, roots

    def tune(self, mode, rng):
        """A tune of that mode, or of another one to recast: real ones are few but for Ionian."""
        # Of each mode as large a part as its tunes are various.
        enough = len(self.folk.get(mode, ()))
        real = .9 if mode == "ionian" else .75 * enough / (enough + 100)
        if "no-recast" in self.options or rng.random() < real:
            return self.pick(mode, rng), mode
        near = {"aeolian": ("dorian", "ionian", "ionian"), "dorian": ("ionian", "ionian", "aeolian", "mixolydian"),
                "mixolydian": ("ionian", "ionian", "ionian", "dorian"), "lydian": ("ionian",), "phrygian": ("aeolian", "dorian", "ionian"),
                "minor": ("aeolian", "ionian"), "ionian": ("dorian", "mixolydian")}.get(mode, ("ionian", "dorian", "aeolian"))
        source = rng.choice([m for m in near if m in self.folk] or ["ionian"])
        return self.pick(source, rng), source

    def pick(self, mode, rng):
        """A tune; large collections that are unlike what is played at a keyboard less often than their size."""
        while True:
            d = rng.choice(self.folk[mode])
            if rng.random() < THINNED.get(d["corpus"], 1):
                return d

    def pieces(self, rng):
        """A stretch of a piece with local keys, as it is or recast into other modes."""
        d = rng.choice(self.local)
        n, tempo = d["n"].copy(), math.exp(rng.uniform(-.6, .5))
        segments = [(g["start"], g["end"], g["center"], g["mode"]) for g in d["segments"]]
        start = max(0, rng.uniform(-.3, 1) * (segments[-1][1] - self.length / tempo))
        again = rng.random() < (0 if "no-recast" in self.options else .25)
        if again and all(m in ("major", "minor") for *_, m in segments):
            out = []
            for a, b, c, m in segments:
                to = rng.choice(("lydian", "mixolydian", "ionian", "mixolydian", "dorian") if m == "major"
                                else ("dorian", "aeolian", "phrygian", "dorian", "phrygian_dominant"))
                k = (n[:, 0] >= a - 1e-6) & (n[:, 0] < b - 1e-6)
                p = n[k, 2]
                if m == "minor":
                    q = (p - c) % 12
                    p = p - ((q == 11) | (q == 9))
                n[k, 2] = recast(self.catalogue, p, c, "aeolian" if m == "minor" else "ionian", to, rng)
                out.append((a, b, c, self.catalogue.index(to)))
        else:
            out = [(a, b, c, self.targets.of(m, d["kind"])) for a, b, c, m in segments]
        return self.cut(d, n, out, start, tempo, [] if again else d.get("chords") or [])

    def anew(self, rng):
        """A stretch of a piece whose analysed chords are set for the piano anew, under a tune made
        up or the piece's own top line."""
        d = rng.choice(self.local if rng.random() < .55 or not self.rock else self.rock)
        if len(d.get("chords") or ()) < 12:
            return None
        targets = [(g["start"], g["end"], g["center"], self.targets.of(g["mode"], d["kind"])) for g in d["segments"]]
        spans = [b - a for a, b, *_ in d["chords"]]
        middle = sorted(spans)[len(spans) // 2]
        tempo = math.exp(rng.uniform(-.5, .5)) * min(2., max(.6, .9 / max(middle, .05)) if rng.random() < .5 else 1)
        start = max(0, rng.uniform(-.3, 1) * (targets[-1][1] - self.length / tempo))
        end = start + self.length / tempo
        own = rng.random() < .4
        beat = rng.choice((d["quarter"], middle, middle / 2))
        notes = playing.realise([c for c in d["chords"] if c[1] > start and c[0] < end], min(1.2, max(.25, beat * tempo)) / tempo, rng, not own)
        if not notes:
            return None
        n = np.array(notes, float)
        if own:
            n = np.concatenate([n, skyline(d["n"][(d["n"][:, 1] > start) & (d["n"][:, 0] < end)])])
        return self.cut(d, n[np.argsort(n[:, 0], kind="stable")], targets, start, tempo, d["chords"])

    def songs(self, rng):
        """A stretch of a song, of several put together, or of one made up."""
        made = rng.random()
        if made < .25:
            notes, segments, roots = playing.song(self.length, rng)
            return np.array(notes, float), [(a, b, c, self.targets.any) for a, b, c, _ in segments], roots
        if made > .6:
            return self.song(rng.choice(self.rock), self.length, rng)
        parts, segments, roots, at, center = [], [], [], 0.0, None
        while at < self.length:
            span = min(self.length - at, rng.uniform(8, 40))
            cut = self.song(rng.choice(self.rock), max(span, 4), rng)
            if cut is None:
                continue
            n, own, chords = cut
            if center is None or rng.random() < .5:
                center = (own[0][2] if center is None else center + rng.choice((1, 2, 2, 3, 4, 5, 5, 7, 7, 8, 9, 10, 10))) % 12
            move = (center - own[0][2] + 6) % 12 - 6
            n[:, 2] += move
            n[:, 0] += at
            n[:, 1] = np.minimum(n[:, 1] + at, at + span)
            parts.append(n)
            segments += [(a + at, min(b, span) + at, (c + move) % 12, m) for a, b, c, m in own if a < span]
            roots += [(a + at, min(b, span) + at, (x + move) % 12) for a, b, x in chords if a < span]
            at, center = at + span, segments[-1][2]
        return np.concatenate(parts), segments, roots

    def song(self, d, length, rng):
        tempo = math.exp(rng.uniform(-.35, .35))
        out = [(g["start"], g["end"], g["center"], self.targets.any) for g in d["segments"]]
        start = max(0, rng.uniform(-.3, 1) * (out[-1][1] - length / tempo))
        return self.cut(d, d["n"].copy(), out, start, tempo, d.get("chords", []), length)

    def cut(self, d, n, segments, start, tempo, chords, length=None):
        end = start + (length or self.length) / tempo
        n = n[(n[:, 1] > start) & (n[:, 0] < end)]
        if len(n) < 10:
            return None
        n[:, 0] = np.maximum(n[:, 0], start)
        n[:, :2] = (n[:, :2] - start) * tempo
        place = lambda a, b: (max(0, (a - start) * tempo), (b - start) * tempo)
        return (n, [(*place(a, b), c, m) for a, b, c, m in segments if b > start and a < end],
                [(*place(x[0], x[1]), x[2]) for x in chords if x[1] > start and x[0] < end])

    # -- as played

    def finish(self, rng, kind, n, segments, roots):
        np_rng = np.random.default_rng(rng.randrange(2**31))
        n = n.copy()
        shift = rng.randrange(12)
        n[:, 2] += shift - 6
        # Tunes come as written more often than not: the beat tells where home is.
        care = .4 if kind == "tunes" else 1
        if rng.random() < .45 * care:                                 # human timing
            n[:, :2] += np_rng.normal(0, rng.choice((.008, .02, .03)), (len(n), 1))
        if rng.random() < .25 * care:                                 # rubato
            rate, depth, phase = rng.uniform(.05, .25), rng.uniform(.02, .12), rng.random() * 6.28
            warp = lambda x: x + depth / rate * np.sin(rate * x * 6.28 + phase) / 6.28
            n[:, :2] = warp(n[:, :2])
            segments = [(float(warp(a)) if a else 0.0, float(warp(b)), c, m) for a, b, c, m in segments]
            roots = [(float(warp(a)), float(warp(b)), c) for a, b, c in roots]
        x = rng.random() / care
        if x < .25:                                                   # detached
            n[:, 1] = n[:, 0] + (n[:, 1] - n[:, 0]) * rng.uniform(.25, .9)
        elif x < .5:                                                  # the damper pedal, changed now and then
            n[:, 1] = pedal(n, rng)
        if rng.random() < .15 * care:                                 # wrong notes
            k = np_rng.random(len(n)) < .02
            n[k, 2] += np_rng.choice((-1, 1), k.sum())
        if rng.random() < .15 * care:                                 # notes left out
            n = n[np_rng.random(len(n)) > rng.uniform(.02, .2)]
        if rng.random() < .1:                                         # rolled chords
            order = np.lexsort((n[:, 2], n[:, 0]))
            n = n[order]
            together = np.concatenate([[0], np.cumsum(np.diff(n[:, 0]) > .02)])
            rank = np.arange(len(n)) - np.searchsorted(together, together)
            n[:, 0] += rank * rng.uniform(.02, .07)
        n[:, 1] = np.maximum(n[:, 1], n[:, 0] + .03)
        end_of_all = self.length
        backward = rng.random() < (.2 if "backward" in self.options else 0)
        if backward:
            top = max(n[:, 1].max(), max(b for _, b, *_ in segments))
            n[:, :2] = top - n[:, [1, 0]]
            segments = [(top - b, top - a, c, m) for a, b, c, m in reversed(segments)]
            roots = [(top - b, top - a, c) for a, b, c in roots]
        first = n[:, 0].min()
        n[:, :2] -= first
        n = n[n[:, 0] < end_of_all]
        frames = int(round(self.length / features.STEP))
        r = features.raw(n, frames, sustained=rng.random() < .2)
        # Center, target, and whether it is away from the stretch's main center.
        y = np.full((frames, 3), -1, np.int64)
        spent = {}
        for a, b, c, _ in segments:
            spent[c] = spent.get(c, 0) + b - a
        main = max(spent, key=spent.get)
        for i, (a, b, c, m) in enumerate(segments):
            a, b = a - first, b - first
            lo = int(round(max(a + .3 if a > .2 else 0, .8) / features.STEP))
            hi = min(frames, int(round(b / features.STEP)))
            if lo < hi:
                y[lo:hi] = ((c + shift - 6) % 12, m, kind in ("pieces", "anew", "songs") and c != main)
        # Past the last sound's echo nothing is asked.
        stop = int(n[:, 1].max() / features.STEP) + 20
        y[stop:] = -1
        yr = np.full(frames, -1, np.int64)
        for a, b, c in roots:
            lo, hi = int((max(a - first, 0) + .1) / features.STEP), min(frames, int((b - first) / features.STEP))
            if lo < hi:
                yr[lo:hi] = (c + shift - 6) % 12
        return torch.from_numpy(r), torch.from_numpy(y), torch.from_numpy(yr), torch.tensor(float(backward))


def skyline(n):
    """The notes above which nothing sounds as they begin."""
    n = n[np.lexsort((-n[:, 2], n[:, 0]))]
    keep, sounding = [], []
    for i, (a, b, p) in enumerate(n):
        sounding = [(e, q) for e, q in sounding if e > a + .03]
        if all(q <= p for _, q in sounding):
            keep.append(i)
        sounding.append((b, p))
    return n[keep]


REAL = ("ionian", "ionian", "dorian", "mixolydian", "aeolian")
TUNE_MODES = {"ionian": .2, "dorian": .17, "mixolydian": .19, "aeolian": .16, "lydian": .07, "phrygian": .06, "minor": .06}


def draw_mode(rng, catalogue):
    if rng.random() < .09:
        return rng.choice([m for m in catalogue.ids if m not in TUNE_MODES and len(catalogue.degrees[catalogue.index(m)]) == 7])
    return rng.choices(list(TUNE_MODES), list(TUNE_MODES.values()))[0]


PARENT = {"ionian": 0, "dorian": 2, "phrygian": 4, "lydian": 5, "mixolydian": 7, "aeolian": 9, "locrian": 11, "minor": 9}


def wander(rng, catalogue, before, mode):
    """The next tune's center: every kind of move alike."""
    c, m = before
    kind = rng.choice(("relative", "relative", "parallel", "parallel", "fifth", "third", "step", "tritone"))
    if kind == "relative":
        if m not in PARENT or mode not in PARENT:
            return None
        x = (c - PARENT[m] + PARENT[mode]) % 12
        return x if x != c else None
    if kind == "parallel":
        return c if mode != m else None
    return (c + rng.choice({"fifth": (5, 7), "third": (3, 4, 8, 9), "step": (1, 2, 10, 11), "tritone": (6,)}[kind])) % 12


def recast(catalogue, keys, center, source, to, rng):
    """Keys moved degree by degree from one seven-note mode to another; others stay.
    Into common-practice minor the seventh leads upward more often than not."""
    a = sorted(catalogue.degrees[catalogue.index(source)])
    b = catalogue.degrees[catalogue.index(to)]
    b = b if to not in ("minor",) else [0, 2, 3, 5, 7, 8, rng.choice((11, 11, 10))]
    # Degrees keep their numbers, so doubly lowered ones may cross.
    by = np.zeros(12)
    for x, y in zip(a, b):
        by[x] = (y - x + 6) % 12 - 6
    return keys + by[((keys - center) % 12).astype(int)]


def pedal(n, rng):
    """Ends as a damper pedal leaves them, changed every so often."""
    every = rng.uniform(.4, 3.0) if rng.random() < .85 else rng.uniform(4, 12)
    change = (np.floor(n[:, 1] / every) + 1) * every + .05
    return np.where(np.random.default_rng(rng.randrange(2**31)).random(len(n)) < .97, change, n[:, 1])


def accompany(catalogue, tune, c, mode, texture, rng, beat):
    end = tune[:, 1].max()
    out, roots = [], []
    low = 36 + (c - 36) % 12
    s = catalogue.degrees[catalogue.index(mode)]
    fifth = 7 if 7 in s else 12
    if texture == "drone":
        t, length = 0.0, rng.choice((2, 4, 8)) * beat
        both = rng.random() < .6
        while t < end:
            out += [(t, min(end, t + length), low + k) for k in ((0, fifth) if both else (0,))]
            t += length
        return out, roots
    s = list(s)
    if mode == "minor":
        s[6] = 10
    triads = []
    for d in range(7):
        pcs = [(c + s[(d + k) % 7]) % 12 for k in (0, 2, 4)]
        if mode == "minor" and d == 4:
            pcs[1] = (c + 11) % 12
        triads.append(pcs)
    bar = rng.choice((2, 3, 4)) * beat
    count = int(math.ceil(end / bar))
    seventh = rng.random() < .25
    before = 0
    for b in range(count):
        t0, t1 = b * bar, min(end, (b + 1) * bar)
        held = np.zeros(12)
        lap = np.minimum(tune[:, 1], t1) - np.maximum(tune[:, 0], t0)
        lap = np.where(lap > 0, lap * np.where(tune[:, 0] <= t0 + 1e-6, 1.5, 1), 0)
        np.add.at(held, tune[:, 2].astype(int) % 12, lap)
        d = 0
        if b not in (0, count - 1):
            def fit(d):
                dim = (triads[d][2] - triads[d][0]) % 12 == 6
                return (held[triads[d]].sum() + .15 * (d == 0) - .4 * dim + .1 * (before in (4, 6) and d == 0) * bar + .35 * rng.random() * bar)
            d = max(range(7), key=fit)
        before = d
        pcs = list(triads[d]) + ([(c + s[(d + 6) % 7]) % 12] if seventh and d else [])
        root = 40 + (pcs[0] - 40) % 12
        voiced = [root] + [root + (p - pcs[0]) % 12 for p in pcs[1:]]
        if rng.random() < .12:
            voiced[0] += 12
        roots.append((t0, t1, pcs[0]))
        if texture == "chords":
            out += [(t0, t1, p) for p in voiced]
        elif texture == "bass":
            out.append((t0, t1, voiced[0] - 12))
        elif texture == "broken":
            t, k = t0, 0
            while t < t1 - 1e-6:
                out.append((t, min(t1, t + beat / 2), voiced[(0, 1, 2, 1)[k % 4]]))
                t, k = t + beat / 2, k + 1
        else:
            out.append((t0, min(t1, t0 + beat), voiced[0] - 12))
            t = t0 + beat
            while t < t1 - 1e-6:
                out += [(t, min(t1, t + beat * .8), p) for p in voiced[1:]]
                t += beat
    return out, roots

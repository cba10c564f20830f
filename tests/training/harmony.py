"""Learns which chord is meant, stroke by stroke: config/harmony.weights.

    python harmony.py --data 'DIR/*.jsonl.gz' --out DIR [--minutes 8] [--seed 1] …

A stroke is what is struck within 70 ms.  At each stroke the music is described as seen
from each of the twelve possible roots (`features`), and one small gated recurrent network
with the same weights for all twelve says for each how likely it is the root of a major,
minor, diminished, augmented or other chord, and how likely it is the bass that is meant.
Labels: analysts' chords, and chords set in textures by `playing.realise`.

`src/engine/harmony.rs` computes the same; the golden test holds the two together."""

import argparse
import copy
import math
import random
import sys
import time
import tomllib
from pathlib import Path

import numpy as np
import torch
import torch.nn as nn

import corpus
import features as frames
import network
import playing

HERE = Path(__file__).parent
CLUSTER = 0.07
FADE = 4.0
LOW = 55            # keys below are the left hand's, more often than not
SOUND = (.5, 2., 8., 30.)
STRUCK = (.3, 1.)
BASS = (1., 4.)
BLOCKS = """struck
lowest struck
highest struck
sound, faded by age/4 s
bass: lowest sounding
struck below key 55, window 2
bass, windows 1 and 4, held between strokes
sound, windows 0.5 2 8 30, held between strokes
struck, windows 0.3 1
scalars: since the stroke before/1 at most 2; that under 0.2; struck/5 at most 2; sounding/8 at most 2; lowest struck above the bass/24 at most 2; highest struck above the bass/48 at most 2; alone and not lowest; backward
"""
BLOCK_COUNT = 14
SCALARS = 8
INPUTS = 12 * BLOCK_COUNT + SCALARS
KINDS = 5           # major, minor, diminished, augmented, other
DEGREES = 11        # semitones 1 to 11 above the root
HEADS = KINDS + 1 + DEGREES     # the bass after the kinds
NONE = -1           # no label


def kind(root, pcs):
    r = {(p - root) % 12 for p in pcs}
    if 4 in r:
        return 3 if 8 in r and 7 not in r else 0
    if 3 in r:
        return 2 if 6 in r and 7 not in r else 1
    return 4


class Table:
    """The chords that have a name, as sets above the root."""

    def __init__(self, kinds):
        self.sets, self.triads = [], []
        for _, above, _ in kinds:
            above = frozenset(above)
            if above not in self.sets:
                self.sets.append(above)
                self.triads.append(kind(0, above))
        self.rows = torch.tensor([[float(i in s) for i in range(1, 12)] for s in self.sets])
        self.of = torch.tensor(self.triads)

    def place(self, root, pcs):
        """Of an analyst's chord, or of the nearest if only one note of four is another."""
        above = frozenset((p - root) % 12 for p in pcs)
        if above in self.sets:
            return self.sets.index(above)
        near = [i for i, s in enumerate(self.sets) if len(s ^ above) == 1 and len(s) > 3 and self.triads[i] == kind(0, above)]
        return near[0] if near else NONE

    def scores(self, degrees, triad):
        """[..., DEGREES] seen from a root, and the triad on it [...] -> logarithms [..., chords]."""
        x = degrees @ self.rows.to(degrees).T
        return x.masked_fill(self.of.to(triad) != triad[..., None], -1e4).log_softmax(-1)


def strokes(n, most=None):
    """Of notes [n, 3] (onset s, end s, key; in order of onset): a row for each stroke, of the first
    `most`: at, struck (12), sound (12), lowest struck, highest struck, bass, how many struck, sounding."""
    rows, i, active = [], 0, {}
    notes = [(on, off, int(key)) for on, off, key in n.tolist()]
    while i < len(notes) and (most is None or len(rows) < most):
        at, j = notes[i][0], i
        while j < len(notes) and notes[j][0] <= at + CLUSTER:
            j += 1
        now = notes[j - 1][0]
        struck = {key for _, _, key in notes[i:j]}
        for on, off, key in notes[i:j]:
            active[key] = on, off
        active = {k: v for k, v in active.items() if v[1] > now}
        row = [0.] * 30
        row[0] = at
        for k, (on, _) in active.items():
            row[13 + k % 12] = max(row[13 + k % 12], math.exp(-(now - on) / FADE))
        for k in struck:
            # What was let go within its own stroke still belongs to it.
            row[1 + k % 12] = row[13 + k % 12] = 1
        low = min(struck)
        row[25:30] = low, max(struck), min([low, *active]), len(struck), len(struck | set(active))
        rows.append(row)
        i = j
    return np.array(rows)


def features(s, backward=False):
    """[strokes, 30] -> [strokes, INPUTS]; `backward`: told from the end."""
    if backward:
        s = s[::-1]
    count, each = len(s), np.arange(len(s))
    at, struck, sound = s[:, 0], s[:, 1:13], s[:, 13:25]
    low, high, deep = s[:, 25:28].astype(int).T
    dt = np.clip(np.abs(np.diff(at, prepend=at[0] - 2)), .02, 8)
    taus = np.array([2., *BASS, *SOUND, *STRUCK])
    keep = np.exp(-dt[:, None] / taus)
    gain = taus * (1 - keep)

    def one(key):
        out = np.zeros((count, 12))
        out[each, key % 12] = 1
        return out

    bass = one(deep)
    before = lambda x: np.concatenate([np.zeros((1, 12)), x[:-1]])
    added = np.zeros((count, 9, 12))
    added[:, 1:3] = gain[:, 1:3, None] * before(bass)[:, None]
    added[:, 3:7] = gain[:, 3:7, None] * before(sound)[:, None]
    added[:, 7:] = .3 * struck[:, None]
    added[:, 0] = .5 * one(low) * (low < LOW)[:, None]
    windows = np.zeros((count, 9, 12))
    past = windows[0]
    for i in range(count):
        past = windows[i] = past * keep[i][:, None] + added[i]
    out = np.zeros((count, INPUTS), np.float32)
    b = out[:, :12 * BLOCK_COUNT].reshape(count, BLOCK_COUNT, 12)
    for place, block in enumerate((struck, one(low), one(high), sound, bass)):
        b[:, place] = block
    b[:, 5:] = np.sqrt(windows / (windows.sum(-1, keepdims=True) + .15))
    scalars = (np.minimum(dt, 2), dt < .2, np.minimum(s[:, 28] / 5, 2), np.minimum(s[:, 29] / 8, 2), np.minimum((low - deep) / 24, 2),
               np.minimum((high - deep) / 48, 2), (s[:, 28] == 1) & (low > deep), np.full(count, backward))
    out[:, 12 * BLOCK_COUNT:] = np.stack(scalars, 1)
    return out


class Network(nn.Module):
    def __init__(self, hidden=64, dropout=0.):
        super().__init__()
        self.hidden = hidden
        self.enter = nn.Linear(INPUTS, hidden)
        self.memory = nn.GRU(hidden, hidden, batch_first=True)
        self.heads = nn.Linear(hidden, HEADS)
        self.drop = nn.Dropout(dropout)

    def forward(self, x):
        """[batch, strokes, INPUTS] -> [batch, strokes, 12 roots, HEADS]"""
        batch, time, _ = x.shape
        blocks = x[..., :12 * BLOCK_COUNT].reshape(batch, time, BLOCK_COUNT, 12)
        index = (torch.arange(12)[:, None] + torch.arange(12)[None, :]) % 12
        views = blocks[..., index.to(x.device)]                      # [batch, time, block, view, above]
        views = views.permute(0, 3, 1, 2, 4).reshape(batch, 12, time, -1)
        scalars = x[:, None, :, 12 * BLOCK_COUNT:].expand(-1, 12, -1, -1)
        y = torch.cat([views, scalars], -1).reshape(batch * 12, time, INPUTS)
        y, _ = self.memory(self.drop(torch.relu(self.enter(y))))
        return self.heads(self.drop(y)).reshape(batch, 12, time, HEADS).transpose(1, 2)


def scores(heads):
    """Logarithms of probability: [..., 12 * KINDS] of chords, [..., 12] of the bass;
    and what each degree says, [..., 12, DEGREES]."""
    chord = heads[..., :KINDS].flatten(-2).log_softmax(-1)
    return chord, heads[..., KINDS].log_softmax(-1), heads[..., KINDS + 1:]


class Source(torch.utils.data.IterableDataset):
    """An endless stream of stretches of `count` strokes: features, chord, bass, seconds."""

    def __init__(self, items, kinds, count, seed, made, songs=1.):
        self.items = [d for d in items if len(d.get("chords", ())) >= 12]
        self.weights = [math.sqrt(len(d["chords"])) * (songs if d["kind"] == "rock" else 1) for d in self.items]
        self.kinds, self.count, self.seed, self.made = kinds, count, seed, made
        self.table = Table(kinds)

    def __iter__(self):
        worker = torch.utils.data.get_worker_info()
        rng = random.Random(self.seed * 1009 + (worker.id if worker else 0))
        while True:
            item = self.one(rng)
            if item is not None:
                yield item

    def one(self, rng):
        if rng.random() < self.made:
            n, chords = self.textures(rng)
        else:
            d = rng.choices(self.items, self.weights)[0]
            n, chords = d["n"], d["chords"]
            if d["kind"] == "rock" and rng.random() < .5 or rng.random() < .1:
                n = np.array(playing.realise(chords, rng.choice((d["quarter"], .5)), rng), float).reshape(-1, 3)
                n = n[np.argsort(n[:, 0], kind="stable")]
            # Some more than the strokes that will be left.
            first = rng.randrange(max(1, len(n) - self.count))
            n = n[first:first + 3 * self.count].copy()
        if len(n) < 30:
            return None
        n, warp = self.perform(rng, n.copy())
        s = strokes(n, self.count)
        if len(s) < 24:
            return None
        count = len(s)
        ends = np.array([warp(c[1]) for c in chords])
        at = s[:, 0] + .02
        place = np.searchsorted(ends, at, side="right")
        y = np.full((self.count, 3), NONE)
        for i in range(count):
            if place[i] < len(chords):
                a, b, root, bass, pcs = chords[place[i]]
                if warp(a) <= at[i]:
                    y[i] = root * KINDS + kind(root, pcs), bass, self.table.place(root, pcs)
        seconds = np.zeros(self.count, np.float32)
        seconds[:count - 1] = np.clip(np.diff(s[:, 0]), .05, 2)
        seconds[count - 1] = .2
        backward = rng.random() < .4
        x = np.zeros((self.count, INPUTS), np.float32)
        x[:count] = features(s, backward)
        if backward:
            y[:count], seconds[:count] = y[:count][::-1].copy(), seconds[:count][::-1].copy()
        return torch.from_numpy(x), torch.from_numpy(y), torch.from_numpy(seconds)

    def textures(self, rng, texture=None):
        """Chords of all kinds going about, in one texture."""
        chords, t, root = [], 0., rng.randrange(12)
        beat = math.exp(rng.uniform(math.log(.25), math.log(.9)))
        texture = texture or rng.choice(playing.TEXTURES)
        step = beat * rng.choice((.5, .5, .25, 1, 1 / 3))
        plain = rng.random() < .4
        scale = [0, 2, 4, 5, 7, 9, 11]
        tonic = rng.randrange(12)
        diatonic = rng.random() < .6
        rare = rng.choice((4, 2))
        while len(chords) < 60:
            for _ in range(20):
                symbol, above, cost = rng.choice(self.kinds[:12] if plain else self.kinds)
                if rng.random() > math.exp(-rare * cost):
                    continue
                if diatonic and rng.random() < .9 and not all((root + k - tonic) % 12 in scale for k in above):
                    continue
                break
            bass = root
            # Not on its third: Am7/C is C6, Am7b5/C is Cm6.  Of dim7 each note is the root.
            others = above[2:] if symbol in ("m7", "m7b5") else above[1:]
            if len(above) <= 4 and cost < .13 and symbol != "dim7" and rng.random() < .4:
                bass = (root + rng.choice(others)) % 12
            length = beat * rng.choice((1, 2, 2, 4, 4, 3))
            if texture in playing.FIGURES:                            # once round, or nearly
                length = max(length, step * len(above) * rng.uniform(.8, 3))
            chords.append((t, t + length, root, bass, [(root + k) % 12 for k in above]))
            t += length
            if rng.random() > .15:
                root = (root + rng.choice((5, 5, 7, 2, 10, 9, 8, 4, 3, 1, 11, 6))) % 12
                if diatonic:
                    root = min((tonic + k) % 12 for k in scale if (root - tonic - k) % 12 in (0, 1))
        n = np.array(playing.realise(chords, beat, rng, rng.random() < .5, texture, step), float)
        return n[np.argsort(n[:, 0], kind="stable")], chords

    def perform(self, rng, n):
        """As somebody plays it -> notes in order, and where a moment of before is now."""
        np_rng = np.random.default_rng(rng.randrange(2**31))
        rate, start = math.exp(rng.uniform(-.5, .5)), n[0, 0]
        warp = lambda t: (t - start) * rate
        n[:, :2] = (n[:, :2] - start) * rate
        x = rng.random()
        if x < .25:
            n[:, 1] = n[:, 0] + (n[:, 1] - n[:, 0]) * rng.uniform(.2, .9)
        elif x < .55:
            n[:, 1] = corpus.pedal(n, rng)
        if rng.random() < .5:
            n[:, :2] += np_rng.normal(0, rng.choice((.004, .01, .02)), (len(n), 1))
        if rng.random() < .15:
            n = n[np.lexsort((n[:, 2], n[:, 0].round(2)))]
            together = np.concatenate([[0], np.cumsum(np.diff(n[:, 0]) > .03)])
            rank = np.arange(len(n)) - np.searchsorted(together, together)
            n[:, 0] += rank * rng.uniform(.01, .08)
        if rng.random() < .1:
            k = np_rng.random(len(n)) < .02
            n[k, 2] += np_rng.choice((-1, 1), k.sum())
        if rng.random() < .3:
            n[:, 2] += 12 * rng.choice((-1, 1))
        n[:, 0] = np.maximum(0, n[:, 0])
        n[:, 1] = np.maximum(n[:, 1], n[:, 0] + .03)
        return n[np.argsort(n[:, 0], kind="stable")], warp


def all_kinds(path):
    """(symbol, semitones, cost) of config/chords.toml, the plain ones first."""
    out = [(c["symbol"], [network.semitones(d) for d in c["degrees"].split()], c["cost"])
           for c in tomllib.loads(Path(path).read_text(encoding="utf-8"))["chord"]]
    return sorted(out, key=lambda k: k[2])


def learn(args):
    torch.manual_seed(args.seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    items = corpus.load(args.data)
    if args.leave_out:
        items = [d for d in items if not any(x in d["corpus"] for x in args.leave_out.split(","))]
    source = Source(items, all_kinds(args.chords), args.count, args.seed, args.made, args.songs)
    table = source.table
    net = Network(args.hidden, args.dropout).to(device).train()
    mean = copy.deepcopy(net).eval()
    print(len(source.items), "pieces,", sum(p.numel() for p in net.parameters()), "weights", flush=True)
    opt = torch.optim.AdamW(net.parameters(), lr=args.rate, weight_decay=args.decay)
    ahead = {"prefetch_factor": 4} if args.workers else {}
    stream = iter(torch.utils.data.DataLoader(source, batch_size=args.batch, num_workers=args.workers, pin_memory=device == "cuda", **ahead))
    begun, step, run = time.time(), 0, None
    while True:
        part = step / args.steps if args.steps else (time.time() - begun) / (60 * args.minutes)
        if part >= 1:
            break
        rate = args.rate * min(1, part / .04) * (.5 * (1 + np.cos(np.pi * max(0, part - .04) / .96)) * .99 + .01)
        for g in opt.param_groups:
            g["lr"] = rate
        x, y, seconds = (v.to(device, non_blocking=True) for v in next(stream))
        chord, bass, degrees = scores(net(x).float())
        use = y[..., 0] >= 0
        w = (seconds * use).clamp(min=0)
        total = w.sum() + 1e-6
        c = -(chord.gather(-1, y[..., :1].clamp(min=0))[..., 0] * w).sum() / total
        b = -(bass.gather(-1, y[..., 1:2].clamp(min=0))[..., 0] * w).sum() / total
        # Which chord on the root and triad that are right.
        root = (y[..., 0].clamp(min=0) // KINDS)[..., None, None].expand(-1, -1, 1, DEGREES)
        which = table.scores(degrees.gather(2, root)[:, :, 0], y[..., 0].clamp(min=0) % KINDS)
        wk = w * (y[..., 2] >= 0)
        k = -(which.gather(-1, y[..., 2:].clamp(min=0))[..., 0] * wk).sum() / (wk.sum() + 1e-6)
        same = use[:, 1:] & use[:, :-1] & (y[:, 1:, 0] == y[:, :-1, 0])
        moved = [((p := v.exp())[:, 1:] - p[:, :-1]).abs().sum(-1)[same].mean() / 2 for v in (chord, which, bass)]
        loss = c + .4 * b + args.which * k + args.calm * (moved[0] + args.which * moved[1] + .4 * moved[2])
        opt.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.)
        opt.step()
        with torch.no_grad():
            keep = min(.999, step / (step + 20.))
            for m, q in zip(mean.parameters(), net.parameters()):
                m.lerp_(q, 1 - keep)
        now = np.array([v.item() for v in (c, b, k, *moved)]) if step % 10 == 0 or run is None else now
        run = now if run is None else .9 * run + .1 * now if step % 10 == 0 else run
        if step % 200 == 0:
            print(step, run.round(4), "%.0f s" % (time.time() - begun), flush=True)
        step += 1
    print("steps", step, flush=True)
    out = Path(args.out)
    out.mkdir(parents=True, exist_ok=True)
    write(out / (args.name + ".weights"), network.round_(mean.cpu()))
    if args.check:
        pieces = [d for d in corpus.load(args.check) if d.get("chords")]
        print(figures([mean], pieces), flush=True)
        print(named([mean], source, args.seed + 1000), flush=True)


def write(path, net):
    """As `src/engine/weights.rs` reads it."""
    network.write(path, [net], inputs=INPUTS, mark=frames.fingerprint(BLOCKS))


def read(path):
    """A network as `write` wrote it. Raises ValueError."""
    nets, _ = network.read(path, Network, INPUTS, frames.fingerprint(BLOCKS))
    return nets[0]


def heard(nets, n):
    """-> strokes, and the logarithms of probability forward and backward."""
    s = strokes(n)
    out = []
    with torch.no_grad():
        for backward in False, True:
            x = torch.from_numpy(features(s, backward))[None]
            all_ = [scores(net(x)) for net in nets]
            c = torch.stack([a[0] for a in all_]).mean(0)[0].log_softmax(-1).numpy()
            b = torch.stack([a[1] for a in all_]).mean(0)[0].log_softmax(-1).numpy()
            d = torch.stack([a[2] for a in all_]).mean(0)[0].numpy()
            out.append((c[::-1], b[::-1], d[::-1]) if backward else (c, b, d))
    return s, out


def figures(nets, pieces, switch=(0, 1, 2), price=(0, 1, 2, 3)):
    """Root, kind and bass in share of the labelled time, and changes a minute."""
    tot, labels = 0., 0
    causal = {w: np.zeros(4) for w in switch}
    later = {w: np.zeros(4) for w in price}
    for d in pieces:
        s, ((cf, bf, _), (cb, bb, _)) = heard(nets, d["n"])
        at = s[:, 0]

        def count(chosen, bass, into):
            ends = np.append(at[1:], max(at[-1] + .5, d["n"][:, 1].max()))
            j = 0
            for a, b, root, low, pcs in d["chords"]:
                k = max(0, np.searchsorted(at, a, side="right") - 1)
                while k < len(at) and at[k] < b:
                    lap = min(b, ends[k]) - max(a, at[k])
                    if lap > 0:
                        r, q = divmod(int(chosen[k]), KINDS)
                        into += [lap * (r == root), lap * (r == root and q == kind(root, pcs)), lap * (bass[k] == low), 0]
                    k += 1
            into[3] += (chosen[1:] != chosen[:-1]).sum()

        for w in switch:
            chosen, now = [], None
            for c in cf:
                best = int(c.argmax())
                if now is None or c[best] - c[now] > w:
                    now = best
                chosen.append(now)
            count(np.array(chosen), bf.argmax(1), causal[w])
        both = cf + .8 * cb
        for w in price:
            v, back = both[0].copy(), []
            for row in both[1:]:
                best = v.argmax()
                stay = v >= v[best] - w
                back.append(np.where(stay, np.arange(len(v)), best))
                v = np.where(stay, v, v[best] - w) + row
            path = [int(v.argmax())]
            for step in reversed(back):
                path.append(int(step[path[-1]]))
            count(np.array(path[::-1]), (bf + bb).argmax(1), later[w])
        tot += sum(c[1] - c[0] for c in d["chords"])
        labels += len(d["chords"])
    lines = [f"labels a minute {labels / tot * 60:.1f}"]
    for name, each in ("causal", causal), ("hindsight", later):
        for w, v in each.items():
            lines.append(f"{name} {w}: root {v[0] / tot:.3f} kind {v[1] / tot:.3f} bass {v[2] / tot:.3f} changes {v[3] / tot * 60:.1f}")
    return "\n".join(lines)


def named(nets, source, seed, times=200):
    """Of made-up textures: the share of strokes, by texture, from the moment on when all of
    a chord has been struck, at which root, triad, chord and bass are right."""
    lines, table = [], source.table
    for texture in sorted(set(playing.TEXTURES)):
        rng, right, all_ = random.Random(seed), np.zeros(4), 0
        for _ in range(times // len(set(playing.TEXTURES)) + 1):
            n, chords = source.textures(rng, texture)
            s, ((c, b, d), _) = heard(nets, n)
            best = c.argmax(1)
            for i, at in enumerate(s[:, 0]):
                now = [x for x in chords if x[0] <= at + .02 < x[1]]
                if not now:
                    continue
                a, _, root, bass, pcs = now[0]
                since = (n[:, 0] >= a - .02) & (n[:, 0] <= at + CLUSTER)
                if not set(pcs) <= {int(p) % 12 for p in n[since, 2]}:
                    continue
                r, q = divmod(int(best[i]), KINDS)
                triad = r == root and q == kind(root, pcs)
                which = table.scores(torch.from_numpy(d[i, root].copy()), torch.tensor(kind(root, pcs))).argmax()
                right += [triad, triad and int(which) == table.place(root, pcs), b[i].argmax() == bass, 1]
        lines.append(f"{texture}: triad {right[0] / right[3]:.3f} chord {right[1] / right[3]:.3f} bass {right[2] / right[3]:.3f}")
    return "\n".join(lines)


def main():
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("--data", nargs="+", required=True)
    p.add_argument("--check", nargs="*", default=[])
    p.add_argument("--out", required=True)
    p.add_argument("--name", default="harmony")
    p.add_argument("--chords", default=str(HERE / "../../config/chords.toml"))
    p.add_argument("--minutes", type=float, default=8)
    p.add_argument("--steps", type=int, default=0)
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--hidden", type=int, default=64)
    p.add_argument("--dropout", type=float, default=0)
    p.add_argument("--decay", type=float, default=.05)
    p.add_argument("--rate", type=float, default=3e-3)
    p.add_argument("--batch", type=int, default=64)
    p.add_argument("--count", type=int, default=160, help="strokes a stretch")
    p.add_argument("--made", type=float, default=.3, help="share of made-up textures")
    p.add_argument("--songs", type=float, default=1, help="how often a song is drawn, against a piece with as many chords")
    p.add_argument("--calm", type=float, default=.3)
    p.add_argument("--which", type=float, default=.5, help="what the kind of chord weighs")
    p.add_argument("--workers", type=int, default=8)
    p.add_argument("--leave-out", default="")
    learn(p.parse_args())


if __name__ == "__main__":
    try:
        main()
    except (corpus.Fault, OSError, ValueError) as fault:
        print(fault, file=sys.stderr)
        sys.exit(1)

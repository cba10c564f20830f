"""What the network is told: one frame every 100 ms, seen from each of the twelve
possible centers.  `src/engine/features.rs` computes the same, one step at a time;
the golden test holds the two together.

A frame may use only what had happened by its end.  Frame i ends STEP * (i + 1)
after the first onset and takes in what happened up to and including that moment.
Nothing depends on octave, loudness or spelling.
"""

import numpy as np
import torch

STEP = 0.1                      # seconds
TICK = 20e-6                    # seconds; a step is 5,000 ticks
TICKS = 5000
FADE = float(np.exp(-STEP / 5.0))   # what a struck string keeps over a step
AUDIBLE = 150                   # steps until it has faded below 0.05: then it sounds no more
SOFT = 0.15                     # seconds added below every window's sum: an empty window is all 0

# The twelve-wide blocks, in order.  The text is hashed: weights learned on other
# features are refused.
BLOCKS = """onset: notes struck in the step, at most 2
sound: what sounds, faded, at most 2
bass: the lowest sounding key, 1
top: the highest sounding key, 1
linger: the keys struck last, seconds since then / 2, at most 1
window 0.7 of 0.1 sound + 0.1 onset
window 3 of 0.1 sound + 0.1 onset
window 10 of 0.1 sound + 0.1 onset
window 40 of 0.1 sound + 0.1 onset
window 3 of 0.1 bass
window 15 of 0.1 bass
window 6 of 0.1 top
window 20 of 0.1 struck last, from 0.35 s to 2 s after that
window 8 of 0.5 bass struck in the step
scalars: count/6 at most 8/6; silence; since onset at most 3; span/24 at most 2; onsets a second/8 over 3 s at most 2; begun/20 at most 1; backward
"""
VIEWS = 12
BLOCK_COUNT = 14
SCALARS = 7
INPUTS = BLOCK_COUNT * 12 + SCALARS
WINDOWS = (0.7, 3.0, 10.0, 40.0, 3.0, 15.0, 6.0, 20.0, 8.0)


def fingerprint(text=BLOCKS):
    """FNV-1a, 64 bits (Fowler, Noll, Vo; draft-eastlake-fnv)."""
    h = 0xCBF29CE484222325
    for b in text.encode():
        h = ((h ^ b) * 0x100000001B3) % 2**64
    return h


def raw(notes, frames, sustained=False):
    """What the frames are made of.  notes: array [n, 3] of onset s, end s, key, the
    first onset at 0.  Returns one array [frames, 31]: onset counts (12), impulses of
    what sounds (12), bass, top (pitch class or -1), bass struck, count, span, fade."""
    out = np.zeros((frames, 31), np.float32)
    out[:, 24:26] = -1
    out[:, 29] = 1.0 if sustained else FADE
    if len(notes) == 0:
        return out
    key = notes[:, 2].astype(int)
    order = np.lexsort((key, notes[:, 0]))
    notes, key = notes[order], key[order]
    on = np.round(notes[:, 0] / TICK).astype(np.int64)
    off = np.round(notes[:, 1] / TICK).astype(np.int64)
    # A key struck again ends what it sounded before.
    by_key = np.lexsort((on, key))
    same = key[by_key][1:] == key[by_key][:-1]
    before, after = by_key[:-1][same], by_key[1:][same]
    off[before] = np.minimum(off[before], on[after])
    a = np.maximum(0, (on - 1) // TICKS)
    b = np.maximum(a, (off - 1) // TICKS - 1)
    if not sustained:
        b = np.minimum(b, a + AUDIBLE)
    keep = a < frames
    a, b, key = a[keep], np.minimum(b[keep], frames - 1), key[keep]
    pc = key % 12
    np.add.at(out, (a, pc), 1)
    keeps = 1.0 if sustained else FADE
    np.add.at(out, (a, 12 + pc), 1)
    ends = b + 1 < frames
    np.add.at(out, (b[ends] + 1, 12 + pc[ends]), -(keeps ** (b - a + 1.0))[ends])
    count = np.zeros(frames + 1)
    np.add.at(count, a, 1)
    np.add.at(count, b + 1, -1)
    out[:, 27] = np.cumsum(count[:-1])
    low = np.full(frames, -1)
    high = np.full(frames, -1)
    struck = np.full(frames, 999)
    np.minimum.at(struck, a, key)
    order = np.argsort(key, kind="stable")
    for i in order[::-1]:
        low[a[i]:b[i] + 1] = key[i]
    for i in order:
        high[a[i]:b[i] + 1] = key[i]
    some = low >= 0
    out[some, 24] = low[some] % 12
    out[some, 25] = high[some] % 12
    out[:, 26] = some & (struck <= low)
    out[some, 28] = (high - low)[some]
    return out


def decay(x, keep):
    """y[t] = keep * y[t-1] + x[t] along dimension 1 of [batch, time, k]."""
    size = 256
    t = torch.arange(size, device=x.device)
    gap = (t[:, None] - t[None, :]).clamp(min=0).float()
    kernel = torch.where(t[:, None] >= t[None, :], keep ** gap, torch.zeros((), device=x.device))
    out, carry = [], torch.zeros_like(x[:, 0])
    for part in x.split(size, 1):
        n = part.shape[1]
        y = torch.einsum("ts,bsk->btk", kernel[:n, :n], part)
        y = y + (keep ** (t[:n].float() + 1))[None, :, None] * carry[:, None]
        carry = y[:, -1]
        out.append(y)
    return torch.cat(out, 1)


def features(r, backward=None):
    """[batch, time, 31] of `raw` -> [batch, time, INPUTS].  backward: [batch] of 0 or 1."""
    batch, time, _ = r.shape
    onset = r[..., :12].clamp(max=2)
    sustained = (r[:, :1, 29:30] >= 1.0).float()
    impulses = r[..., 12:24]
    sound = decay(impulses, FADE) * (1 - sustained) + decay(impulses, 1.0) * sustained
    sound = sound.clamp(0, 2) * (sound > 1e-3)
    pcs = torch.arange(12, device=r.device, dtype=r.dtype)
    bass = (r[..., 24:25] == pcs).to(r.dtype)
    top = (r[..., 25:26] == pcs).to(r.dtype)
    bass_struck = bass * r[..., 26:27]
    # The keys struck last, and how long ago.
    steps = torch.arange(time, device=r.device)
    any_onset = onset.sum(-1) > 0
    last = torch.where(any_onset, steps, torch.full_like(steps, -1).expand(batch, time)).cummax(1).values
    since = torch.where(last >= 0, (steps - last) * STEP, torch.full_like(last, 30).float())
    struck = torch.gather(onset, 1, last.clamp(min=0)[..., None].expand(-1, -1, 12)).clamp(max=1)
    struck = struck * (last >= 0)[..., None]
    linger = struck * (since / 2).clamp(max=1)[..., None]
    lingering = struck * ((since > 0.34) & (since < 2.04))[..., None]
    source = STEP * sound + 0.1 * onset
    sources = [source] * 4 + [STEP * bass] * 2 + [STEP * top, STEP * lingering, 0.5 * bass_struck]
    windows = []
    for tau, x in zip(WINDOWS, sources):
        w = decay(x, float(np.exp(-STEP / tau)))
        windows.append(torch.sqrt(w / (w.sum(-1, keepdim=True) + SOFT)))
    count = r[..., 27]
    density = decay(any_onset.to(r.dtype)[..., None] * 1.0, float(np.exp(-STEP / 3.0)))[..., 0] / 3.0
    flag = torch.zeros(batch, device=r.device) if backward is None else backward
    scalars = torch.stack([
        count.clamp(max=8) / 6,
        (count == 0).to(r.dtype),
        since.clamp(max=3),
        (r[..., 28] / 24).clamp(max=2),
        (density / 8).clamp(max=2),
        ((steps + 1) * STEP / 20).clamp(max=1).expand(batch, time).to(r.dtype),
        flag[:, None].expand(batch, time).to(r.dtype),
    ], -1)
    return torch.cat([onset, sound, bass, top, linger] + windows + [scalars], -1)

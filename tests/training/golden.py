"""Writes tests/golden/estimator.json: what features and network make of a few invented
performances, as they are heard and told from their end, on the weights of
config/estimator.weights; and beside it harmony.json: what harmony.py makes of their
strokes on those of config/harmony.weights.  `tests/golden.rs` has the engine hear the
same notes.  To be run again for new weights, features or modes:

    python tests/training/golden.py [FOLDER]

It needs numpy and PyTorch.
"""

import json
import random
import sys
import zlib
from pathlib import Path

import numpy as np
import torch

import harmony
from features import TICK, TICKS, features, raw
from network import NO_CENTER, NO_CENTER_SHARE, Catalogue, read, scores

ROOT = Path(__file__).parents[2]
WEIGHTS = ROOT / "config" / "estimator.weights"
HARMONY = ROOT / "config" / "harmony.weights"
SETS = (0b010101010101, 0b101010101010, 0b011011011011, 0b110110110110, 0b101101101101, 0b111111111111)
MS = 50                     # ticks
MILLION = 1_000_000


def performances():
    """Name, whether sounds are sustained, notes as ticks of onset and end and key."""
    chance = random.Random(7)

    # Notes shorter than a step, some within one, chromatic, over seven octaves.
    notes, at = [], 0
    for i in range(90):
        long = chance.choice((3, 20, 45, 99)) * MS + chance.randrange(MS)
        notes.append((at, at + long, 24 + (i * 19) % 84))
        at += chance.choice((7, 30, 60, 100, 140)) * MS + chance.randrange(MS)
    yield "short notes", False, notes

    # Held for long, as under a pedal, beyond their fading; chords above; a silence of 6 s.
    notes = [(0, 24_000 * MS, 38), (0, 24_000 * MS, 45)]
    for i in range(20):
        at = 700 * MS + i * 1_100 * MS
        for key in ((62, 65, 69), (60, 64, 67), (59, 62, 67), (57, 60, 64))[i % 4]:
            notes.append((at + (key % 5) * 3 * MS, at + 1_050 * MS, key))
    for i, key in enumerate((74, 72, 71, 69, 67, 65, 64, 62)):
        at = 30_000 * MS + i * 250 * MS
        notes.append((at, at + 400 * MS, key))
    yield "held notes and a silence", False, notes

    # Keys struck again while they sound, once a step and several times in one; ends and
    # onsets on the very edge of a step.
    notes = []
    for i in range(60):
        at = i * 170 * MS
        notes.append((at, at + 900 * MS, 50 + 7 * (i % 4)))
    for i in range(12):
        at = 10_500 * MS + i * 35 * MS
        notes.append((at, at + 30 * MS, 71))
    for i in range(12):
        at = 12_000 * MS + i * TICKS
        notes.append((at, at + TICKS, 60 + i))
        notes.append((at + 1, at + TICKS + 1, 48 + (i * 5) % 12))
    yield "struck again", False, notes

    # Sounds that do not fade: a drone through all of it, whole tones and octatonic runs.
    notes = [(0, 40_000 * MS, 33)]
    for i in range(100):
        at = i * 190 * MS
        step = (2 * i) % 24 if i < 50 else (0, 1, 3, 4, 6, 7, 9, 10)[i % 8]
        notes.append((at, at + 320 * MS, 57 + step))
    yield "sustained", True, notes

    # Anything at all.
    notes, at = [], 0
    for _ in range(160):
        for _ in range(chance.choice((1, 1, 1, 2, 3, 5))):
            on = at + chance.randrange(30 * MS)
            notes.append((on, on + int(chance.expovariate(1 / 900) * MS) + 1, chance.randrange(21, 109)))
        at += int(chance.expovariate(1 / 220) * MS)
    first = min(n[0] for n in notes)
    yield "anything", False, [(a - first, b - first, k) for a, b, k in notes]


def cleaned(notes):
    """Sorted; a key struck again ends what it sounded before, and no key twice at once."""
    out = []
    for a, b, k in sorted(notes, key=lambda n: (n[0], n[2])):
        before = max((i for i, n in enumerate(out) if n[2] == k), default=None)
        if before is not None:
            if out[before][0] == a:
                continue
            out[before] = (out[before][0], min(out[before][1], a), k)
        out.append((a, b, k))
    return out


def probabilities(nets, temperature, catalogue, x):
    """[time, INPUTS] -> [time, modes * 12 + 6]"""
    with torch.no_grad():
        heads = torch.stack([n(x[None])[0] for n in nets]).mean(0).double()
    tonal, free = scores(heads, torch.tensor(catalogue.member, dtype=torch.float64))
    tonal = tonal + torch.tensor(np.log(catalogue.weights))[:, None]
    free = free + torch.tensor(np.log(NO_CENTER_SHARE * catalogue.weights.sum()))[:, None]
    time, modes = tonal.shape[:2]
    p = torch.softmax(torch.cat([tonal, free], 1).reshape(time, -1) / temperature, -1).reshape(time, -1, 12)
    collections = torch.zeros(time, 6, dtype=torch.float64)
    for i, (_, mask) in enumerate(NO_CENTER):
        for view in range(12):
            turned = (mask << view | mask >> (12 - view)) & 0xFFF
            collections[:, SETS.index(turned)] += p[:, modes + i, view]
    return torch.cat([p[:, :modes].reshape(time, -1), collections], 1).numpy()


def rows(p, steps):
    """Some steps of [time, modes * 12 + 6] probabilities, as they are written."""
    return [{"step": s, "millionths": [round(v * MILLION) for v in p[s].tolist()]} for s in sorted(steps)]


def below(scores):
    """How far each logarithm lies below the greatest, in millionths: that is all that logits say."""
    return [round(v * MILLION) for v in (scores.max() - scores).tolist()]


def judged(net, strokes, backward):
    """Some strokes as they are told, each with its first onset in ticks: what is said of
    roots and classes (root * 5 + class), of the bass, and of degrees (root * 11 + semitones - 1),
    which are as they are."""
    with torch.no_grad():
        x = torch.from_numpy(harmony.features(strokes, backward))
        chords, bass, degrees = (v[0].double() for v in harmony.scores(net(x[None])))
    told = strokes[::-1] if backward else strokes
    n = len(told)
    return [{"stroke": i, "at": round(told[i, 0] / TICK),
             "millionths": {"chords": below(chords[i]), "bass": below(bass[i]),
                            "degrees": [round(v * MILLION) for v in degrees[i].flatten().tolist()]}}
            for i in sorted({0, 1, 2, 5, n // 3, n // 2, 2 * n // 3, n - 1})]


def checksum(weights):
    """Without the checksum at its end: a file with its own CRC-32 after it has one and
    the same CRC-32 as every other."""
    return zlib.crc32(weights.read_bytes()[:-4])


def write(path, head, pieces):
    """A piece a line."""
    lines = ",\n".join(json.dumps(p, separators=(",", ":")) for p in pieces)
    head = "".join(f"{json.dumps(k)}:{json.dumps(v)}," for k, v in head.items())
    path.write_text(f'{{{head}"pieces":[\n{lines}\n]}}\n', encoding="utf-8")


def main(out=ROOT / "tests" / "golden"):
    nets, (temperature, temperature_hindsight) = read(WEIGHTS)
    catalogue = Catalogue(ROOT / "config" / "modes.toml")
    chords = harmony.read(HARMONY)
    pieces, stroked = [], []
    for name, sustained, notes in performances():
        notes = cleaned(notes)
        end = max(n[1] for n in notes)

        def hear(notes, frames, temperature, backward):
            seconds = np.array([(a * TICK, b * TICK, k) for a, b, k in notes])
            frames = torch.from_numpy(raw(seconds, frames, sustained))[None]
            x = features(frames, torch.tensor([float(backward)]))[0]
            return probabilities(nets, temperature, catalogue, x)

        frames = end // TICKS + 20
        heard = hear(notes, frames, temperature, False)
        steps = {0, 1, 5, 30, frames // 3, frames // 2, 2 * frames // 3, 4 * frames // 5, frames - 1}
        # From the end to the first onset: ends are onsets, and onsets ends.
        told = -(-end // TICKS)
        back = hear([(end - b, end - a, k) for a, b, k in notes], told, temperature_hindsight, True)
        back_steps = {0, 1, 5, 30, told // 3, told // 2, 2 * told // 3, 4 * told // 5, told - 1}
        pieces.append({"name": name, "sustained": sustained, "notes": notes,
                       "probabilities": rows(heard, steps), "backward": rows(back, back_steps)})
        # By the name, the notes above.
        strokes = harmony.strokes(np.array([(a * TICK, b * TICK, k) for a, b, k in notes]))
        stroked.append({"name": name, "strokes": len(strokes), "heard": judged(chords, strokes, False),
                        "backward": judged(chords, strokes, True)})
    write(Path(out) / "estimator.json", {"modes": catalogue.ids, "weights": checksum(WEIGHTS)}, pieces)
    write(Path(out) / "harmony.json", {"weights": checksum(HARMONY)}, stroked)


if __name__ == "__main__":
    main(*sys.argv[1:2])

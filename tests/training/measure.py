"""Figures on labelled pieces, from the network's bare probabilities (without the
program's inertia): how often the likeliest center and mode are the labelled ones.

    python measure.py --weights FILE --check FILES… [--held-out 160]

Percent of the time after the first 2 s: center and mode (as one of the seven; minor as
Aeolian), center, center while away from a piece's main one; changes of center a minute.
"""

import argparse
import sys
from pathlib import Path

import numpy as np
import torch

import corpus
import features
import held_out
import network

SEVEN = {"major": "ionian", "minor": "aeolian"}
SKIP = 2.0      # seconds at the start that do not count


def weights(catalogue, none=network.NO_CENTER_SHARE):
    """Log weights of modes and collections, as in config/modes.toml."""
    w = catalogue.weights / catalogue.weights.sum()
    return torch.from_numpy(np.log(w).astype(np.float32)), torch.from_numpy(np.log(none).astype(np.float32))


def heads(nets, notes, end, device="cpu", backward=False, sustained=False):
    """[n, 3] notes -> [frames, 12, heads], the nets' mean, and the time of the first onset."""
    n = notes.copy()
    if backward:
        n[:, :2] = n[:, 1].max() - n[:, [1, 0]]
    first = n[:, 0].min()
    n[:, :2] -= first
    frames = max(1, int(np.ceil((max(end - first, n[:, 1].max())) / features.STEP)) + 1)
    r = torch.from_numpy(features.raw(n, frames, sustained))[None].to(device)
    with torch.no_grad():
        x = features.features(r, torch.tensor([float(backward)], device=device))
        return torch.stack([net.eval()(x)[0].float() for net in nets]).mean(0).cpu(), first


def probabilities(h, catalogue, temperature=1.0, none=network.NO_CENTER_SHARE):
    """[..., 12, heads] -> tonalities [..., modes, 12], no center [...]."""
    own, free_own = weights(catalogue, none)
    tonal, free = network.scores(h, torch.from_numpy(catalogue.member))
    tonal, free = (tonal + own[:, None]) / temperature, (free + free_own[:, None]) / temperature
    z = torch.cat([tonal.flatten(-2), free.flatten(-2)], -1).logsumexp(-1)
    return (tonal - z[..., None, None]).exp(), (free.flatten(-2).logsumexp(-1) - z).exp()


def scored(catalogue, path=None):
    """For each mode the nearest of the seven, as an index into the catalogue."""
    import tomllib
    rows = tomllib.loads((path or Path(__file__).parent / "../../config/modes.toml").read_text())["mode"]
    return np.array([catalogue.index(SEVEN.get(m["scored_as"], m["scored_as"])) for m in rows])


def figures(nets, pieces, catalogue, device="cpu", temperature=1.0):
    """By kind: frames, with the right center, center and mode too; frames away from the
    main center, right ones of them; changes of center; changes in the labels. Stretches
    without a center do not count."""
    near = scored(catalogue)
    out = {}
    for d in pieces:
        end = d["segments"][-1]["end"]
        segments = [s for s in d["segments"] if s["center"] is not None]
        if not segments:
            continue
        h, first = heads(nets, d["n"], end, device)
        p, _ = probabilities(h, catalogue, temperature)
        at = first + features.STEP * (np.arange(len(p)) + 1)
        best_center = p.sum(1).argmax(-1).numpy()
        flat = p.flatten(1).argmax(-1).numpy()
        mode, center = near[flat // 12], flat % 12
        spent = {}
        for s in segments:
            spent[s["center"]] = spent.get(s["center"], 0) + s["end"] - s["start"]
        main = max(spent, key=spent.get)
        row = out.setdefault(d["kind"], np.zeros(7))
        for s in segments:
            k = (at > max(s["start"], SKIP)) & (at <= s["end"])
            right = best_center[k] == s["center"]
            m = SEVEN.get(s["mode"], s["mode"])
            label = near[catalogue.index(m)] if m in catalogue.ids else -1
            exact = (center[k] == s["center"]) & (mode[k] == label)
            row += (k.sum(), right.sum(), exact.sum(), k.sum() * (s["center"] != main), right.sum() * (s["center"] != main), 0, 0)
        k = (at > SKIP) & (at <= end)
        row[5] += (np.diff(best_center[k]) != 0).sum()
        row[6] += sum(a["center"] != b["center"] for a, b in zip(segments, segments[1:]))
    return out


def table(out):
    lines = ["%-22s %7s %7s %7s %9s" % ("kind", "exact", "center", "away", "changes/m")]
    for kind, r in sorted(out.items()):
        minutes = max(r[0] * features.STEP / 60, 1e-9)
        lines.append("%-22s %7.1f %7.1f %7.1f %9.1f" % (
            kind, 100 * r[2] / max(r[0], 1), 100 * r[1] / max(r[0], 1), 100 * r[4] / r[3] if r[3] else float("nan"), r[5] / minutes))
    return "\n".join(lines)


def held_out_pieces(count):
    """Improvised playing that training never sees, by family: held_out.py."""
    out = []
    for seed in range(count):
        p = held_out.take(seed)
        out.append({"kind": "playing-" + p["family"], "n": np.array(p["notes"], float), "segments": p["segments"]})
    return out


def main():
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("--weights", required=True, help="as train.py writes them")
    p.add_argument("--check", nargs="*", default=[], metavar="FILE", help="labelled pieces, JSON Lines as corpus.py reads them")
    p.add_argument("--held-out", type=int, default=0, metavar="N", help="N pieces of held_out.py as well, by family")
    args = p.parse_args()
    if not args.check and args.held_out < 1:
        p.error("nothing to measure on: give --check FILES or --held-out N")
    nets, (temperature, _) = network.read(args.weights)
    catalogue = network.Catalogue(Path(__file__).parent / "../../config/modes.toml")
    pieces = corpus.load(args.check) + held_out_pieces(args.held_out)
    print(table(figures(nets, pieces, catalogue, temperature=temperature)))


if __name__ == "__main__":
    try:
        main()
    except (corpus.Fault, OSError, ValueError) as fault:
        print(fault, file=sys.stderr)
        sys.exit(1)

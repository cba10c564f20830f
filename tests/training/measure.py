"""Figures on labelled pieces, from the network's bare probabilities (without the
program's inertia): how often the likeliest center and mode are the labelled ones."""

import numpy as np
import torch

import features
import network

SEVEN = {"major": "ionian", "minor": "aeolian"}
SKIP = 2.0      # seconds at the start that do not count


def weights(catalogue, none=(.01, .01, .01, .1)):
    """Log weights of modes and collections, as in config/modes.toml."""
    w = catalogue.weights / catalogue.weights.sum()
    return torch.from_numpy(np.log(w).astype(np.float32)), torch.log(torch.tensor(none))


def heads(net, notes, end, device="cpu", backward=False, sustained=False):
    """[n, 3] notes -> [frames, 12, heads], and the time of the first onset."""
    n = notes.copy()
    if backward:
        n[:, :2] = n[:, 1].max() - n[:, [1, 0]]
    first = n[:, 0].min()
    n[:, :2] -= first
    frames = max(1, int(np.ceil((max(end - first, n[:, 1].max())) / features.STEP)) + 1)
    r = torch.from_numpy(features.raw(n, frames, sustained))[None].to(device)
    net.eval()
    with torch.no_grad():
        x = features.features(r, torch.tensor([float(backward)], device=device))
        return net(x)[0].float().cpu(), first


def probabilities(h, catalogue, temperature=1.0, none=(.01, .01, .01, .1)):
    """[..., 12, heads] -> tonalities [..., modes, 12], no center [...]."""
    own, free_own = weights(catalogue, none)
    tonal, free = network.scores(h, torch.from_numpy(catalogue.member))
    tonal, free = (tonal + own[:, None]) / temperature, (free + free_own[:, None]) / temperature
    z = torch.cat([tonal.flatten(-2), free.flatten(-2)], -1).logsumexp(-1)
    return (tonal - z[..., None, None]).exp(), (free.flatten(-2).logsumexp(-1) - z).exp()


def scored(catalogue, path=None):
    """For each mode the nearest of the seven, as an index into the catalogue."""
    import tomllib
    from pathlib import Path
    rows = tomllib.loads((path or Path(__file__).parent / "../../config/modes.toml").read_text())["mode"]
    return np.array([catalogue.index(SEVEN.get(m["scored_as"], m["scored_as"])) for m in rows])


def figures(net, pieces, catalogue, device="cpu"):
    near = scored(catalogue)
    out = {}
    for d in pieces:
        segments = d["segments"]
        end = segments[-1]["end"]
        h, first = heads(net, d["n"], end, device)
        p, _ = probabilities(h, catalogue)
        at = first + features.STEP * (np.arange(len(p)) + 1)
        best_center = p.sum(1).argmax(-1).numpy()
        flat = p.flatten(1).argmax(-1).numpy()
        mode, center = near[flat // 12], flat % 12
        spent = {}
        for s in segments:
            spent[s["center"]] = spent.get(s["center"], 0) + s["end"] - s["start"]
        main = max(spent, key=spent.get)
        row = out.setdefault(d["kind"], np.zeros(8))
        for s in segments:
            k = (at > max(s["start"], SKIP)) & (at <= s["end"])
            right = best_center[k] == s["center"]
            m = SEVEN.get(s["mode"], s["mode"])
            label = near[catalogue.index(m)] if m in catalogue.ids else -1
            exact = (center[k] == s["center"]) & (mode[k] == label)
            row += (k.sum(), right.sum(), exact.sum(), k.sum() * (s["center"] != main), right.sum() * (s["center"] != main), 0, 0, 0)
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

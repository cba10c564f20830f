"""Learns the weight of having no center again, with all else as it is: beside the
usual music on someone drumming and on scattered notes, which the network was taught
too little.

    python settle.py --data 'DIR/*.jsonl.gz' --weights A.weights … --out FILE

The networks are averaged, as the program does, and written into one file with the
given temperatures."""

import argparse
import random
import sys
from pathlib import Path

import numpy as np
import torch

import corpus
import features
import network
import playing
import train

HERE = Path(__file__).parent
EVERY = 5       # frames: neighbours say the same


def main():
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("--data", nargs="+", required=True)
    p.add_argument("--weights", nargs="+", required=True)
    p.add_argument("--out", required=True)
    p.add_argument("--seed", type=int, default=11)
    p.add_argument("--pieces", type=int, default=150)
    p.add_argument("--steps", type=int, default=300)
    p.add_argument("--count-priors", type=int, default=400)
    p.add_argument("--mix", default="tunes=.35,playing=.4,pieces=.2,songs=.05")
    p.add_argument("--temperatures", type=float, nargs=2, default=(1.0, 1.0))
    args = p.parse_args()
    torch.manual_seed(args.seed)
    rng = random.Random(args.seed)
    catalogue = network.Catalogue(HERE / "../../config/modes.toml")
    source = corpus.Source(corpus.load(args.data), catalogue, 64, args.seed, train.mixture(args.mix), ["backward"])
    nets = [n for w in args.weights for n in network.read(w)[0]]
    prior, none_prior = train.priors(source, args.count_priors)
    # A third of what follows is drums and scattered notes.
    prior, none_prior = prior * 2 / 3, none_prior * 2 / 3
    none_prior[3] += 1 / 3
    loss_of = train.Loss(source.targets, prior, none_prior, "cpu")
    chromatic = source.targets.none + corpus.NONE_KINDS.index("chromatic")
    hs, ys, others = [[] for _ in nets], [], []
    for i in range(args.pieces):
        if i % 3 == 0:
            n = np.array((playing.drums if i % 2 else playing.scatter)(64, rng), float)
            n[:, :2] -= n[:, 0].min()
            r = torch.from_numpy(features.raw(n, 640, rng.random() < .2))
            y = torch.tensor([0, chromatic, 0]).expand(640, 3).clone()
            y[:20] = -1
            back = torch.tensor(float(rng.random() < .2))
        else:
            r, y, _, back = source.one(rng)
        with torch.no_grad():
            x = features.features(r[None], back[None])
            heads = 0
            for h, net in zip(hs, nets):
                state, _ = net.memory(torch.relu(net.enter(net.views(x))))
                heads = heads + net.heads(state).reshape(12, -1, network.HEADS).transpose(0, 1)[::EVERY] / len(nets)
                h.append(state.transpose(0, 1)[::EVERY].half())
        ys.append(y[::EVERY])
        others.append(heads)
    hs = [torch.cat(h).float() for h in hs]
    ys, others = torch.cat(ys)[None], torch.cat(others)
    rows = [torch.nn.Parameter(n.heads.weight[1].detach().clone()) for n in nets]
    bias = [torch.nn.Parameter(n.heads.bias[1].detach().clone()) for n in nets]
    before = [r.detach().clone() for r in rows]
    opt = torch.optim.Adam(rows + bias, lr=.01)
    silent = torch.full(ys.shape[:2], -1)
    for step in range(args.steps):
        none = sum(h @ r + b for h, r, b in zip(hs, rows, bias)) / len(nets)
        heads = torch.cat([others[..., :1], none[..., None], others[..., 2:]], -1)[None]
        _, loss = loss_of(heads, ys, silent)
        near = sum(((r - b) ** 2).sum() for r, b in zip(rows, before))
        opt.zero_grad()
        (loss + 1e-3 * near).backward()
        opt.step()
        if step % 50 == 0 or step == args.steps - 1:
            print(step, round(loss.item(), 4), round(near.item(), 3), flush=True)
    with torch.no_grad():
        for net, r, b in zip(nets, rows, bias):
            net.heads.weight[1] = r
            net.heads.bias[1] = b
    network.write(args.out, [network.round_(n) for n in nets], *args.temperatures)


if __name__ == "__main__":
    try:
        main()
    except (corpus.Fault, OSError, ValueError) as fault:
        print(fault, file=sys.stderr)
        sys.exit(1)

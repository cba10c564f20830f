"""Puts the last layer right: of networks that are averaged, and were each the mean of
two sittings, all weights of the heads are learned once more together, with all else as
it is, and written into one file as the program reads it.

    python settle.py --data 'DIR/*.jsonl.gz' --weights A.weights B.weights \\
        --mean A-more.weights B-more.weights --out FILE

With --steps 0 nothing is learned: they are only weighed and written together.
Each of --mean is averaged, weight by weight, with the one of --weights from which it
went on (Wortsman et al. 2022, arXiv:2109.01903)."""

import argparse
import random
import sys
from pathlib import Path

import torch

import corpus
import network
import train
import features

HERE = Path(__file__).parent
EVERY = 5       # frames: neighbours say the same


def mean(one, other, share):
    """The network between two that share their beginning; `share`: of the second."""
    with torch.no_grad():
        for a, b in zip(one.parameters(), other.parameters()):
            a.lerp_(b, share)
    return one


def states(nets, source, rng, pieces):
    """What the networks remember of `pieces` stretches: for each network
    [pieces, frames, 12, hidden], and the labels [pieces, frames, 3]."""
    hs, ys = [[] for _ in nets], []
    for _ in range(pieces):
        r, y, _, back = source.one(rng)
        with torch.no_grad():
            x = features.features(r[None], back[None])
            for h, net in zip(hs, nets):
                state, _ = net.memory(torch.relu(net.enter(net.views(x))))
                h.append(state.transpose(0, 1)[::EVERY].half())
        ys.append(y[::EVERY])
    return [torch.stack(h) for h in hs], torch.stack(ys)


def main():
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("--data", nargs="+", required=True)
    p.add_argument("--weights", nargs="+", required=True)
    p.add_argument("--mean", nargs="*", default=[])
    p.add_argument("--share", type=float, default=.5, help="of --mean")
    p.add_argument("--weigh", type=float, nargs="*", default=[], help="how much each network counts in the average (1)")
    p.add_argument("--out", required=True)
    p.add_argument("--seed", type=int, default=11)
    p.add_argument("--pieces", type=int, default=900)
    p.add_argument("--steps", type=int, default=400)
    p.add_argument("--batch", type=int, default=60)
    p.add_argument("--rate", type=float, default=5e-3)
    p.add_argument("--near", type=float, default=1e-3, help="price of moving away from the heads as they were")
    p.add_argument("--count-priors", type=int, default=600)
    p.add_argument("--mix", default="tunes=.42,playing=.26,pieces=.2,songs=.07,noise=.05")
    p.add_argument("--away", type=float, default=1.5)
    p.add_argument("--calm", type=float, default=.3, help="as in train.py, between moments half a second apart")
    p.add_argument("--temperatures", type=float, nargs=2, default=(1.0, 1.0))
    args = p.parse_args()
    torch.manual_seed(args.seed)
    rng = random.Random(args.seed)
    catalogue = network.Catalogue(HERE / "../../config/modes.toml")
    source = corpus.Source(corpus.load(args.data), catalogue, 64, args.seed, train.mixture(args.mix), ["backward"])
    nets = [n for w in args.weights for n in network.read(w)[0]]
    more = [n for w in args.mean for n in network.read(w)[0]]
    if more and len(more) != len(nets):
        raise corpus.Fault("--mean needs one network for each of --weights, in the same order")
    nets = [mean(a, b, args.share) for a, b in zip(nets, more)] if more else nets
    if args.weigh:
        if len(args.weigh) != len(nets):
            raise corpus.Fault("--weigh needs one number for each network")
        # The program averages alike: what counts for more has larger heads.
        for n, weight in zip(nets, args.weigh):
            with torch.no_grad():
                for q in n.heads.parameters():
                    q.mul_(weight * len(nets) / sum(args.weigh))
    if not args.steps:
        network.write(args.out, [network.round_(n) for n in nets], *args.temperatures)
        return
    loss_of = train.Loss(source.targets, *train.priors(source, args.count_priors), "cpu")
    hs, ys = states(nets, source, rng, args.pieces)
    heads = [n.heads for n in nets]
    before = [p.detach().clone() for h in heads for p in h.parameters()]
    moving = [p for h in heads for p in h.parameters()]
    opt = torch.optim.Adam(moving, lr=args.rate)
    silent = torch.full(ys.shape[:2], -1)       # the roots stay as they are
    run = None
    for step in range(args.steps):
        for g in opt.param_groups:
            g["lr"] = args.rate * (1 - step / args.steps)
        pick = torch.randperm(len(ys))[:args.batch]
        z = sum(h(s[pick].float()) for h, s in zip(heads, hs)) / len(nets)
        total, loss = loss_of(z, ys[pick], silent[pick], args.away, args.calm)
        near = sum(((a - b) ** 2).sum() for a, b in zip(moving, before))
        opt.zero_grad()
        (total + args.near * near).backward()
        opt.step()
        run = loss.item() if run is None else .95 * run + .05 * loss.item()
        if step % 50 == 0 or step == args.steps - 1:
            print(step, round(run, 4), round(near.item(), 3), flush=True)
    network.write(args.out, [network.round_(n) for n in nets], *args.temperatures)


if __name__ == "__main__":
    try:
        main()
    except (corpus.Fault, OSError, ValueError) as fault:
        print(fault, file=sys.stderr)
        sys.exit(1)

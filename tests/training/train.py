"""Learns the estimator's weights.

    python train.py --data 'DIR/*.jsonl.gz' --out DIR [--minutes 8] [--seed 1] …

With --steps and --workers 0 the same data, arguments and machine give the same weights;
with --minutes the rate follows the clock.

Prints figures on the pieces given by --check.  `README.md` says where the music
comes from."""

import argparse
import copy
import sys
import time

import numpy as np
import torch
import torch.nn as nn

import corpus
import features
import measure
import network
import playing
from pathlib import Path

HERE = Path(__file__).parent


class Loss:
    def __init__(self, targets, prior, none_prior, device):
        self.mask = torch.from_numpy(np.log(np.maximum(targets.mask, 1e-9))).to(device)
        self.none = targets.none
        self.prior = torch.from_numpy(np.log(prior).astype(np.float32)).to(device)
        self.none_prior = torch.from_numpy(np.log(none_prior).astype(np.float32)).to(device)
        self.member = torch.from_numpy(targets.catalogue.member).to(device)
        table = torch.full((3, 12, 4, 12), -1e9)
        for y in range(12):
            for c in range(12):
                if c % 2 == y % 2:
                    table[0, y, 0, c] = 0
                if c % 3 == y % 3:
                    table[1, y, 1, c] = 0
                if (c + 2) % 3 == y % 3:
                    table[1, y, 2, c] = 0
                table[2, y, 3, c] = 0
        self.table = table.to(device)

    def logits(self, heads):
        tonal, free = network.scores(heads, self.member)
        return tonal + self.prior[:, None], free + self.none_prior[:, None]

    def __call__(self, heads, y, yr, away=1.0, calm=0.0):
        """-> what is minimised, and the plain cross-entropy of it."""
        tonal, free = self.logits(heads)
        everything = torch.cat([tonal.flatten(2), free.flatten(2)], 2)
        z = everything.logsumexp(2)
        use = y[..., 1] >= 0
        c, m, off = y[use].unbind(-1)
        rows = torch.arange(len(c), device=c.device)
        right = (tonal[use][rows, :, c] + self.mask[m.clamp(max=self.none - 1)]).logsumexp(1)
        right_free = (free[use] + self.table[(m - self.none).clamp(min=0), c]).flatten(1).logsumexp(1)
        right = torch.where(m >= self.none, right_free, right)
        loss = z[use] - right
        weight = 1 + (away - 1) * (off > 0)
        smooth = z[use] - everything[use].mean(1)
        total = (weight * loss).sum() / weight.sum() + .004 * smooth.mean()
        root = nn.functional.cross_entropy(heads[..., 14].reshape(-1, 12), yr.reshape(-1), ignore_index=-1)
        if torch.isfinite(root):
            total = total + .25 * root
        if calm:
            # What the center's probability moves where the label stays.
            center = (tonal.logsumexp(2) - z[..., None]).exp()
            moved = (center[:, 1:] - center[:, :-1]).abs().sum(-1) / 2
            same = use[:, 1:] & (y[:, 1:, :2] == y[:, :-1, :2]).all(-1)
            total = total + calm * moved[same].mean()
        return total, loss.mean()


def priors(source, count, rng_seed=5):
    """How often each mode and each collection is heard in training, for the logit
    adjustment (Menon et al. 2021, arXiv:2007.07314)."""
    import random
    rng = random.Random(rng_seed)
    t = source.targets
    seen = np.full(len(t.catalogue.ids), 1.0)
    none = np.full(3, 1.0)
    for _ in range(count):
        _, y, _, _ = source.one(rng)
        for m, n in zip(*np.unique(y[:, 1].numpy(), return_counts=True)):
            if m >= t.none:
                none[m - t.none] += n
            elif 0 <= m < t.any:
                seen += n * t.mask[m] / t.mask[m].sum()
    # The rare modes are drawn alike: one count for all of them.
    rare = [i for i, m in enumerate(t.catalogue.ids) if m not in playing.MODES]
    seen[rare] = seen[rare].mean()
    total = seen.sum() + none.sum()
    # Both octatonic rows share one label.
    return seen / total, np.array([none[0], none[1] / 2, none[1] / 2, none[2]]) / total


def fold(d):
    """Collections held back together: half of the tunes' books, of the composers, of the songs."""
    if d["kind"] == "rock":
        return "ab"[sum(d["name"].encode()) % 2]
    return "a" if any(x in d["corpus"] for x in ("airds", "essen", "grieg")) else "b"


def learn(args):
    torch.manual_seed(args.seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    catalogue = network.Catalogue(args.modes)
    items = corpus.load(args.data)
    items += [d for d in corpus.load(args.also) if not args.fold or fold(d) != args.fold]
    if args.leave_out:
        items = [d for d in items if not any(x in d["corpus"] for x in args.leave_out.split(","))]
    pieces = [d for d in corpus.load(args.check) if not args.fold or fold(d) == args.fold]
    mix = mixture(args.mix)
    source = corpus.Source(items, catalogue, args.length, args.seed, mix, args.options.split(","))
    prior, none_prior = priors(source, args.count_priors)
    print(len(items), "pieces; prior", dict(zip(catalogue.ids, prior.round(4))), none_prior.round(4), flush=True)
    net = network.Network(args.hidden, args.dropout)
    if args.go_on:
        nets, _ = network.read(args.go_on)
        if len(nets) != 1 or nets[0].hidden != args.hidden:
            raise corpus.Fault(f"{args.go_on}: to go on from, it must hold one network of {args.hidden} hidden units")
        net.load_state_dict(nets[0].state_dict())
    net = net.to(device).train()
    mean = copy.deepcopy(net).eval()
    loss_of = Loss(source.targets, prior, none_prior, device)
    decayed = [p for p in net.parameters() if p.dim() > 1]
    plain = [p for p in net.parameters() if p.dim() == 1]
    opt = torch.optim.AdamW([{"params": decayed, "weight_decay": args.decay}, {"params": plain, "weight_decay": 0}], lr=1e-3)
    ahead = {"prefetch_factor": 4} if args.workers else {}
    stream = iter(torch.utils.data.DataLoader(source, batch_size=args.batch, num_workers=args.workers,
                                              pin_memory=device == "cuda", **ahead))
    begun, step, run = time.time(), 0, None
    while True:
        part = step / args.steps if args.steps else (time.time() - begun) / (60 * args.minutes)
        if part >= 1:
            break
        rate = args.rate * min(1, part / .04) * (.5 * (1 + np.cos(np.pi * max(0, part - .04) / .96)) * .99 + .01)
        for g in opt.param_groups:
            g["lr"] = rate
        r, y, yr, back = (x.to(device, non_blocking=True) for x in next(stream))
        with torch.no_grad():
            x = features.features(r, back)
            if args.drop:
                x = x * (torch.rand(x.shape[0], 1, x.shape[2], device=device) > args.drop)
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            heads = net(x)
        loss, shown = loss_of(heads.float(), y, yr, args.away, args.calm)
        opt.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        opt.step()
        with torch.no_grad():
            keep = min(.999, step / (step + 20.0))
            for a, b in zip(mean.parameters(), net.parameters()):
                a.lerp_(b, 1 - keep)
        run = shown.item() if run is None else run if step % 10 else .9 * run + .1 * shown.item()
        if step % 200 == 0:
            print(step, round(run, 4), "%.0f s" % (time.time() - begun), flush=True)
        step += 1
    print("steps", step, "parameters", sum(p.numel() for p in net.parameters()), flush=True)
    mean = network.round_(mean)
    out = Path(args.out)
    out.mkdir(parents=True, exist_ok=True)
    network.write(out / (args.name + ".weights"), [mean])
    if args.check:
        print(args.name, flush=True)
        print(measure.table(measure.figures([mean.to(device)], pieces, catalogue, device)), flush=True)
    return mean


def mixture(text):
    """"tunes=.5,songs=.5" as shares by name."""
    mix = {}
    for part in text.split(","):
        name, _, share = part.partition("=")
        try:
            mix[name] = float(share)
        except ValueError:
            mix[name] = -1.
        if name not in ("tunes", "playing", "jazz", "pieces", "anew", "songs", "noise") or not 0 <= mix[name] < float("inf"):
            raise corpus.Fault(f"--mix {part}: give shares as in  tunes=.5,playing=.3,pieces=.1,songs=.1")
    if not sum(mix.values()) > 0:
        raise corpus.Fault("--mix: at least one share must be above 0")
    return mix


def main():
    p = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    p.add_argument("--data", nargs="+", required=True)
    p.add_argument("--check", nargs="*", default=[])
    p.add_argument("--out", required=True)
    p.add_argument("--name", default="estimator")
    p.add_argument("--modes", default=str(HERE / "../../config/modes.toml"))
    p.add_argument("--minutes", type=float, default=8, help="how long to learn (8), if --steps does not say it")
    p.add_argument("--steps", type=int, default=0, help="how many steps to learn, whatever time they take")
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--hidden", type=int, default=128)
    p.add_argument("--dropout", type=float, default=0)
    p.add_argument("--drop", type=float, default=0.)
    p.add_argument("--decay", type=float, default=.1)
    p.add_argument("--rate", type=float, default=3e-3)
    p.add_argument("--batch", type=int, default=56)
    p.add_argument("--length", type=float, default=64)
    p.add_argument("--workers", type=int, default=8)
    p.add_argument("--count-priors", type=int, default=600)
    p.add_argument("--mix", default="tunes=.46,playing=.27,pieces=.18,songs=.06,noise=.03")
    p.add_argument("--options", default="backward")
    p.add_argument("--away", type=float, default=2.0, help="weight of the time away from a piece's main center")
    p.add_argument("--calm", type=float, default=1.0, help="price of moving where the label stays")
    p.add_argument("--also", nargs="*", default=[], help="more pieces to learn from; with --fold, all but those of the fold")
    p.add_argument("--go-on", metavar="FILE", help="begin with these weights")
    p.add_argument("--fold", choices=("a", "b"))
    p.add_argument("--leave-out", default="")
    learn(p.parse_args())


if __name__ == "__main__":
    try:
        main()
    except (corpus.Fault, OSError, ValueError) as fault:
        print(fault, file=sys.stderr)
        sys.exit(1)

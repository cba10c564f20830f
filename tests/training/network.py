"""One small gated recurrent network with the same weights for each of the twelve
possible centers (Cho et al. 2014, arXiv:1406.1078).  A view gives one weight for
being the center, one for having none, and one for each degree, heard as belonging
or not; the score of a mode is the sum over its interval set."""

import struct
import tomllib
import zlib

import numpy as np
import torch
import torch.nn as nn

from features import BLOCK_COUNT, INPUTS, SCALARS, fingerprint

HEADS = 15      # center, no center, twelve degrees, chord root
VERSION = 1
ROTATE = (torch.arange(12)[:, None] + torch.arange(12)[None, :]) % 12
NO_CENTER = (("whole-tone", 0b010101010101), ("octatonic", 0b011011011011), ("octatonic", 0b101101101101),
             ("chromatic", 0b111111111111))
# How likely each of them is before a note is heard, as a share of all modes together:
# as in src/engine/estimator.rs.
NO_CENTER_SHARE = np.array([0.01, 0.01, 0.01, 0.04])


class Catalogue:
    """The modes of config/modes.toml as interval sets; movable degrees count half."""

    def __init__(self, path):
        with open(path, "rb") as f:
            rows = tomllib.load(f)["mode"]
        self.ids = [m["id"] for m in rows]
        self.weights = np.array([m.get("weight", 1.0) for m in rows])
        self.degrees = [[semitones(d) for d in m["degrees"].split()] for m in rows]
        self.member = np.zeros((len(rows), 12), np.float32)
        for i, m in enumerate(rows):
            self.member[i, self.degrees[i]] = 1
            moving = [semitones(d) for d in m.get("movable", "").split()]
            for d in moving:
                number = [int(x.lstrip("b#")) for x in m["movable"].split()][moving.index(d)]
                self.member[i, d] = 0.5
                for own in m["degrees"].split():
                    if int(own.lstrip("b#")) == number:
                        self.member[i, semitones(own)] = 0.5

    def index(self, mode):
        return self.ids.index(mode)


def semitones(degree):
    number = int(degree.lstrip("b#"))
    return ((0, 2, 4, 5, 7, 9, 11)[(number - 1) % 7] + degree.count("#") - degree.count("b")) % 12


def collections():
    return torch.tensor([[float(mask >> d & 1) for d in range(12)] for _, mask in NO_CENTER])


class Network(nn.Module):
    def __init__(self, hidden=128, dropout=0.0):
        super().__init__()
        self.hidden = hidden
        self.enter = nn.Linear(INPUTS, hidden)
        self.memory = nn.GRU(hidden, hidden, batch_first=True)
        self.heads = nn.Linear(hidden, HEADS)
        self.dropout = dropout

    def views(self, x):
        """[batch, time, INPUTS] -> [batch * 12, time, INPUTS]: rotated to each center."""
        b, t, _ = x.shape
        n = BLOCK_COUNT
        blocks = x[..., :n * 12].reshape(b, t, n, 12)[..., ROTATE.to(x.device)]
        blocks = blocks.permute(0, 3, 1, 2, 4).reshape(b * 12, t, n * 12)
        scalars = x[..., n * 12:].unsqueeze(1).expand(b, 12, t, SCALARS).reshape(b * 12, t, SCALARS)
        return torch.cat([blocks, scalars], -1)

    def mask(self, like, rows, width, share):
        """One dropout mask for the whole sequence (Gal & Ghahramani 2016)."""
        return (torch.rand(rows, 1, width, device=like.device) > share).to(like.dtype) / (1 - share)

    def forward(self, x):
        """-> [batch, time, 12, HEADS]"""
        b, t, _ = x.shape
        v = torch.relu(self.enter(self.views(x)))
        if self.training and self.dropout:
            v = v * self.mask(v, b, self.hidden, self.dropout).repeat_interleave(12, 0)
        h, _ = self.memory(v)
        if self.training and self.dropout:
            h = h * self.mask(h, b, self.hidden, self.dropout).repeat_interleave(12, 0)
        return self.heads(h).reshape(b, 12, t, HEADS).permute(0, 2, 1, 3)


def scores(heads, member):
    """[..., 12, HEADS] -> tonalities [..., modes, 12] and collections [..., 4, 12 views]."""
    center, none, degrees = heads[..., 0], heads[..., 1], heads[..., 2:14]
    tonal = center.unsqueeze(-2) + torch.einsum("...cd,md->...mc", degrees, member)
    free = none.unsqueeze(-2) + torch.einsum("...cd,md->...mc", degrees, collections().to(heads))
    return tonal, free


def write(path, nets, temperature=1.0, temperature_hindsight=1.0, inputs=INPUTS, mark=None):
    """The weights as `src/engine/weights.rs` reads them; see there for the format."""
    hidden = nets[0].hidden
    body = b"PEREGRINUS WEIGHTS\0\0" + struct.pack(
        "<IIIIQff", VERSION, len(nets), inputs, hidden, fingerprint() if mark is None else mark, temperature, temperature_hindsight)
    for net in nets:
        g = net.memory
        for p in (net.enter.weight, net.enter.bias, g.weight_ih_l0, g.weight_hh_l0, g.bias_ih_l0, g.bias_hh_l0,
                  net.heads.weight, net.heads.bias):
            body += p.detach().cpu().numpy().astype("<f2").tobytes()
    with open(path, "wb") as f:
        f.write(body + struct.pack("<I", zlib.crc32(body)))


def round_(net):
    """The same network on the weights as they are written (half precision)."""
    with torch.no_grad():
        for p in net.parameters():
            p.copy_(p.half().float())
    return net


def read(path, make=Network, inputs=INPUTS, mark=None):
    """Networks as `write` wrote them, with their temperatures. Raises ValueError."""
    mark = fingerprint() if mark is None else mark
    with open(path, "rb") as f:
        data = f.read()
    if not data.startswith(b"PEREGRINUS WEIGHTS\0\0") or len(data) < 56:
        raise ValueError(f"{path}: this is no file of weights")
    if zlib.crc32(data[:-4]) != struct.unpack("<I", data[-4:])[0]:
        raise ValueError(f"{path}: damaged")
    version, count, told, hidden, found, *temperatures = struct.unpack("<IIIIQff", data[20:52])
    if (version, told, found) != (VERSION, inputs, mark):
        raise ValueError(f"{path}: other features or another version")
    at, nets = 52, []
    for _ in range(count):
        net = make(hidden)
        g = net.memory
        for p in (net.enter.weight, net.enter.bias, g.weight_ih_l0, g.weight_hh_l0, g.bias_ih_l0, g.bias_hh_l0,
                  net.heads.weight, net.heads.bias):
            n = p.numel()
            with torch.no_grad():
                p.copy_(torch.from_numpy(np.frombuffer(data, "<f2", n, at).astype(np.float32)).reshape(p.shape))
            at += 2 * n
        nets.append(net.eval())
    return nets, temperatures

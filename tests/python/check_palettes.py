"""Reads, as JSON, pairs of colours that must be told apart, and the least difference:
{"least": 20,
 "pairs": [{"what": "dark at 256: center, inside", "colours": ["#ffd75f", "#5fafff"]}]}

Each pair is seen in full and as by those who lack one kind of cone (Machado, Oliveira
and Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency",
2009, at severity 100), and its difference is taken in CAM02-UCS (Luo, Cui and Li, 2006)."""

import json
import sys

import numpy
from colorspacious import cspace_convert, deltaE

SEEN = [None, "protanomaly", "deuteranomaly", "tritanomaly"]


def rgb(colour: str) -> list[float]:
    return [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]


def as_seen(colours: list[list[float]], kind: str | None) -> numpy.ndarray:
    if kind is None:
        return numpy.array(colours)
    space = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    # What the model puts outside of what a screen shows comes back to its edge.
    return numpy.clip(cspace_convert(colours, space, "sRGB1"), 0, 1)


def main() -> int:
    asked = json.load(sys.stdin)
    pairs = asked["pairs"]
    ends = [[rgb(pair["colours"][i]) for pair in pairs] for i in (0, 1)]
    least = float("inf")
    wrong = 0
    for kind in SEEN:
        differences = deltaE(*(as_seen(end, kind) for end in ends), input_space="sRGB1")
        for pair, difference in zip(pairs, differences, strict=True):
            least = min(least, difference)
            # Not a number is no difference either.
            if not difference >= asked["least"]:
                colours = " and ".join(pair["colours"])
                seen = f"differ by {difference:.1f} with {kind or 'all cones'}"
                print(f"{pair['what']}: {colours} {seen}", file=sys.stderr)
                wrong += 1
    print(f"{len(pairs)} pairs seen in {len(SEEN)} ways, the least difference {least:.1f}")
    return 1 if wrong else 0


sys.exit(main())

"""Loads the labelled music in the files that are named, as the training does, draws a stretch of
it to learn from, and prints what was loaded: a line of JSON for each piece."""

import json
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "training"))

import corpus  # noqa: E402
import network  # noqa: E402

pieces = corpus.load(sys.argv[1:])
catalogue = network.Catalogue(ROOT / "config" / "modes.toml")
source = corpus.Source(pieces, catalogue, 30.0, 1, {"pieces": 1.0})
drawn = next(iter(source))
assert len(drawn[0]) and int((drawn[1][:, 1] >= 0).sum()) > 0, "a stretch without a label"
for d in pieces:
    print(json.dumps({
        "name": d["name"], "kind": d["kind"], "corpus": d["corpus"],
        "sounds": d["n"].round(6).tolist(), "segments": d["segments"], "chords": d["chords"],
    }))

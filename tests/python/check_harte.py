"""Reads lines `label<TAB>pitch classes, by comma<TAB>bass` and has mir_eval parse
each label: it must give exactly those notes over that bass."""

import sys

import mir_eval


def main() -> int:
    count = 0
    for line in sys.stdin:
        label, pcs, bass = line.rstrip("\n").split("\t")
        want = {int(p) for p in pcs.split(",")}
        try:
            root, bitmap, above = mir_eval.chord.encode(label, reduce_extended_chords=True)
        except mir_eval.chord.InvalidChordException as e:
            print(f"{label}: {e}", file=sys.stderr)
            return 1
        notes = {(root + i) % 12 for i, on in enumerate(bitmap) if on}
        if notes != want or (root + above) % 12 != int(bass):
            print(
                f"{label}: {sorted(notes)} over {(root + above) % 12}, "
                f"expected {sorted(want)} over {bass}",
                file=sys.stderr,
            )
            return 1
        count += 1
    print(f"{count} labels")
    return 0


sys.exit(main())

"""Each check of the alignment on simulated machines: does its stated uncertainty hold, and in how many rounds is it in?

Run: ``nice -n 15 python -m tests.benchmarks.checks [--machines 200] [--only toe] [--rounds]``. Not a test. The truth
is ``fixtures``' own physics (cast body on yielding feet, rail bent in plan, polygon cutter, kerf swept by teeth, fence
with play, arbor turned by hand), which shares no formula with the checks; readings are typed as a person types them.

Per check and class of machine, never pooled: how often the truth lies within the stated expanded uncertainty (90 to
98 % wanted), the error's median and 95 % point, and what was stated. Then rounds until the truth is inside, for the
check's corrections and for the usual one-thing-at-a-time way (common practice, no source).
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from tests.benchmarks import checks_body, checks_cut, checks_ground, checks_turning
from tests.benchmarks.check_bench import HEADER, Rounds, cover

MODULES = [checks_ground, checks_body, checks_turning, checks_cut]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--only", default="", help="studies whose name begins so; several with a slash between")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rounds", action="store_true", help="only the rounds")
    args = parser.parse_args()
    began = time.perf_counter()
    only = tuple(args.only.split("/"))
    if not args.rounds:
        print(HEADER)
        for module in MODULES:
            for name, study, kinds, unit in module.COVERAGE:
                if name.startswith(only):
                    for kind in kinds:
                        found = cover(name, kind, study, args.machines, args.seed)
                        print(found.line(unit) if found.shots else f"{name} {kind}: all refused", flush=True)
                        for said, times in sorted(found.reasons.items(), key=lambda each: -each[1])[:2]:
                            print(f"    refused {times}: {said}")
    for module in MODULES:
        for name, study, kinds in module.ROUND_STUDIES:
            if name.startswith(only):
                for kind in kinds:
                    told = Rounds(name, kind, {"check": [], "usual way": []})
                    for number in range(args.machines):
                        ours, usual, wrong = study(np.random.default_rng([args.seed, number, 77]), kind)
                        told.ways["check"].append(ours)
                        told.ways["usual way"].append(usual)
                        told.wrongly += wrong
                    print(told.line(), flush=True)
    print(f"{args.machines} machines a row, seed {args.seed}, {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()

"""``truestroke new DIR``: a job folder with a commented ``machine.yaml``.

Why it exists: describing a machine from a blank page invites a missing sign or unit; a commented example with a unit
in every name only needs a tape measure.
"""

from __future__ import annotations

from logger.commands import Answer, new_parser

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse

    from logger.commands import Subparsers


def add_parser(subparsers: Subparsers) -> None:
    parser = new_parser(
        subparsers,
        "new",
        "Makes a folder for one machine, with a commented machine.yaml to fill in from a tape measure and the\n"
        "maker's manual. Nothing that exists is overwritten.",
        "  truestroke new my-saw\n  (edit my-saw/machine.yaml)\n  truestroke sweep --job my-saw --port ...",
    )
    parser.add_argument("folder", metavar="DIR", help="the folder to make; it may exist if it holds no machine.yaml")


def run(args: argparse.Namespace) -> Answer:
    from pathlib import Path

    from logger.job import Job

    job = Job.create(Path(args.folder))
    machine = job.folder / "machine.yaml"
    return Answer(
        {"job": str(job.folder), "machine": str(machine)},
        [
            f"Made {job.folder} with {machine.name} in it.",
            f"Next: put your own figures in {machine} (positions along the rail from the infeed end, in mm), then",
            f"  truestroke sweep --job {job.folder} --port PORT --instrument NAME --set-up across --marks 0,500,...",
        ],
    )

"""``truestroke note``: a remark or the shop's temperature, into the journal.

Why it exists: a rail moves with the seasons and nobody remembers how cold it was. A note stands in the journal with its
time, goes into the report, and lets ``history`` hold creeping against temperature.
"""

from __future__ import annotations

from logger.commands import Answer, new_parser

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse

    from logger.commands import Subparsers

LONGEST = 2000


def add_parser(subparsers: Subparsers) -> None:
    parser = new_parser(
        subparsers,
        "note",
        "Keeps a remark, the temperature of the shop, or both in the job's journal, with the time and who noted it.\n"
        "A temperature counts for what was measured within twelve hours of it.",
        '  truestroke note --temperature 17.5\n  truestroke note "new rollers on the carriage" --temperature 18',
    )
    parser.add_argument("text", metavar="TEXT", nargs="?", default="", help="the remark")
    parser.add_argument("--temperature", metavar="C", type=float, help="of the shop, in degrees Celsius")


def run(args: argparse.Namespace) -> Answer:
    import math

    from logger.commands._job import open_job
    from logger.errors import NotAllowed
    from logger.report.environment import COLDEST_C, HOTTEST_C

    text, celsius = args.text.strip(), args.temperature
    if not text and celsius is None:
        raise NotAllowed("There is nothing to note.", "Give a remark, or --temperature 18.")
    if celsius is not None and not (math.isfinite(celsius) and COLDEST_C <= celsius <= HOTTEST_C):
        raise NotAllowed(f"--temperature {celsius:g} is not possible.", f"Allowed: {COLDEST_C:g} to {HOTTEST_C:g} °C.")
    if len(text) > LONGEST:
        raise NotAllowed(f"The note has {len(text)} characters.", f"Allowed: {LONGEST}.")
    job = open_job(args)
    entry = job.append("note", text=text, temperature_C=celsius)
    said = ", ".join([*([text] if text else []), *([f"{celsius:g} °C"] if celsius is not None else [])])
    return Answer({"noted": text, "temperature_C": celsius, "time": entry.time}, [f"Noted: {said}."])

"""The order of work drawn, and the test that it is one.

Why it exists: the order is data with a reason at every edge; this is the one place that turns it into lines for people
(``python -m logger.checks.order`` renews those in DEVELOPERS.md, which a test holds equal). It prevents a drawing that
tells another order than the program keeps, and a circle in which nothing could ever be finished.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from logger.checks.table import CHECKS


def edges() -> dict[str, tuple[str, ...]]:
    """Every check by name, and what it rests on directly."""
    return {check.name: tuple(each.check for each in check.rests_on) for check in CHECKS}


def circle(rests_on: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """A circle in which checks rest on one another, first and last the same; empty where there is none."""
    done: set[str] = set()

    def walk(name: str, path: tuple[str, ...]) -> tuple[str, ...]:
        if name in path:
            return (*path[path.index(name) :], name)
        if name in done:
            return ()
        for below in rests_on.get(name, ()):
            if found := walk(below, (*path, name)):
                return found
        done.add(name)
        return ()

    return next((found for name in rests_on if (found := walk(name, ()))), ())


def drawn() -> list[str]:
    """The checks in the order of work: what each rests on (<-) and what adjusting it disturbs (~>)."""
    lines = []
    for check in CHECKS:
        rests = ", ".join(each.check for each in check.rests_on)
        disturbs = ", ".join(each.check for each in check.disturbs)
        line = f"{check.name:<10}" + (f"<- {rests}" if rests else "")
        lines.append((f"{line:<64}~> {disturbs}" if disturbs else line).rstrip())
    return lines


def main() -> None:
    """Print the drawing for DEVELOPERS.md."""
    import sys

    sys.stdout.write("\n".join(drawn()) + "\n")


if __name__ == "__main__":
    main()

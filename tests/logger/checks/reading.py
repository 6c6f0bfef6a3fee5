"""What the tests of the checks share: readings typed for a check, and its result on the Kiln Street saw."""

from importlib import resources

from logger.checks.evaluate import evaluate
from logger.checks.table import BY_NAME
from logger.checks.typed import understand
from logger.machines import machine_from_text

MACHINE = machine_from_text(
    resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8"), "kiln-street"
)


def never(_question):
    return False


def typed(name, text, confirm=never, **settings):
    check = BY_NAME[name]
    return understand(check, text.split(), check.allowed, confirm, **settings)


def result(name, text):
    understood = typed(name, text)
    return evaluate(BY_NAME[name], understood.readings, understood.allowed, MACHINE)

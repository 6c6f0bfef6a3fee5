"""What holds for every test: the programs they start can be interrupted, and no test fails for a slow computer.

Why it exists: a shell that runs the tests in the background lets them ignore Ctrl-C, and every program they start would
inherit that. It prevents tests of an interruption that wait for one which cannot come. And examples that are made or
tried slowly beside other work are no fault of what is tried.
"""

import signal

from hypothesis import HealthCheck, settings

settings.register_profile("any computer", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any computer")

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

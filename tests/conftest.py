"""What holds for every test: the programs they start can be interrupted.

Why it exists: a shell that runs the tests in the background lets them ignore Ctrl-C, and every program they start would
inherit that. It prevents tests of an interruption that wait for one which cannot come.
"""

import signal

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

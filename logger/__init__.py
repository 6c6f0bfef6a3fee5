"""From the wire to the disk and the screen.

Why this package exists: everything that touches the outside world (ports, files, clocks, terminals) is here, so that
``analysis`` can stay arrays in, results out. This module is the map and the version; it imports nothing, so that
``truestroke --version`` costs no more than starting Python.

======================  ==========================================================================================
``cli``, ``commands/``  arguments to calls; ``cli`` is the only place that prints errors and picks exit codes
``console``             the only printing, all of it escaped
``errors``              the exception tree
``readings``            the frozen records that travel: Reading, Mark, Gap, Garbage, LinkLost
``clock``               one monotonic clock tied to wall time once per recording
``instruments``         instrument YAML -> frozen Instrument; ``description/`` reads and checks what people wrote
``machines``            machine YAML -> frozen Machine
``port``                find, open, configure, lose, reopen; the only pyserial import
``decode/``             bytes -> events, no I/O
``recorder``            the process that reads, stamps, writes and passes on; ``link/`` is that process
``recording``           read a recording; torn tails; checksums; ``record/`` writes, copies, imports, exports
``replay``              a recording played back through the same seam as a live instrument
``findings``            recording -> positions -> profile -> straightness, spots, verdict; ``judging/``
``advice``              the job's rounds -> learned response -> moves; ``advising/``
``job``                 the job folder and its journal
``checks/``             the alignment as a table of checks: what each needs, in which order, what makes it stale
``report/``             the job as one HTML file with pictures; a one-page sheet; its facts and drawings
``history``             every sweep and check over months; what moved since the last good state
``phone/``              the live number on a phone: page, server, link
``sound``               beeps that say which way and how close
``completion``          what a shell needs to finish half-typed commands
``reference``           the guide's reference pages, made from the code
``wording``             numbers, units and states in words; escaping of what came from outside
``tui/``                the screen
======================  ==========================================================================================
"""

__version__ = "0.1.0"

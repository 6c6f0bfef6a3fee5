"""The alignment as a table of checks: what each needs, in which order, and what makes it stale.

Why it exists: one thing rests on another, and people lose days by doing the second before the first or by trusting a
figure from before something under it was moved. The order is data (``table``), so that it can be tested for cycles and
shown; readings become a result and a correction in ``evaluate``, and a state on the board in ``board``.

``model``     the frozen records
``table``     the checks and why one rests on another; their rows in ``table_base``, ``table_turning``, ``table_cut``
``typed``     ``key=value`` as a person types it, and the wrong unit suspected
``evaluate``  readings -> result, verdict, what to move; each family in ``evaluate_*``, what they share in ``result``
``taking``    typed readings in their job: what other checks gave, ends swapped, the result
``rail``      the rail's check, from the recorded sweeps
``words``     value, limits, corrections in words; what the journal keeps
``board``     the journal -> the state of every check, and the next sensible one
"""

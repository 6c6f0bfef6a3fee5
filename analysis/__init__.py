"""Arrays in, results out: positions, profiles, straightness, the rail on its bolts, verdicts.

Why it exists as a package of its own: every number truestroke shows can be recomputed here without a port, a file or a
clock. Nothing in this package reads, prints, waits or imports anything of ours outside it.
"""

"""Bytes in, events out, no port: one module for each family of frames.

Why it exists: whatever comes down a wire is hostile and cut anywhere. A decoder here never raises, never blocks, never
keeps more than a bounded tail, and turns what it cannot understand into ``Garbage`` so that nothing is lost silently.
"""

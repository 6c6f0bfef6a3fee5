"""Recordings on disk and what is made of them: rows, writing, copies, typed and imported sweeps, tables for elsewhere.

``recording`` beside this folder opens one; the reading process writes with ``writing`` alone, so this file imports
nothing.
"""

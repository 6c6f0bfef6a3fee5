"""What a person writes about a machine or an instrument: YAML read as hostile input, checked, with its lines named.

``machines`` and ``instruments`` beside this folder are what the rest of the program loads them with.
"""

"""The screens: each owns its behaviour; what it draws is in ``widgets``, what it asks is in ``session``."""

"""Tests: facts about truestroke, most of them held against something outside it."""

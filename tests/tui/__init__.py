"""The screen: drawing as text, behaviour through the real screens on invented data, a few still pictures."""

"""Between the port and the disk: the reading process, what travels to and from it, and who is at the other end.

``recorder`` beside this folder is the only handle of it; what runs in the reading process imports the standard library
and pyserial alone, so this file imports nothing.
"""

"""What the advice is made of: its inputs, the learned response, the guided turning and what is said of the rest.

``advice`` beside this folder is the way in.
"""

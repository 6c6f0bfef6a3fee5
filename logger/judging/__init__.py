"""What findings are made of: the verdict, its words, what each sweep of one state says, and what was agreed about it.

``findings`` beside this folder is the way in.
"""

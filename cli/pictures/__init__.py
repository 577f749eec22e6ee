"""What is drawn: on photos, on boards of our own, on paper.

Nothing is imported here, so that the command starts fast.
"""

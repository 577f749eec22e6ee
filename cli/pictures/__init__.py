"""What is drawn: on photos, on boards of our own, on paper.

Nothing is imported here, so that the command starts fast.
"""

ENDINGS = (".png", ".jpg", ".jpeg", ".svg")
"""What a picture's file may end in."""

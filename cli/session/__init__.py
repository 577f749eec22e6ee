"""A page, its doubts and the answers to them, what to say next.

Nothing is imported here, so that the command starts fast.
"""

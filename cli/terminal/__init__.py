"""The command line: what its commands do, the conversation, boards of characters.

Nothing is imported here, so that the command starts fast.
"""

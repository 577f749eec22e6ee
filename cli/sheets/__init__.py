"""Practice sheets: drawn, marked from a photo, kept in a log.

Nothing is imported here, so that the command starts fast.
"""

"""What all of the front of the house stands on: files within limits, signals, sentences for people.

Nothing is imported here, so that the command starts fast.
"""

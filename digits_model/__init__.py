"""The digit classifier: what it scores, and the few lines that run it."""

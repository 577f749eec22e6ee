"""Square codes on photographed pages: found, straightened, read.

What they say is not known here.
"""

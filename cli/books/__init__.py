"""Shelves of puzzle books as data: many pages into one book file, and out of it again.

``sources`` finds files and opens their pages, ``work`` reads one page, ``settle`` decides what a
grid came to, ``book`` is the SQLite file (its schema is documented in ``schema``), ``digitise`` and
``export`` are the two commands' work.
"""

"""Boards of other sizes and forms: how many cells, which blocks, which further houses."""

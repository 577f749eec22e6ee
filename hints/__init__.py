"""Deductions on number grids, for people who solve with a pencil. Pure Python."""

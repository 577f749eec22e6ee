"""The techniques, each a function from a board to its deductions."""

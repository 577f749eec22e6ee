"""How the digit model is made. Never imported by the product, not in the wheel."""

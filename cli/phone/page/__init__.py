"""Templates, look and script of the phone page."""

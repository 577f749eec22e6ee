"""Words, pictures, files and exit codes: the only room that prints."""


def main() -> None:
    """Run the command line."""
    raise SystemExit(70)

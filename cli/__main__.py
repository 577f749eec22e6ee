"""``python -m papernudge.cli`` is the command, where no script was installed."""

from papernudge.cli import main

main()

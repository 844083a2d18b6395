"""``python -m crashworthy``: the command, where its name is not on the path."""

from crashworthy.cli.main import main

main()

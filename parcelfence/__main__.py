"""``python -m parcelfence`` is the command line."""

from parcelfence.cli.main import main

main()

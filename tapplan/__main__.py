"""`python -m tapplan`."""

from tapplan.cli.main import run

run()

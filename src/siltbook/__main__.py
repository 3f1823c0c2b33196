"""`python -m siltbook` is the command `siltbook`."""

from siltbook.batch.cli import main

main()

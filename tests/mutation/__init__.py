"""Whether the tests would notice: mutants of what decides, and how many of them a test ends.

`pip install -e '.[test,mutation]'`, then `python -m tests.mutation` (about an hour on two cores) or
`python -m tests.mutation ladder --sample 20`. Works on copies of the checkout, never on it.
"""

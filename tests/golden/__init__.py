"""What every sample comes to, kept: verdicts, sentences, figures and findings.

    python -m tests.golden

writes it anew. Do that only where verdicts or numbers are meant to change, and say so in
CHANGELOG.md; the difference then shows in the files beside this one.
"""

"""The monthly review: what changed, what was agreed, what comes, as one pack for the meeting."""

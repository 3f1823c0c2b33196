"""Books in other programs: what stands in them, and what comes back from a re-save."""

"""From the log of one station to its verdict and the sentence that says why."""

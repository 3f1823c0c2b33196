"""Paper that goes to the station: the round sheet and the station card."""

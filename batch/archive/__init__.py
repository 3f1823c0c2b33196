"""The season's archive: open formats, to be read, checked and compared in later years."""

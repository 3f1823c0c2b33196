"""The audit: can the data be trusted, was the procedure followed, is the verdict the same?"""

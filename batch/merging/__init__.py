"""Brings copies of one season's book together; nothing that either side typed is lost."""

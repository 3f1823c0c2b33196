"""Tests of adopt."""

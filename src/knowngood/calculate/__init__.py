"""Textbook sums, one topic a file, without state. Every function names its source."""

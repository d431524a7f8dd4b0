"""Measured claims: one file a claim, each against a peer in the same run."""

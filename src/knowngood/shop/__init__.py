"""Rules of the shop that are no diagnosis: putting together again, handing back. Pure."""

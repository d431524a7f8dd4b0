"""The rules of the shop, all pure: putting together again and handing back; cover, claim, estimate,
stock and the order of work."""

"""The places of the shop: each gathers, decides and writes."""

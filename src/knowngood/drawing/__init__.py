"""The wiring as a picture."""
